"""What a place hangs on: the road whose loss cuts it off from the staging point, or from the world outside."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from siteplanner.roads.exits import ExitTree, OnRoad
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import AccessPoint, DriveTree

_NOTHING_M = 1e-6


class Stretch(NamedTuple):
    """A part of one segment: metres from its start, at the end nearer to the place and at the other."""

    segment: int
    start_m: float
    end_m: float

    @property
    def length_m(self) -> float:
        return abs(self.end_m - self.start_m)


@dataclass(frozen=True)
class Thread:
    """How a place hangs on a goal. `ways` is 2 when the loss of no single stretch of road parts them, 1 when one
    does, 0 when they do not hang together. `stretches`: those whose loss parts them, from the place on.

    By Menger's theorem there are two ways that share no road exactly when no single stretch parts place and goal.
    """

    ways: int
    stretches: tuple[Stretch, ...]

    @property
    def length_m(self) -> float:
        """Of the road whose loss parts them."""
        return sum(s.length_m for s in self.stretches)

    def needs(self, lost: Iterable[Stretch]) -> bool:
        """Whether the loss of stretches of other threads to the same goal parts this place from it too.

        Exact where each of them parts some place from that goal: what hangs on a bridge hangs on all of it.
        """
        mine: dict[int, list[Stretch]] = {}
        for stretch in self.stretches:
            mine.setdefault(stretch.segment, []).append(stretch)
        return any(_overlap(one, two) > _NOTHING_M for one in lost for two in mine.get(one.segment, ()))


def _overlap(one: Stretch, two: Stretch) -> float:
    (a, b), (c, d) = sorted(one[1:]), sorted(two[1:])
    return min(b, d) - max(a, c)


@dataclass(frozen=True)
class Lifeline:
    """What a place hangs on, from the staging point and to the outside apart.

    `outside` is None where nothing says where the roads leave the data, or where roads that may leave it make a
    difference: not known, neither one way nor two. `others`: by name how the place hangs on the other staging points.
    """

    staging: Thread
    outside: Thread | None
    others: tuple[tuple[str, Thread], ...] = ()


def lifeline(
    network: RoadNetwork, tree: DriveTree, access: AccessPoint, others: Iterable[tuple[str, DriveTree]] = ()
) -> Lifeline:
    """What an access point hangs on. Roads count both ways, whatever their one-way rules: see `exit_tree`."""
    place = OnRoad(access.segment, access.along_m)
    return Lifeline(
        thread(tree.exits_at_staging, place),
        _outside(network, place),
        tuple((name, thread(other.exits_at_staging, place)) for name, other in others),
    )


def _outside(network: RoadNetwork, place: OnRoad) -> Thread | None:
    """What the surest exits tell, where all that may be exits tell the same: further exits can only help."""
    sure, every = network.exits_beyond, network.exits_perhaps
    if sure is None:
        return None
    found = thread(sure, place)
    if every is None or found.ways == 2:
        return found
    best = thread(every, place)
    same = best.ways == found.ways and abs(best.length_m - found.length_m) <= _NOTHING_M
    return found if same else None


def thread(out: ExitTree, place: OnRoad) -> Thread:
    """How a place on a road for the rig hangs on the exits of a tree."""
    piece = out.piece_at(place)
    a, b = int(out.tail[piece]), int(out.head[piece])
    if not (out.linked[a] or out.linked[b]):
        return Thread(0, ())
    cuts = []
    node = a
    if out.is_cut[piece]:
        # the way out is through the end that does not itself lie behind this piece
        node, end = (b, out.high_m[piece]) if out.next_cut[a] == piece else (a, out.low_m[piece])
        cuts.append(Stretch(int(out.segment[piece]), float(place.along_m), float(end)))
    while out.next_cut[node] >= 0:
        cut, behind = int(out.next_cut[node]), int(out.next_node[node])
        low, high = float(out.low_m[cut]), float(out.high_m[cut])
        forward = behind == out.head[cut]
        cuts.append(Stretch(int(out.segment[cut]), *((low, high) if forward else (high, low))))
        node = behind
    cuts = [stretch for stretch in cuts if stretch.length_m > _NOTHING_M]
    return Thread(1 if cuts else 2, tuple(cuts))
