"""How many ways lead out of a place: one fallen tree must not hold the crew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from siteplanner.errors import Finding
from siteplanner.roads.exits import ExitTree
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import AccessPoint, DriveTree


@dataclass(frozen=True)
class WaysOut:
    """`count` is 2 when no single segment's loss cuts the place off, 1 when one does, 0 without any way.

    `cut_segments` are those whose loss cuts it off, from the place outward.
    """

    count: int
    cut_segments: tuple[int, ...]

    def finding(self, network: RoadNetwork) -> Finding | None:
        """The finding `one way in`, or None when there are two ways."""
        if self.count >= 2:
            return None
        metres = float(network.geometry.length_m[list(self.cut_segments)].sum())
        return Finding("one_way_in", "caution", facts={"sections": len(self.cut_segments), "length_m": metres})


def _exits(network: RoadNetwork, tree: DriveTree | None, exits: str) -> ExitTree | None:
    if exits == "staging" and tree is None:
        raise ValueError("exits='staging' needs the drive tree")
    beyond = network.exits_beyond if exits == "outer ends" else None
    return beyond if beyond is not None or tree is None else tree.exits_at_staging


def ways_out(
    network: RoadNetwork,
    access: AccessPoint,
    tree: DriveTree | None = None,
    *,
    exits: Literal["staging", "outer ends"] | ExitTree = "outer ends",
) -> WaysOut:
    """Count the segment-disjoint ways (1 or 2) from an access point to the exits.

    By Menger's theorem there are two such ways exactly when no single segment parts the place from the exits.
    `exits`: the staging point's segment (needs `tree`), the roads that leave the data (the staging point's where
    none does and `tree` is given), or an `exit_tree` of one's own.
    """
    out = _exits(network, tree, exits) if isinstance(exits, str) else exits
    if out is None:
        return WaysOut(0, ())
    seg = access.segment
    a, b = int(network.geometry.seg_from[seg]), int(network.geometry.seg_to[seg])
    if not (out.linked[a] or out.linked[b]):
        return WaysOut(0, ())
    cuts = []
    # on a bridge the way out is through the end that does not itself lie behind that bridge
    node = a
    if out.is_cut[seg]:
        cuts.append(seg)
        node = b if out.next_cut[a] == seg else a
    while out.next_cut[node] >= 0:
        cuts.append(int(out.next_cut[node]))
        node = int(out.next_node[node])
    return WaysOut(1 if cuts else 2, tuple(cuts))
