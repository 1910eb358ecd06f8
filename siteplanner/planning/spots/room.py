"""Can the rig turn round here: one mask of free ground, one circle, one answer for the crew and for the driver."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from siteplanner.data.grid import Grid
from siteplanner.mission import Rig
from siteplanner.planning.study.slope import Slope
from siteplanner.planning.study.study import Study

ROOM_CAP = 2.0  # times the need: more room than that is not measured
RING_STEPS = 4
BEARINGS = 16

Limit = Literal[
    "",  # nothing within the cap
    "keep_out",
    "hazards",
    "structures",
    "water",
    "soft_ground",
    "steep",
    "obstacle",  # stands above the ground: trees, banks of brush, walls
    "unknown_ground",
    "coarse_cells",
]


NOT_FREE: tuple[Limit, ...] = ("keep_out", "hazards", "structures", "water", "soft_ground")


@dataclass(frozen=True)
class Room:
    """Whether the rig can turn round at a place without backing, as far as the data show.

    `free_radius_m` is that of the largest circle on free ground that holds the place, capped at `ROOM_CAP` times the
    need; NaN where the state is not known. `limited_by` is what the circle meets first.
    """

    state: Literal["yes", "no", "unknown"]
    free_radius_m: float
    needed_m: float
    limited_by: Limit
    heights_known: bool  # whether what stands above the ground is in the data at all

    @property
    def is_enough(self) -> bool | None:
        """True, False, or None where the data cannot tell."""
        return {"yes": True, "no": False, "unknown": None}[self.state]


def turning_need_m(rig: Rig) -> float:
    """Radius of the circle that the rig sweeps: its turning radius and half its width.

    The radius counts to the middle of the rig, so its outer side runs half a width farther out. Where a figure is
    meant to the outer wheel, this is half a width too much, never too little. Common practice.
    """
    return rig.turning_radius_m + rig.width_m / 2


def room_to_turn(study: Study, x: float, y: float) -> Room:
    """The room around a place, metres in the plan's CRS.

    Free is ground that the rig may drive on, by the strictest reading of each rule: no steeper than the last leg may
    be, nothing on it higher than `site.obstacle_height_m` (or `site.tree_height_m` where that is less), and outside of
    keep-outs, hazards, structures, water and soft ground. Shapes count with their exact outline, lines and points
    included; a cell is free or not as a whole, up to its edge. Ground that is not known (no elevation, no slope,
    beyond the raster) is neither: the answer is yes where a circle fits without it, no where none fits with it, else
    unknown. Cells wider than the turning radius can rule a circle out, where they are steep as a whole, but never show
    that one fits: there the answer is no or unknown.

    Circle centres are tried on rings around the place up to the turning radius away, a quarter of it apart, so the
    radius is at most an eighth of the turning radius too small; the place itself lies in the circle.
    """
    need = turning_need_m(study.mission.rig)
    centres = _centres(study.mission.rig.turning_radius_m)
    shut, unknown = _near_cells(study, x, y, centres, need)
    shut |= _near_shapes(study, x, y, centres, need)
    heights = study.obstacles is not None
    sure, limit = _largest(shut | unknown, centres, need)
    if sure >= need - 1e-9:
        return Room("yes", sure, need, limit, heights)
    at_most, limit = _largest(shut, centres, need)
    if at_most < need - 1e-9:
        return Room("no", at_most, need, limit, heights)
    return Room("unknown", math.nan, need, next(iter(unknown)), heights)


Centres = tuple[np.ndarray, np.ndarray]  # metres east and north of the place
Clear = dict[Limit, np.ndarray]  # what limits -> metres from each centre to the nearest of it


def _centres(reach_m: float) -> Centres:
    turn = np.radians(np.arange(BEARINGS) * 360 / BEARINGS)
    rings = np.linspace(0, reach_m, RING_STEPS + 1)[1:]
    east = np.concatenate([[0.0], *(r * np.sin(turn) for r in rings)])
    return east, np.concatenate([[0.0], *(r * np.cos(turn) for r in rings)])


def _largest(clear: Clear, centres: Centres, need_m: float) -> tuple[float, Limit]:
    """Radius of the largest circle that holds the place, and what it meets first."""
    cap = np.full(len(centres[0]), ROOM_CAP * need_m)
    kinds: list[Limit] = ["", *clear]
    each = np.stack([cap, *clear.values()])
    room = each.min(axis=0)
    holds = np.hypot(*centres) <= room
    if not holds.any():
        return 0.0, kinds[int(each[:, 0].argmin())]
    best = int(np.argmax(np.where(holds, room, -1.0)))
    return float(room[best]), kinds[int(each[:, best].argmin())]


def _near_shapes(study: Study, x: float, y: float, centres: Centres, need_m: float) -> Clear:
    points = shapely.points(x + centres[0], y + centres[1])
    reach = ROOM_CAP * need_m + study.mission.rig.turning_radius_m
    out: Clear = {}
    for role in NOT_FREE:
        frame = study.overlay(role)
        if frame is None:
            continue
        for i in frame.sindex.query(shapely.Point(x, y), predicate="dwithin", distance=reach):
            metres = shapely.distance(points, frame.geometry.iloc[i])
            out[role] = np.minimum(out[role], metres) if role in out else metres
    return out


def _near_cells(study: Study, x: float, y: float, centres: Centres, need_m: float) -> tuple[Clear, Clear]:
    """Metres to the nearest cells that are shut, and to those of which it is not known."""
    grid, rig, site = study.elevation, study.mission.rig, study.mission.site
    size = grid.cell_size_m
    row, col = (int(np.floor(v + 0.5)) for v in grid.rowcol(x, y))
    far = math.ceil((ROOM_CAP * need_m + rig.turning_radius_m) / size) + 1
    r0, c0 = row - far, col - far
    slope, ground = (_window(raster, r0, c0, 2 * far + 1) for raster in (study.slope, grid.values))
    known = np.isfinite(slope) & np.isfinite(ground)
    shut: dict[Limit, np.ndarray] = {"steep": known & (slope > rig.last_leg_max_slope_deg)}
    if study.obstacles is not None:
        stands = _window(study.obstacles.values, r0, c0, 2 * far + 1) - ground
        shut["obstacle"] = stands >= min(site.obstacle_height_m, site.tree_height_m)
        known &= np.isfinite(stands)
    at = x, y, r0, c0, centres
    found: Clear = {kind: m for kind, mask in shut.items() if (m := _metres_to(grid, mask, *at)) is not None}
    if size > rig.turning_radius_m:
        return found, {"coarse_cells": np.zeros(len(centres[0]))}
    open_end = _metres_to(grid, ~known, *at)
    return found, {} if open_end is None else {"unknown_ground": open_end}


def _window(values: np.ndarray | Slope, row: int, col: int, side: int) -> np.ndarray:
    """A square of a raster from a row and column on; NaN beyond its rim."""
    out = np.full((side, side), np.nan, np.float32)
    r0, c0 = max(row, 0), max(col, 0)
    part = values[r0 : max(row + side, 0), c0 : max(col + side, 0)]
    out[r0 - row : r0 - row + part.shape[0], c0 - col : c0 - col + part.shape[1]] = part
    return out


def _metres_to(
    grid: Grid, mask: np.ndarray, x: float, y: float, row: int, col: int, centres: Centres
) -> np.ndarray | None:
    """From each centre to the nearest edge of the cells marked; None without one."""
    rows, cols = np.nonzero(mask)
    if not len(rows):
        return None
    cell_x, cell_y = grid.xy(rows + row, cols + col)
    half = grid.cell_size_m / 2
    gap_x = np.maximum(np.abs(np.subtract.outer(centres[0], np.asarray(cell_x) - x)) - half, 0)
    gap_y = np.maximum(np.abs(np.subtract.outer(centres[1], np.asarray(cell_y) - y)) - half, 0)
    return np.hypot(gap_x, gap_y).min(axis=1)
