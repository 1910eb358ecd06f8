"""How the trailer stands on a spot: plane, slope and how sure it is, heading, jacks, the mast and the dish's line."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from siteplanner.core.geodesy import wrap_180_deg
from siteplanner.core.parking import MORE_LIKELY_THAN_NOT, chance_above, mast_in_beam, parking_heading
from siteplanner.core.roughness import REACH, hidden_gradient_sd
from siteplanner.core.terrain import (
    FINE_CELLS,
    Footprint,
    attitude,
    best_heading,
    drawn_gradient_sd_per_m,
    footprint,
    jack_lifts_m,
)
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding, Severity
from siteplanner.mission import Mission
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.spots.evaluation import Access, Ground
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study, elevation_error_m

LEVEL_ROLL_DEG = 1.0  # less roll than this counts as none, so that the nose can point the way out; common practice
LEVEL_M = 0.01  # lifts below this are level; common practice
DRAWN = 1.5  # source cells wider than the raster's by this: the ground between them is drawn, not measured
NOSE_IN_DEG = 90.0  # a nose that points farther than this off the way out points in


def judge_ground(
    study: Study,
    spot: Spot,
    cell: tuple[int, int],
    access: Access | None,
    looks: tuple[Look, ...],
    heading_deg: float | None = None,
) -> Ground:
    """Slope, parking heading, roll, pitch and jack lifts on the plane under trailer and outriggers.

    `heading_deg`: of a trailer that stands already, true; None: the best one is chosen.
    """
    trailer, grid = study.mission.trailer, study.elevation
    size = trailer.length_m, trailer.jack_width_m  # between the jacks
    plane = footprint(
        grid.values, grid.cell_size_m, *cell, trailer.length_m, trailer.width_m, trailer.outrigger_reach_m
    )
    east, north = plane.east_gradient, plane.north_gradient
    turn = grid.convergence_deg(spot.x, spot.y)
    out = way_out_deg(access)
    needed = np.any if study.mission.sky.need == "all" else np.all
    one, shaded = _shaded(study.mission, looks, turn, np.any), _shaded(study.mission, looks, turn, needed)

    def heading_with(travel_m: float, block: Callable[[Any], Any] | None) -> float:
        return parking_heading(east, north, trailer.max_slope_deg, *size, travel_m, out, LEVEL_ROLL_DEG, block)

    # give way where nothing fits: first the satellites that are not needed, then the dish's line, then the jacks
    reach = trailer.jack_travel_m
    tries = ((reach, one), (reach, shaded), (reach, None), (math.inf, None))
    if heading_deg is None:
        heading = next((h for h in (heading_with(*t) for t in tries) if math.isfinite(h)), math.nan)
    else:
        heading = (heading_deg - turn) % 360
    if not math.isfinite(heading):  # too steep for any heading: still say how it would stand, nose downhill
        heading = float(best_heading(east, north, 89.0, 89.0))
    roll, pitch = attitude(east, north, heading)
    lifts = {k: float(v) for k, v in jack_lifts_m(east, north, heading, *size).items()}
    wide = jack_lifts_m(east, north, heading, size[0], trailer.width_m + 2 * trailer.outrigger_reach_m)
    lowest = max(lifts, key=lambda name: lifts[name])
    unsure, hidden = slope_uncertainty(study, spot, plane)
    seen = plane.fitted and study.source_cell_m <= DRAWN * grid.cell_size_m  # cells of the source lie under the trailer
    return Ground(
        slope_deg=plane.slope_deg,
        heading_deg=(heading + turn) % 360,
        roll_deg=float(roll),
        pitch_deg=float(pitch),
        jack_differences_m=lifts,
        relief_m=plane.relief_m,
        cell_size_m=grid.cell_size_m,
        slope_uncertainty_deg=unsure,
        steep_chance=float(chance_above(plane.slope_deg, trailer.max_slope_deg, unsure)),
        raise_first=lowest if lifts[lowest] > LEVEL_M else "",
        outrigger_differences_m={name: float(v) for name, v in wide.items()},
        lift_uncertainty_m=lift_uncertainty_m(plane if seen else replace(plane, fitted=False), unsure, *size),
        bumps_m=plane.relief_m if seen else math.nan,
        nose_off_way_out_deg=math.nan if out is None else abs(float(wrap_180_deg(heading - out))),
        mast_in_beam=shaded is not None and bool(shaded(np.array([heading]))[0]),
        slope_hidden_deg=hidden,
        source_cell_m=study.source_cell_m,
    )


def _shaded(
    mission: Mission, looks: tuple[Look, ...], turn_deg: float, how: Callable[..., Any]
) -> Callable[[Any], Any] | None:
    """Per grid heading: whether the mast shades any (`how` np.any) or all of the satellites in view; None: none is."""
    trailer = mission.trailer
    azimuths = [look.azimuth_deg - turn_deg for look in looks if look.clear]
    if not azimuths:
        return None

    def shaded(headings: Any) -> Any:
        each = mast_in_beam(
            np.asarray(headings)[:, None],
            np.array(azimuths)[None, :],
            trailer.mast_ahead_of_dish_m,
            trailer.mast_right_of_dish_m,
            mission.sky.dish_diameter_m,
            trailer.mast_width_m,
        )
        return how(each, axis=1)

    return shaded


def way_out_deg(access: Access | None) -> float | None:
    """Grid bearing from the spot back toward the road: the nose should point there."""
    if access is None or access.last_leg.length == 0:
        return None
    (x1, y1), (x0, y0) = access.last_leg.coords[-1][:2], access.last_leg.coords[-2][:2]
    return float(np.degrees(np.arctan2(x0 - x1, y0 - y1)) % 360)


def slope_uncertainty(study: Study, spot: Spot, plane: Footprint) -> tuple[float, float]:
    """(one standard deviation of a part of the slope, that of the ground hidden within one cell alone), degrees.

    Error propagation from the elevation's noise. Horn's window: sqrt(12) / 8 sigma / cell; a fitted plane: least
    squares, with the spread of its own cells where that is larger. Between source cells wider than the raster's the
    ground is drawn: `drawn_gradient_sd_per_m`. Neighbouring errors are alike in real data, so that the slope is rather
    better known. On top, where cells are wider than the trailer, what they hide (`core.roughness`): variances add.
    """
    trailer, grid = study.mission.trailer, study.elevation
    sigma = elevation_error_m(study.mission, study.source_cell_m)
    drawn = study.source_cell_m > DRAWN * grid.cell_size_m
    if drawn:
        error = sigma * drawn_gradient_sd_per_m(study.source_cell_m, grid.cell_size_m)
    else:
        noise = max(sigma, plane.noise_m) if math.isfinite(plane.noise_m) else sigma
        error = noise * plane.gradient_sd_per_m
    hidden = 0.0
    if drawn or not plane.fitted:
        # a plane is fitted where so many cells fit across the trailer: cells that small hide nothing from it
        ground_m = min(trailer.length_m, trailer.width_m + 2 * trailer.outrigger_reach_m) / FINE_CELLS
        wide = max(study.source_cell_m, grid.cell_size_m)
        hidden = hidden_gradient_sd(_heights_around(grid, spot, wide), wide, ground_m, sigma)
    return _degrees(math.hypot(error, hidden)), _degrees(hidden)


def _degrees(gradient: float) -> float:
    return math.degrees(math.atan(gradient))


def _heights_around(grid: Grid, spot: Spot, spacing_m: float) -> np.ndarray:
    """Heights around a spot as far apart as the cells that they come from; NaN unknown."""
    off = np.arange(-REACH, REACH + 1) * spacing_m
    return grid.sample(spot.x + off[None, :], spot.y - off[:, None])


def lift_uncertainty_m(plane: Footprint, slope_uncertainty_deg: float, length_m: float, width_m: float) -> float:
    """One standard deviation of the lift between diagonal corners of the jacks, metres.

    The plane's tilt over the diagonal, and, where cells lie under the trailer, their spread about the plane at both
    ends (error of the raster and bumps together): variances add. Coarser cells say nothing of bumps; those come on top.
    """
    tilt = math.tan(math.radians(slope_uncertainty_deg)) * math.hypot(length_m, width_m)
    bump = plane.noise_m if plane.fitted and math.isfinite(plane.noise_m) else 0.0
    return math.sqrt(tilt**2 + 2 * bump**2)


def standing_findings(study: Study, ground: Ground) -> list[Finding]:
    """What may go wrong with the stand on a spot that passes."""
    out = []
    limit = study.mission.trailer.max_slope_deg
    facts = {
        "slope_deg": ground.slope_deg,
        "uncertainty_deg": ground.slope_uncertainty_deg,
        "limit_deg": limit,
        "chance": ground.steep_chance,
    }
    if not ground.known_at_size:
        wide = max(ground.cell_size_m, ground.source_cell_m)
        # more likely too steep than not
        severity: Severity = "warning" if ground.steep_chance > MORE_LIKELY_THAN_NOT else "check"
        out.append(Finding("slope_not_known_at_size", severity, facts={**facts, "cell_m": wide}))
    elif ground.slope_deg <= limit < ground.slope_deg + ground.slope_uncertainty_deg:
        out.append(Finding("may_be_too_steep", "check", facts=facts))
    lift, reach = ground.largest_lift_m, study.mission.trailer.jack_travel_m
    bumps = ground.bumps_m if math.isfinite(ground.bumps_m) else 0.0
    off = max(ground.lift_uncertainty_m, bumps)
    if lift <= reach < lift + off:
        out.append(
            Finding(
                "jacks_may_not_reach",
                "note",
                facts={
                    "lift_m": lift,
                    "bumps_m": bumps,
                    "off_m": off,
                    "travel_m": reach,
                    "width_m": study.mission.trailer.jack_width_m,
                },
            )
        )
    if ground.mast_in_beam:
        out.append(Finding("mast_in_beam", "check"))
    if ground.nose_off_way_out_deg > NOSE_IN_DEG:
        out.append(Finding("nose_in", "note", facts={"off_deg": ground.nose_off_way_out_deg}))
    return out


def stand_breaks(study: Study, ground: Ground) -> list[Breach]:
    """The limits of the stand that a spot breaks."""
    trailer = study.mission.trailer
    if ground.slope_deg > trailer.max_slope_deg:
        return [Breach("steep", "slope", ground.slope_deg, trailer.max_slope_deg, "deg")]
    lift = ground.largest_lift_m
    if lift > trailer.jack_travel_m + 1e-6:
        return [Breach("steep", "jack", lift, trailer.jack_travel_m, "m", names=(ground.raise_first,))]
    return []
