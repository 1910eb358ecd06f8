"""The ruling raster: for every cell of the search ground, which limits rule it out. One bit a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid

OUTSIDE = 1 << 15
"""Marks cells outside the search ground; no limit was checked there."""


@dataclass(frozen=True)
class Limit:
    """A limit of the ruling: its code, its name on screens and sheets, and its colour on maps.

    Colours: Paul Tol, Colour Schemes, SRON/EPS/TN/09-002, issue 3.2, `muted`, in an order that puts far-apart hues on
    limits that lie side by side on the ground; its pale grey stands for missing data. The scheme has nine; behind
    them Okabe and Ito's black, vermilion and yellow (Color Universal Design, 2008), and a pure blue.
    """

    code: str
    label: str
    colour: str


TABLE: tuple[Limit, ...] = (
    Limit("no_data", "Outside the elevation data", "#DDDDDD"),
    Limit("steep", "Too steep for the jacks", "#CC6677"),
    Limit("keep_out", "Keep-out area", "#882255"),
    Limit("hazard", "Hazard area", "#AA4499"),
    Limit("power_line", "Overhead line within reach of the mast", "#332288"),
    Limit("sky_blocked", "Satellite behind the skyline", "#88CCEE"),
    Limit("sky_unknown", "Skyline toward the satellite not known", "#999933"),
    Limit("roadway", "On the roadway", "#117733"),
    Limit("no_way_in", "Too far from a road that the rig can reach", "#DDCC77"),
    Limit("structure", "Too close to a structure", "#000000"),
    Limit("water", "In or beside water", "#0055FF"),
    Limit("trees_on_spot", "Trees on the spot", "#D55E00"),
    Limit("soft_ground", "Soft ground", "#F0E442"),
)
LIMITS: dict[str, str] = {limit.code: limit.label for limit in TABLE}
BITS: dict[str, int] = {code: 1 << number for number, code in enumerate(LIMITS)}


@dataclass(frozen=True)
class RulingShare:
    """How much of the search ground one limit rules out."""

    code: str
    label: str
    share: float  # of the search ground, counting every cell the limit hits
    only_share: float  # of the search ground, cells that no other limit hits
    would_allow: float = float("nan")  # what the limit would have to be for the nearest cell that only it rules out
    unit: str = ""  # of `would_allow`


@dataclass(frozen=True, eq=False)
class Ruling:
    """`cells.values` is uint16: 0 passes, OUTSIDE, or a sum of BITS."""

    cells: Grid
    shares: tuple[RulingShare, ...]

    @property
    def feasible(self) -> np.ndarray:
        return self.cells.values == 0


def codes_of(value: int) -> list[str]:
    """The limits named by one cell's value, in the order of LIMITS."""
    return [code for code, bit in BITS.items() if value & bit]


def bits_of(shape: tuple[int, int], hits: dict[str, np.ndarray]) -> np.ndarray:
    """Each cell's sum of BITS, uint16, from each limit's bool raster."""
    values = np.zeros(shape, np.uint16)
    for code, hit in hits.items():
        values[hit] |= np.uint16(BITS[code])
    return values


def rule(
    like: Grid,
    search_ground: np.ndarray,
    hits: dict[str, np.ndarray],
    bits: np.ndarray,
    relax: dict[str, tuple[float, str]],
) -> Ruling:
    """Combine each limit's bool raster into the ruling.

    `hits`: limit code -> True where it rules out (missing codes: the limit was not asked for); `bits`: their
    `bits_of`. `relax`: limit code -> what it would have to be, with its unit, for the nearest cell that only it
    rules out.
    """
    total = max(int(search_ground.sum()), 1)
    shares = []
    for code in LIMITS:
        if code not in hits:
            continue
        inside = search_ground & hits[code]
        only = int((bits[search_ground] == BITS[code]).sum())
        shares.append(RulingShare(code, LIMITS[code], float(inside.sum()) / total, only / total, *relax.get(code, ())))
    return Ruling(like.with_values(np.where(search_ground, bits, np.uint16(OUTSIDE))), tuple(shares))
