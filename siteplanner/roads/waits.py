"""Seconds that a drive takes besides the road itself: turns, signals, signs, level crossings, turns that need shunting.

A turn costs by its angle as in the car profile of the Open Source Routing Machine (`profiles/car.lua`, turn_penalty
7.5 s, its logistic curve without the bias to one side; from memory), and only where more than two roads meet: a bend of
a road by itself slows the rig down already. What stands at a place of the road data costs a low, a likely and a high
figure of the mission; signals of one crossing share it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from siteplanner.mission import Speeds
from siteplanner.roads.noding import SNAP_M, Noded
from siteplanner.roads.strokes import three_point_radius_m

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

WAIT = "wait"  # column of points: one of KINDS
DIRECTION = "wait:direction"  # column of points: forward or backward along the line that it stands on; '' both
Kind = Literal["signal", "stop", "give_way", "level_crossing"]
KINDS: tuple[Kind, ...] = ("signal", "stop", "give_way", "level_crossing")
COUNTED = ("signal", "stop", "level_crossing")  # give way counts with stop
STEEPNESS, MIDDLE = 13.0, 6.5  # of the curve: half of the largest cost at 90 degrees
TURN_LOW, TURN_HIGH = (
    0.5,
    2.0,
)  # times the likely seconds of a turn: loaded, with traffic. Common practice, no source
ONE_CROSSING_M = 35.0  # signals this near belong to one crossing. Common practice


@dataclass(frozen=True)
class Waits:
    """Seconds at the least, likely and at the most, and for how many turns (sharper than 45 degrees), tight turns,
    signals, signs and level crossings.
    """

    low_s: float = 0.0
    likely_s: float = 0.0
    high_s: float = 0.0
    turns: int = 0
    tight_turns: int = 0
    signals: int = 0
    signs: int = 0
    level_crossings: int = 0


NO_WAITS = Waits()
TOLD_TURN_DEG = 45.0


def turn_s(angle_deg: np.ndarray, largest_s: float) -> np.ndarray:
    """Seconds for a turn by an angle of 0 to 180 degrees, either side: 0.0015, 0.5 and nearly all of the largest at 0,
    90 and 180 degrees.
    """
    return largest_s / (1.0 + np.exp(MIDDLE - STEEPNESS * np.abs(angle_deg) / 180.0))


@dataclass(frozen=True, eq=False)
class Junctions:
    """What turning at the segments' ends takes. Arcs are 2 x segment, + 1 when driven backward.

    `ahead`: for each arc the point a quarter of the rig's turning circle along it, from its first node, metres.
    `busy`: nodes where more than two roads meet. For each arc what stands at its end or on the way there: `place_s`
    (arcs, 3) low, likely and high seconds, `count` (arcs, 3) how many of COUNTED. `turn_s`, `shunt_s`: see the
    mission's `speeds`; `radius_m` the rig's.
    """

    ahead: np.ndarray
    busy: np.ndarray
    head: np.ndarray
    place_s: np.ndarray
    count: np.ndarray
    turn_s: float
    shunt_s: tuple[float, float, float]
    radius_m: float

    def angle_deg(self, arc: np.ndarray, follow: np.ndarray) -> np.ndarray:
        """By how much one turns from an arc into another, 0 to 180 degrees."""
        a, b = -self.ahead[arc ^ 1], self.ahead[follow]
        cross, dot = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)
        return np.degrees(np.abs(np.arctan2(cross, dot)))

    def turn_radius_m(self, arc: np.ndarray, follow: np.ndarray) -> np.ndarray:
        """Radius of the turn from an arc into another, measured as `hazards.find_bends` measures bends."""
        a, b = self.ahead[arc ^ 1], self.ahead[follow]
        nothing = np.zeros(len(a))
        radius = three_point_radius_m(a[:, 0], a[:, 1], nothing, nothing, b[:, 0], b[:, 1])
        return np.where(np.isnan(radius), np.inf, radius)

    def is_tight(self, arc: np.ndarray, follow: np.ndarray) -> np.ndarray:
        """Whether the turn is one at a junction and tighter than the rig's turning radius."""
        return self.busy[self.head[arc]] & (self.turn_radius_m(arc, follow) < self.radius_m)

    def likely_s(self, arc: np.ndarray, follow: np.ndarray) -> np.ndarray:
        """Likely seconds between an arc and the one that follows it."""
        turn = np.where(self.busy[self.head[arc]], turn_s(self.angle_deg(arc, follow), self.turn_s), 0.0)
        shunt = np.where(self.is_tight(arc, follow), self.shunt_s[1], 0.0)
        return turn + shunt + self.place_s[arc, 1]

    def along(self, arcs: np.ndarray) -> Waits:
        """All of a drive over these arcs, at whose ends but the last it goes on."""
        arc, follow = arcs[:-1], arcs[1:]
        if not len(arc):
            return NO_WAITS
        turn = np.where(self.busy[self.head[arc]], turn_s(self.angle_deg(arc, follow), self.turn_s), 0.0)
        tight = self.is_tight(arc, follow)
        at, counted = self.place_s[arc].sum(axis=0), self.count[arc].sum(axis=0).tolist()
        total, shunts = float(turn.sum()), int(tight.sum())
        low, likely, high = (
            factor * total + shunts * shunt + float(seconds)
            for factor, shunt, seconds in zip((TURN_LOW, 1.0, TURN_HIGH), self.shunt_s, at, strict=True)
        )
        sharp = self.busy[self.head[arc]] & (self.angle_deg(arc, follow) > TOLD_TURN_DEG)
        return Waits(
            low,
            likely,
            high,
            int(sharp.sum()),
            shunts,
            *counted,
        )


def find_junctions(
    roads: GeoDataFrame, points: np.ndarray, noded: Noded, for_vehicles: np.ndarray, speeds: Speeds, radius_m: float
) -> Junctions:
    """Of the segments of `noded`. `points`: rows of `roads` that are points; `for_vehicles`: bool, one a segment."""
    size = len(noded.node_x)
    ends = np.concatenate([noded.start_node[for_vehicles], noded.end_node[for_vehicles]])
    busy = np.bincount(ends, minlength=size) > 2
    head = np.stack([noded.end_node, noded.start_node], axis=1).reshape(-1)
    place_s, count = _places(roads, points, noded, head, speeds)
    ahead = _ahead(noded.piece, np.pi * radius_m / 2)
    return Junctions(ahead, busy, head, place_s, count, speeds.turn_s, speeds.shunt_s, radius_m)


def _ahead(pieces: np.ndarray, reach_m: float) -> np.ndarray:
    """From each end into its segment: the point at `reach_m`; a shorter segment goes on as it ends. Shape (2 n, 2)."""
    length = shapely.length(pieces)
    reach = np.minimum(reach_m, length)
    out = []
    for end, along in ((0.0 * length, reach), (length, length - reach)):
        near, far = (shapely.get_coordinates(shapely.line_interpolate_point(pieces, m)) for m in (end, along))
        out.append((far - near) * (reach_m / np.maximum(reach, 1e-9))[:, None])
    return np.stack(out, axis=1).reshape(-1, 2)


def _places(
    roads: GeoDataFrame, points: np.ndarray, noded: Noded, head: np.ndarray, speeds: Speeds
) -> tuple[np.ndarray, np.ndarray]:
    """(`place_s`, `count`) of `Junctions`, from points with the column WAIT on the lines. A point on a node holds up
    whoever arrives there, one within a segment whoever drives on over its end.
    """
    place_s, count = np.zeros((len(head), 3)), np.zeros((len(head), len(COUNTED)), np.int64)
    marks = points[np.isin(_words(roads, WAIT)[points], KINDS)] if WAIT in roads.columns else points[:0]
    if not len(marks):
        return place_s, count
    shapes = np.asarray(roads.geometry.array, object)[marks]
    xy = shapely.get_coordinates(shapes)
    said, way = _words(roads, WAIT)[marks], _words(roads, DIRECTION)[marks]
    share = _shares(xy, said == "signal")
    ends = np.column_stack([noded.node_x, noded.node_y])[head]
    which, segment = shapely.STRtree(noded.piece).query(shapes, predicate="dwithin", distance=SNAP_M)
    for k, i in zip(which.tolist(), segment.tolist(), strict=True):
        seconds = share[k] * np.array(getattr(speeds, f"{said[k]}_s"))
        arcs = {"forward": [2 * i], "backward": [2 * i + 1]}.get(way[k], [2 * i, 2 * i + 1])
        at_end = [arc for arc in arcs if np.hypot(*(ends[arc] - xy[k])) <= SNAP_M]
        at_start = [arc for arc in arcs if np.hypot(*(ends[arc ^ 1] - xy[k])) <= SNAP_M]
        for arc in at_end or ([] if at_start else arcs):
            place_s[arc] += seconds
            count[arc, COUNTED.index(said[k] if said[k] in COUNTED else "stop")] += 1
    return place_s, count


def _shares(xy: np.ndarray, signal: np.ndarray) -> np.ndarray:
    """Of a signal's seconds at each point: a drive passes about two of the k signals of one crossing, so 2 / k."""
    out = np.ones(len(xy))
    at = np.flatnonzero(signal)
    if len(at) > 2:
        pairs = cKDTree(xy[at]).query_pairs(ONE_CROSSING_M, output_type="ndarray")
        graph = csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(at), len(at)))
        label = connected_components(graph, directed=False)[1]
        out[at] = np.minimum(1.0, 2.0 / np.bincount(label)[label])
    return out


def _words(roads: GeoDataFrame, key: str) -> np.ndarray:
    out = np.full(len(roads), "", object)
    if key in roads.columns:
        out[:] = [v if isinstance(v, str) else "" for v in roads[key]]
    return out
