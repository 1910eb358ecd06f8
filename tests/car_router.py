"""A car's navigator that knows nothing of rigs: it goes from route point to route point by the quickest way for a car.

Independent of the program: a graph of networkx over the drawn road lines, cut where points lie on them; speeds are
fixed ones by class of road, and no limit of height, width or weight is known to it.
"""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import shapely
from shapely.ops import substring

CAR_KMH = {"motorway": 110, "trunk": 90, "primary": 80, "secondary": 70, "tertiary": 55, "residential": 30, "track": 12}
ELSE_KMH = 25


class CarRouter:
    """Road lines that meet at their ends; `kmh` of each, `one_way`: driven only as drawn."""

    def __init__(self, lines, kmh, one_way=None):
        self.lines, self.kmh = list(lines), list(kmh)
        self.one_way = [False] * len(self.lines) if one_way is None else list(one_way)
        self.tree = shapely.STRtree(self.lines)
        self.graph = nx.MultiDiGraph()
        for i, line in enumerate(self.lines):
            self._add(i, 0.0, line.length, self._node(line.coords[0]), self._node(line.coords[-1]))

    @staticmethod
    def _node(xy):
        return (round(xy[0], 2), round(xy[1], 2))

    def _add(self, i, begin, end, a, b):
        hours = (end - begin) / 1000 / self.kmh[i]
        self.graph.add_edge(a, b, weight=hours, line=i, begin=begin, end=end)
        if not self.one_way[i]:
            self.graph.add_edge(b, a, weight=hours, line=i, begin=end, end=begin)

    def drive(self, points):
        """The line driven through points (x, y) in order, each taken to the nearest road."""
        graph = self.graph.copy()
        places = []
        for x, y in points:
            here = shapely.Point(x, y)
            i = int(self.tree.nearest(here))
            places.append((i, float(self.lines[i].project(here))))
        cuts: dict[int, set[float]] = {}
        for i, along in places:
            cuts.setdefault(i, set()).add(along)
        nodes = {}
        for i, held in cuts.items():
            line = self.lines[i]
            ends = {0.0: self._node(line.coords[0]), line.length: self._node(line.coords[-1])}
            for u, v, key, data in list(graph.edges(keys=True, data=True)):
                if data["line"] == i:
                    graph.remove_edge(u, v, key)
            stops = sorted({0.0, line.length, *held})
            for along in stops:
                near = next((n for at, n in ends.items() if abs(at - along) < 1e-6), None)
                nodes[i, along] = near if near is not None else (i, along)
            for begin, end in pairwise(stops):
                hours = (end - begin) / 1000 / self.kmh[i]
                a, b = nodes[i, begin], nodes[i, end]
                graph.add_edge(a, b, weight=hours, line=i, begin=begin, end=end)
                if not self.one_way[i]:
                    graph.add_edge(b, a, weight=hours, line=i, begin=end, end=begin)
        pieces = []
        for one, other in pairwise(places):
            a, b = nodes[one], nodes[other]
            way = nx.shortest_path(graph, a, b, weight="weight")
            for u, v in pairwise(way):
                best = min(graph.get_edge_data(u, v).values(), key=lambda data: data["weight"])
                pieces.append(substring(self.lines[best["line"]], best["begin"], best["end"]))
        held = [p for p in pieces if p.length > 0]
        return shapely.LineString(np.vstack([shapely.get_coordinates(p) for p in held]))


def stays_on(driven, track, within_m=1.0):
    """Whether a line driven is the track: as long, and at the same place after every metre."""
    if abs(driven.length - track.length) >= within_m:
        return False
    at = np.linspace(0, 1, 2 + int(track.length / 5))
    a, b = (shapely.line_interpolate_point(line, at, normalized=True) for line in (driven, track))
    return bool(shapely.distance(a, b).max() < within_m)


def router_of(roads):
    """Every road that vehicles use, the ones that are not for the rig included; one-way where both times say so."""
    use = np.flatnonzero(roads.tags.for_vehicles)
    ahead, back = (np.isfinite(t[use]) for t in (roads.times.forward_s, roads.times.backward_s))
    kmh = [CAR_KMH.get(str(roads.tags.highway[i]), ELSE_KMH) for i in use]
    return CarRouter(roads.geometry.line[use], kmh, ahead & ~back)
