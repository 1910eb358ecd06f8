"""How long a drive takes to each of its places: rolling time leg by leg, with what the junctions between them take."""

from __future__ import annotations

import numpy as np

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route


def elapsed_s(network: RoadNetwork, route: Route, running_m: np.ndarray) -> np.ndarray:
    """Likely seconds from the start of a route to places `running_m` metres along it, shape as given.

    At a junction what it takes is counted in. At the route's end it is `route.time_s`.
    """
    length = np.abs(route.end_m - route.start_m)
    whole = network.geometry.length_m[route.segments]
    ahead = route.directions > 0
    pace = np.where(ahead, network.times.forward_s[route.segments], network.times.backward_s[route.segments]) / whole
    rolling = np.where(length > 0, pace * length, 0.0)
    wait = np.zeros(len(rolling))
    if network.junctions is not None and len(rolling) > 1:
        arcs = 2 * route.segments + ~ahead
        wait[:-1] = network.junctions.likely_s(arcs[:-1], arcs[1:])
    begins = np.concatenate([[0.0], np.cumsum(rolling + wait)])
    at = np.asarray(running_m, float)
    leg = np.clip(np.searchsorted(route.running_m, at + 1e-6, side="right") - 1, 0, len(rolling) - 1)
    return begins[leg] + np.clip(at - route.running_m[leg], 0.0, length[leg]) * np.where(length > 0, pace, 0.0)[leg]
