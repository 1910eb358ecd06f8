"""Signed turns on the network: which arc must not follow which. Arcs are 2 x segment, + 1 when driven backward."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from siteplanner.data.osm import TurnRestriction


def no_turns() -> np.ndarray:
    """No banned turn at all: shape (0, 2)."""
    return np.empty((0, 2), np.int64)


def banned_turns(
    restrictions: Sequence[TurnRestriction],
    way: np.ndarray,
    seg_from: np.ndarray,
    seg_to: np.ndarray,
    node_id: np.ndarray,
) -> np.ndarray:
    """Pairs (arriving arc, arc that must not follow), sorted, without repeats.

    Parameters (one per segment): `way` the id of the way, `seg_from`, `seg_to` its nodes; `node_id` the ids of the
    nodes. A restriction whose ways do not meet at its node is left out, and so is one whose first way runs through
    the node: it would not say from which side (OpenStreetMap wiki, Relation:restriction: the ways end at `via`).
    """
    wanted = {r.via_node for r in restrictions}
    node_of = {int(i): k for k, i in enumerate(node_id.tolist()) if i in wanted}
    at = np.zeros(len(node_id), bool)
    at[list(node_of.values())] = True
    leaving: dict[int, list[int]] = {}
    for segment in np.flatnonzero(at[seg_from] | at[seg_to]).tolist():
        leaving.setdefault(int(seg_from[segment]), []).append(2 * segment)
        leaving.setdefault(int(seg_to[segment]), []).append(2 * segment + 1)
    banned: set[tuple[int, int]] = set()
    only: dict[int, set[int]] = {}
    for r in restrictions:
        node = node_of.get(r.via_node)
        if node is None:
            continue
        arriving = [arc ^ 1 for arc in leaving[node] if way[arc >> 1] == r.from_way]
        onto = {arc for arc in leaving[node] if way[arc >> 1] == r.to_way}
        if len(arriving) != 1 or not onto:
            continue
        if r.kind == "no":
            banned |= {(arriving[0], arc) for arc in onto}
        else:
            only.setdefault(arriving[0], set()).update(onto)
    for arc, onto in only.items():
        node = int(seg_from[arc >> 1] if arc & 1 else seg_to[arc >> 1])
        banned |= {(arc, other) for other in leaving[node] if other not in onto}
    return np.array(sorted(banned), np.int64).reshape(-1, 2)


@dataclass(frozen=True, eq=False)
class Turns:
    """For each arc the arcs that may follow it: `follow[first[a]:first[a + 1]]`, and what each arc costs to drive.

    Turning round on the spot (an arc followed by itself backward) is never among them: a rig does not do that.
    `leaving` are all open arcs, sorted by the node they leave: `leaving[start[n]:start[n + 1]]`.
    """

    first: np.ndarray
    follow: np.ndarray
    cost_s: np.ndarray
    head: np.ndarray
    start: np.ndarray
    leaving: np.ndarray


def allowed_turns(
    seg_from: np.ndarray, seg_to: np.ndarray, forward_s: np.ndarray, backward_s: np.ndarray, banned: np.ndarray
) -> Turns:
    """All turns of a network but those banned; closed arcs (infinite times) neither follow nor are followed."""
    count = 2 * len(seg_from)
    tail, head = np.empty(count, np.int64), np.empty(count, np.int64)
    tail[0::2], tail[1::2], head[0::2], head[1::2] = seg_from, seg_to, seg_to, seg_from
    cost = np.empty(count)
    cost[0::2], cost[1::2] = forward_s, backward_s
    open_ = np.flatnonzero(np.isfinite(cost))
    leaving = open_[np.argsort(tail[open_], kind="stable")]
    nodes = int(max(tail.max(initial=-1), head.max(initial=-1))) + 1
    start = np.searchsorted(tail[leaving], np.arange(nodes + 1))
    fan = (start[head[open_] + 1] - start[head[open_]]).astype(np.int64)
    arc = np.repeat(open_, fan)
    rank = np.arange(fan.sum()) - np.repeat(np.cumsum(fan) - fan, fan)
    follow = leaving[start[head[arc]] + rank]
    keep = follow != (arc ^ 1)
    if len(banned):
        keep &= ~np.isin(arc * count + follow, banned[:, 0] * count + banned[:, 1])
    arc, follow = arc[keep], follow[keep]
    return Turns(np.searchsorted(arc, np.arange(count + 1)), follow, cost, head, start, leaving)
