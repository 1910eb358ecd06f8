"""Slots of the geostationary arc from one spot: exact skyline over the beam, margin, and the part in view.

One function judges a single named satellite and the whole arc alike, so both always agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.core.geodesy import look_angles, visible_arc_deg, wrap_180_deg
from siteplanner.core.horizon import horizon_reach
from siteplanner.planning.site.slot_names import slot_text

if TYPE_CHECKING:
    from siteplanner.planning.spots.lines import Look
    from siteplanner.planning.study.spot import Spot
    from siteplanner.planning.study.study import Study

BEAM_OFFSETS_DEG = np.linspace(-1.5, 1.5, 7)  # skyline over a small dish's beam; common practice, no source
SCAN_STEP_DEG = 0.5  # of orbital longitude; a window on the arc narrower than that may go unnoticed
END_WITHIN_DEG = 0.001  # ends of the visible arc are found that exactly, on the side that is in view


@dataclass(frozen=True, eq=False)
class Lines:
    """One value a slot. Horizon and margin are NaN where the skyline is not known well enough to tell."""

    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    skew_deg: np.ndarray
    horizon_deg: np.ndarray
    margin_deg: np.ndarray
    known_to_m: np.ndarray
    clear: np.ndarray  # bool: margin and elevation are at least what the mission asks for

    @property
    def unknown(self) -> np.ndarray:
        return np.isnan(self.margin_deg)


def look_at(study: Study, spot: Spot, cell: tuple[int, int], satellite_longitudes_deg: np.ndarray) -> Lines:
    """Look angles, the highest skyline over the beam's width, and the margin, for slots at these longitudes.

    A skyline cut short by the data's end is a lower bound: it may block, but it never clears, unless the line of
    sight less the margin has already risen above the highest ground there.
    """
    grid, sky = study.elevation, study.mission.sky
    obstacles = None if study.obstacles is None else study.obstacles.values
    height = study.mission.trailer.dish_height_m
    # beside a hole the blended height is unknown, the cell's own is not
    above_sea = spot.elevation_m if math.isfinite(spot.elevation_m) else float(grid.values[cell])
    azimuth, elevation, skew = (
        np.atleast_1d(v) for v in look_angles(spot.latitude, spot.longitude, above_sea, satellite_longitudes_deg)
    )
    bearings = azimuth[:, None] - grid.convergence_deg(spot.x, spot.y) + BEAM_OFFSETS_DEG
    # right below a satellite every bearing is as good: the skyline all round stands for it
    bearings = np.where(np.isnan(bearings), np.arange(len(BEAM_OFFSETS_DEG)) * 360.0 / len(BEAM_OFFSETS_DEG), bearings)
    skyline, known_to = horizon_reach(
        grid.values, grid.cell_size_m, *cell, bearings, height, obstacles_m=obstacles, known=study.blocks
    )
    horizon, reach = skyline.max(axis=1), known_to.min(axis=1)
    margin = elevation - horizon
    eye = float(grid.values[cell]) + height
    with np.errstate(invalid="ignore"):
        line = eye + reach * np.tan(np.radians(elevation - sky.min_margin_deg))
        short = np.isfinite(reach) & (margin >= sky.min_margin_deg) & (line < study.blocks.ceiling_m)
    horizon, margin = np.where(short, np.nan, horizon), np.where(short, np.nan, margin)
    clear = (margin >= sky.min_margin_deg) & (elevation >= sky.min_elevation_deg)
    return Lines(azimuth, elevation, skew, horizon, margin, reach, clear)


@dataclass(frozen=True)
class ArcSpan:
    """A stretch of the arc: orbital longitudes of its ends in [-180, 180), running westward from east to west."""

    east_deg: float
    west_deg: float


@dataclass(frozen=True)
class VisibleArc:
    """Which slots a spot sees, with the mission's margin and least elevation; all else is behind the skyline."""

    clear: tuple[ArcSpan, ...]
    unknown: tuple[ArcSpan, ...]  # the elevation ends before the skyline is certain
    margin_deg: float
    min_elevation_deg: float
    sentence: str


def visible_arc(study: Study, spot: Spot, looks: tuple[Look, ...]) -> VisibleArc | None:
    """The part of the geostationary arc in view from a spot, with what it means for the satellites named.

    Looked at every SCAN_STEP_DEG of orbital longitude and at each named satellite; ends are then halved down to
    END_WITHIN_DEG and lie inside what is in view. None outside the elevation.
    """
    grid, sky = study.elevation, study.mission.sky
    cell = grid.cell(spot.x, spot.y)
    if cell is None or not math.isfinite(grid.values[cell]):
        return None
    west, east = (float(v) for v in visible_arc_deg(spot.latitude, spot.longitude, sky.min_elevation_deg))
    clear: tuple[ArcSpan, ...] = ()
    unknown: tuple[ArcSpan, ...] = ()
    if math.isfinite(west) and math.isfinite(east):
        span = (east - west) % 360
        offsets = np.arange(0.0, span, SCAN_STEP_DEG)
        named = (np.array([look.satellite_longitude_deg for look in looks]) - west) % 360
        # from the eastern end westward; a hair inside the ends, where rounding cannot push a slot below the limit
        scan = np.unique(np.concatenate((offsets, [span], named[named <= span])))[::-1]
        scan = west + np.clip(scan, 1e-6, span - 1e-6)

        def state(longitudes: np.ndarray) -> np.ndarray:
            lines = look_at(study, spot, cell, longitudes)
            return np.where(lines.clear, 1, np.where(lines.unknown, 2, 0))

        found = state(scan)
        edge = np.flatnonzero(found[:-1] != found[1:])
        before, after = scan[edge], scan[edge + 1]
        while len(edge) and np.max(before - after) > END_WITHIN_DEG:
            middle = (before + after) / 2
            like_before = state(middle) == found[edge]
            before, after = np.where(like_before, middle, before), np.where(like_before, after, middle)
        starts, stops = np.concatenate((scan[:1], after)), np.concatenate((before, scan[-1:]))
        kinds = found[np.concatenate(([0], edge + 1))]
        spans = [
            (kind, ArcSpan(float(wrap_180_deg(a)), float(wrap_180_deg(b))))
            for kind, a, b in zip(kinds, starts, stops, strict=True)
        ]
        clear = tuple(s for kind, s in spans if kind == 1)
        unknown = tuple(s for kind, s in spans if kind == 2)
    return VisibleArc(
        clear,
        unknown,
        sky.min_margin_deg,
        sky.min_elevation_deg,
        arc_sentence(clear, unknown, looks, sky.min_margin_deg, sky.min_elevation_deg),
    )


def span_text(span: ArcSpan) -> str:
    """`62.4 W to 131 W`, each end rounded into the span."""
    width = (span.east_deg - span.west_deg) % 360
    east, west = math.floor(span.east_deg * 10) / 10, math.ceil(span.west_deg * 10) / 10
    if width < 0.2:
        return f"a sliver at {slot_text(span.east_deg)}"
    return f"{slot_text(east)} to {slot_text(west)}"


def arc_sentence(
    clear: tuple[ArcSpan, ...],
    unknown: tuple[ArcSpan, ...],
    looks: tuple[Look, ...],
    margin_deg: float,
    min_elevation_deg: float,
) -> str:
    """`Sees slots from 62.4 W to 131 W. Of those named: slot 113 W works; slot 61 W is behind the skyline.`"""
    asked = f"{margin_deg:g} deg above the skyline and {min_elevation_deg:g} deg above level"
    if clear:
        parts = [f"Sees slots from {' and from '.join(span_text(s) for s in clear)} ({asked})."]
    elif unknown:
        parts = [f"No slot is known to be in view ({asked})."]
    else:
        parts = [f"Sees no geostationary slot ({asked})."]
    if unknown:
        parts.append(f"Not known from {' and from '.join(span_text(s) for s in unknown)}: the elevation ends there.")
    words = [f"{look.satellite_name} {_verdict(look, min_elevation_deg)}" for look in looks]
    if words:
        parts.append(f"Of those named: {'; '.join(words)}.")
    return " ".join(parts)


def _verdict(look: Look, min_elevation_deg: float) -> str:
    if look.clear:
        return "works"
    if look.elevation_deg < 0:
        return "is below the horizon"
    if look.elevation_deg < min_elevation_deg:
        return "is too low"
    return "is not known to be in view" if math.isnan(look.margin_deg) else "is behind the skyline or too near it"
