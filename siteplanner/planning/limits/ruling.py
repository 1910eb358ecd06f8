"""The ruling raster: for every cell of the search ground, which limits rule it out. One bit a limit."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid

BAND_ROWS = 256
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


def mark(bits: np.ndarray, code: str, hit: np.ndarray | Callable[[slice], np.ndarray]) -> None:
    """Add one limit to each cell's sum of BITS, in place.

    `bits`: (rows, cols) uint16. `hit`: bool raster, True where it rules out, or that of a slice of rows, so that a
    large raster is worked out band by band.
    """
    bit = np.uint16(BITS[code])
    for band in bands(bits.shape[0]):
        here = hit[band] if isinstance(hit, np.ndarray) else hit(band)
        bits[band] |= here.astype(np.uint16) * bit


def bands(rows: int) -> Iterator[slice]:
    """The rows of a raster in pieces whose temporaries stay small."""
    for top in range(0, rows, BAND_ROWS):
        yield slice(top, min(top + BAND_ROWS, rows))


def counts_of(bits: np.ndarray, search_ground: np.ndarray) -> np.ndarray:
    """How many cells of the search ground hold each sum of BITS, by the sum."""
    counts = np.zeros(1 << len(BITS), np.int64)
    for band in bands(bits.shape[0]):
        counts += np.bincount(bits[band][search_ground[band]], minlength=len(counts))
    return counts


def rule(
    like: Grid,
    search_ground: np.ndarray,
    bits: np.ndarray,
    asked: Collection[str],
    counts: np.ndarray,
    relax: dict[str, tuple[float, str]],
) -> Ruling:
    """The ruling of each cell's sum of BITS.

    `bits`: uint16, as `mark` makes it; it becomes the ruling's own. `asked`: the codes of the limits that were asked
    for; `counts`: their `counts_of`. `relax`: limit code -> what it would have to be, with its unit, for the nearest
    cell that only it rules out.
    """
    total = max(int(counts.sum()), 1)
    sums = np.arange(len(counts))
    shares = []
    for code in LIMITS:
        if code not in asked:
            continue
        inside, only = int(counts[(sums & BITS[code]) > 0].sum()), int(counts[BITS[code]])
        shares.append(RulingShare(code, LIMITS[code], inside / total, only / total, *relax.get(code, ())))
    np.copyto(bits, np.uint16(OUTSIDE), where=~search_ground)
    return Ruling(like.with_values(bits), tuple(shares))
