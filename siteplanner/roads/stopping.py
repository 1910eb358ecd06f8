"""Where a rig may not stop, and so neither start, leave the road nor be said to stand near one: it only drives there.

In a tunnel or on a bridge the ground beside the road is on another level; on a motorway, on any road of controlled
access and on the ramps to them, and in a roundabout, nobody stops to unload (OpenStreetMap wiki, Tag:highway=motorway,
Key:motorroad, Key:access_control, Key:expressway).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from siteplanner.roads import cells

MOTORWAY, CONTROLLED, RAMP = "motorway", "controlled access", "ramp"
_CONTROLS = {"motorroad": ("yes",), "expressway": ("yes",), "access_control": ("full", "partial", "yes", "limited")}


def no_stop(
    words: Callable[[str], np.ndarray],
    highway: np.ndarray,
    bridge: np.ndarray,
    tunnel: np.ndarray,
    level: np.ndarray,
    roundabout: np.ndarray,
    has: Callable[[str], bool],
) -> np.ndarray:
    """What keeps the rig from stopping on each line: `tunnel`, `bridge`, `other level`, `motorway`,
    `controlled access`, `roundabout`; '' where it may. `words` gives the column of a key, `has` whether there is one.
    """
    out = np.full(len(highway), "", object)
    out[roundabout] = "roundabout"
    for key, values in _CONTROLS.items():
        if has(key):
            out[np.isin(words(key), values)] = CONTROLLED
    out[np.isin(highway, ("motorway", "motorway_link"))] = MOTORWAY
    out[level != 0] = "other level"
    for key in ("level", "indoor"):
        if has(key):
            out[cells.where(words(key), _off_ground)] = "other level"
    out[bridge] = "bridge"
    out[tunnel] = "tunnel"
    return out


def _off_ground(text: str) -> bool:
    """Whether a `level` names any storey but the ground's, or `indoor` is set."""
    parts = [p for p in text.replace("(", "").replace(")", "").replace(",", ";").split(";") if p.strip()]
    return any(p.strip() not in ("0", "no", "0.0") for p in parts)


def ramps(
    word: np.ndarray, highway: np.ndarray, road: np.ndarray, seg_from: np.ndarray, seg_to: np.ndarray
) -> np.ndarray:
    """The words with `ramp` on links that hang together with a road of controlled access. All arrays one a segment;
    `road`: it is one for vehicles.
    """
    link = np.flatnonzero(road & cells.where(highway, lambda w: w.endswith("_link")))
    controlled = np.isin(word, (MOTORWAY, CONTROLLED))
    if not len(link) or not controlled.any():
        return word
    nodes = int(max(seg_from.max(), seg_to.max())) + 1
    at = np.zeros(nodes, bool)
    at[seg_from[controlled]] = at[seg_to[controlled]] = True
    graph = csr_matrix((np.ones(len(link)), (seg_from[link], seg_to[link])), shape=(nodes, nodes))
    label = connected_components(graph, directed=False)[1]
    touched = np.zeros(int(label.max()) + 1, bool)
    touched[label[seg_from[link]][at[seg_from[link]]]] = True
    touched[label[seg_to[link]][at[seg_to[link]]]] = True
    out = word.copy()
    ramp = link[touched[label[seg_from[link]]]]
    out[ramp[out[ramp] == ""]] = RAMP
    return out
