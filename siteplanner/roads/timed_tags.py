"""What of a road's tags depends on season, hours or the vehicle, gathered line by line."""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from siteplanner.data import road_keys as keys
from siteplanner.mission import Rig
from siteplanner.roads import access as may
from siteplanner.roads import cells


class Columns(Protocol):
    """Columns of a road table by OpenStreetMap key."""

    def has(self, key: str) -> bool: ...

    def words(self, key: str) -> np.ndarray: ...


class Conditions(NamedTuple):
    """What of one line depends on season, hours or the vehicle: pairs (plain value, conditional value)."""

    access: tuple[tuple[str, str], ...]  # from the general to the special key
    trailer: tuple[str, str]
    figures: tuple[tuple[str, str, str], ...]  # what it limits, before the pair
    season: str
    # (what it limits, text): for one way only, or for vehicles that the rig may be; they close nothing
    told: tuple[tuple[str, str], ...] = ()


def timed_tags(columns: Columns, size: int, rig: Rig) -> np.ndarray:
    """'' or the `Conditions` of each line."""
    out = np.full(size, "", object)
    seasons = {key: columns.words(key) for key in ("seasonal", "winter_road", "ice_road") if columns.has(key)}
    modes = may.modes(rig)
    asked = [k for k in (*modes, "trailer") if columns.has(f"{k}:conditional")]
    measured = [k for k in keys.FIGURES_CONDITIONAL if columns.has(k)]
    others = {key: (what, columns.words(key)) for key, what in _told(rig).items() if columns.has(key)}
    if not (seasons or asked or measured or others):
        return out
    season = np.full(size, "", object)
    for key, words in seasons.items():
        there = np.array([cells.is_set(w) for w in words], bool)
        season[there] = [f"{key.replace('_', ' ')}: {w}" for w in words[there]]
    plain = {k: columns.words(k) for k in (*modes, "trailer")}
    timed = {k: columns.words(f"{k}:conditional") for k in (*modes, "trailer")}
    told = season != ""
    for k in asked:
        told |= timed[k] != ""
    limits = {k: (columns.words(k.removesuffix(":conditional")), columns.words(k)) for k in measured}
    for _, words in limits.values():
        told |= words != ""
    for _, words in others.values():
        told |= words != ""
    for i in np.flatnonzero(told).tolist():
        out[i] = Conditions(
            tuple((plain[k][i], timed[k][i]) for k in modes),
            (plain["trailer"][i], timed["trailer"][i]),
            tuple((keys.FIGURES_CONDITIONAL[k], p[i], c[i]) for k, (p, c) in limits.items() if c[i]),
            season[i],
            tuple((what, w[i]) for what, w in others.values() if w[i]),
        )
    return out


def _told(rig: Rig) -> dict[str, str]:
    """Keys of conditions that close nothing by themselves, with what each limits."""
    out = {f"{mode}:{way}:conditional": "access" for mode in may.modes(rig) for way in keys.DIRECTIONS}
    out |= {"oneway:motor_vehicle:conditional": "oneway", "oneway:vehicle:conditional": "oneway"}
    for measure in ("height", "weight"):
        out |= {f"max{measure}:{way}:conditional": measure for way in keys.DIRECTIONS}
    out["maxheight:hgv:conditional"] = "height"
    if rig.heavy_goods == "yes" or may.told_of_goods(rig):
        out |= {f"max{measure}:hgv:conditional": measure for measure in ("weight", "length")}
    return out | {"opening_hours": "hours"}
