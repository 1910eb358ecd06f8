"""Turns: which arc may follow which, what signs forbid. Arcs are 2 x segment, + 1 when driven backward."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from siteplanner.data.osm import TurnRestriction

Path = tuple[int, ...]
"""Arcs that must not be driven one after the other, three or more."""


def no_turns() -> np.ndarray:
    """No banned turn at all: shape (0, 2)."""
    return np.empty((0, 2), np.int64)


@dataclass(frozen=True, eq=False)
class Banned:
    """What signs forbid: pairs (arriving arc, arc that must not follow), sorted; longer paths; and how many signs do
    not fit the roads and were left out.
    """

    pairs: np.ndarray
    paths: tuple[Path, ...] = ()
    left_out: int = 0


def banned_turns(
    restrictions: Sequence[TurnRestriction],
    way: np.ndarray,
    seg_from: np.ndarray,
    seg_to: np.ndarray,
    node_id: np.ndarray,
) -> Banned:
    """Forbidden turns without repeats.

    Parameters (one per segment): `way` the id of the way, `seg_from`, `seg_to` its nodes; `node_id` the ids of the
    nodes. A restriction whose ways do not meet at its node is left out, and so is one whose first way runs through
    the node: it would not say from which side (OpenStreetMap wiki, Relation:restriction: the ways end at `via`). One
    over ways forbids (or demands) the whole path; where the ways of `via` part, it is left out.
    """
    wanted = {r.via_node for r in restrictions if not r.via_ways}
    over = {w for r in restrictions if r.via_ways for w in (r.from_way, *r.via_ways, r.to_way)}
    node_of = {int(i): k for k, i in enumerate(node_id.tolist()) if i in wanted}
    at = np.zeros(len(node_id), bool)
    at[list(node_of.values())] = True
    of_way = np.isin(way, list(over)) if over else np.zeros(len(way), bool)
    at[seg_from[of_way]] = at[seg_to[of_way]] = True
    leaving: dict[int, list[int]] = {}
    for segment in np.flatnonzero(at[seg_from] | at[seg_to]).tolist():
        leaving.setdefault(int(seg_from[segment]), []).append(2 * segment)
        leaving.setdefault(int(seg_to[segment]), []).append(2 * segment + 1)
    banned: set[tuple[int, int]] = set()
    only: dict[int, set[int]] = {}
    paths: set[Path] = set()
    left_out = 0
    for r in restrictions:
        if r.via_ways:
            found = _over_ways(r, way, seg_from, seg_to, leaving)
            paths |= found
            left_out += not found
            continue
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
    return Banned(np.array(sorted(banned), np.int64).reshape(-1, 2), tuple(sorted(paths)), left_out)


def _over_ways(
    r: TurnRestriction, way: np.ndarray, seg_from: np.ndarray, seg_to: np.ndarray, leaving: dict[int, list[int]]
) -> set[Path]:
    """The paths that a restriction over ways forbids: from the end of its first way along the others to its last."""

    def head(arc: int) -> int:
        return int(seg_from[arc >> 1] if arc & 1 else seg_to[arc >> 1])

    of_from = [arc for arc in _arcs_of(r.from_way, way) if any(way[b >> 1] in r.via_ways for b in leaving[head(arc)])]
    found: set[Path] = set()
    for start in of_from:
        open_: list[Path] = [(start,)]
        while open_:
            path = open_.pop()
            onward = [b for b in leaving[head(path[-1])] if b != path[-1] ^ 1]
            ends = {b for b in onward if way[b >> 1] == r.to_way and len(path) > 1}
            if ends:
                forbidden = ends if r.kind == "no" else {b for b in onward if b not in ends}
                found |= {(*path, b) for b in forbidden}
                continue
            open_ += [(*path, b) for b in onward if way[b >> 1] in r.via_ways and b >> 1 not in {a >> 1 for a in path}]
    return found


def _arcs_of(way_id: int, way: np.ndarray) -> list[int]:
    return [arc for s in np.flatnonzero(way == way_id).tolist() for arc in (2 * s, 2 * s + 1)]


@dataclass(frozen=True, eq=False)
class Turns:
    """For each state the states that may follow it: `follow[first[s]:first[s + 1]]`, `turn_s` seconds between them.

    A state is an arc; where what may follow depends on where one came from (a forbidden path), a further state with
    the same `arc`. Turning round on the spot (an arc followed by itself backward) is never among them: a rig does not
    do that. `leaving` are all open arcs, sorted by the node they leave: `leaving[start[n]:start[n + 1]]`.
    """

    first: np.ndarray
    follow: np.ndarray
    turn_s: np.ndarray
    arc: np.ndarray
    head: np.ndarray  # node at the end of each state
    start: np.ndarray
    leaving: np.ndarray


def allowed_turns(
    seg_from: np.ndarray,
    seg_to: np.ndarray,
    open_: np.ndarray,
    banned: np.ndarray,
    paths: Sequence[Path] = (),
    seconds: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
) -> Turns:
    """All turns of a network but those banned; arcs that are not `open_` (bool) neither follow nor are followed.

    `paths`: longer paths that must not be driven; `seconds`: what turning from arcs into arcs takes.
    """
    count = len(open_)
    tail, head = np.empty(count, np.int64), np.empty(count, np.int64)
    tail[0::2], tail[1::2], head[0::2], head[1::2] = seg_from, seg_to, seg_to, seg_from
    open_ = np.flatnonzero(open_)
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
    cost = np.zeros(len(arc)) if seconds is None else seconds(arc, follow)
    made = Turns(np.searchsorted(arc, np.arange(count + 1)), follow, cost, np.arange(count), head, start, leaving)
    return _with_paths(made, [p for p in paths if np.isin(p, open_).all()]) if paths else made


def _with_paths(turns: Turns, paths: Sequence[Path]) -> Turns:
    """Further states for the beginnings of forbidden paths, so that their ends are forbidden there and only there.

    A state is the longest beginning of a forbidden path that the drive just came by (Aho and Corasick 1975).
    """
    forbidden = set(paths)
    count = len(turns.arc)
    begun = sorted({path[:n] for path in paths for n in range(2, len(path))})
    state = {begin: count + k for k, begin in enumerate(begun)}

    def after(came: Path) -> list[tuple[int, float]]:
        arc, out = came[-1], []
        for k in range(turns.first[arc], turns.first[arc + 1]):
            whole = (*came, int(turns.follow[k]))
            ways = [whole[n:] for n in range(len(whole) - 1)]  # the longest first
            if not any(way in forbidden for way in ways):
                to = next((state[way] for way in ways if way in state), whole[-1])
                out.append((to, float(turns.turn_s[k])))
        return out

    changed = {path[0]: after(path[:1]) for path in paths}
    added = [after(begin) for begin in begun]
    keep = ~np.isin(np.repeat(turns.arc, np.diff(turns.first)), list(changed))
    source = np.repeat(np.arange(count), np.diff(turns.first))[keep]
    more = [(s, *edge) for s, edges in (*changed.items(), *enumerate(added, count)) for edge in edges]
    source = np.concatenate([source, [m[0] for m in more]]).astype(np.int64)
    follow = np.concatenate([turns.follow[keep], [m[1] for m in more]]).astype(np.int64)
    cost = np.concatenate([turns.turn_s[keep], [m[2] for m in more]])
    order = np.argsort(source, kind="stable")
    arc = np.concatenate([turns.arc, [begin[-1] for begin in begun]]).astype(np.int64)
    first = np.searchsorted(source[order], np.arange(len(arc) + 1))
    return Turns(first, follow[order], cost[order], arc, turns.head[arc], turns.start, turns.leaving)
