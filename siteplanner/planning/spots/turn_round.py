"""Can the rig turn round at the spot, and if not, how far must it back up: from the ground's slope and the limits."""

from __future__ import annotations

import numpy as np
import shapely

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_reference
from siteplanner.planning.spots.drive_facts import Turning
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study
from siteplanner.roads.routing import Route
from siteplanner.roads.turning import TurningPlace, carry_on_m, last_turning_place

TALL_M = 1.0  # what stands higher than this above the ground is in the way. Common practice
NOT_FREE = ("keep_out", "hazards", "structures", "water", "soft_ground")
BESIDE_STEP_M = 25.0  # open ground beside the road is looked for every so many metres
BESIDE_BACK_M = 1000.0


def turn_round(study: Study, spot: Spot, route: Route, last_leg_m: float) -> Turning:
    """Where the rig turns round after a drive to a spot."""
    rig = study.mission.rig
    need = rig.turning_radius_m + rig.width_m / 2
    at_spot = room_to_turn(study, spot.x, spot.y)
    place = last_turning_place(study.network, route, rig)
    if not at_spot:
        place = _beside_the_road(study, route, place) or place
    onward = carry_on_m(study.network, route)
    lat = lon = float("nan")
    if place is not None:
        lon, lat = (float(v) for v in study.elevation.lonlat(place.x, place.y))
    back = 0.0 if at_spot else last_leg_m + place.back_m if place is not None else float("nan")
    return Turning(
        at_spot,
        need,
        place,
        lat,
        lon,
        degrees_minutes(lat, lon) if place else "",
        grid_reference(lat, lon) if place else "",
        back,
        onward,
        _sentence(study, at_spot, need, place, last_leg_m, onward),
    )


def free_ground(study: Study, x: float, y: float, reach_m: float) -> np.ndarray | None:
    """Cells around a point that the rig may drive on: slope, keep-outs, hazards, tall things. None at the data's rim.

    The window is square and odd; the point's cell is its middle. Limits as for the last leg.
    """
    grid, rig = study.elevation, study.mission.rig
    cell = grid.cell(x, y)
    n = int(np.ceil(reach_m / grid.cell_size_m))
    if cell is None or min(cell) < n or cell[0] + n >= grid.shape[0] or cell[1] + n >= grid.shape[1]:
        return None
    window = (slice(cell[0] - n, cell[0] + n + 1), slice(cell[1] - n, cell[1] + n + 1))
    with np.errstate(invalid="ignore"):
        free = (study.slope.values[window] <= rig.last_leg_max_slope_deg) & np.isfinite(grid.values[window])
        if study.obstacles is not None:
            free &= ~(study.obstacles.values[window] - grid.values[window] > TALL_M)
    rows, cols = np.mgrid[window]
    xs, ys = grid.xy(rows, cols)
    box = shapely.box(xs.min(), ys.min(), xs.max(), ys.max())
    for role in NOT_FREE:
        frame = study.overlay(role)
        for shape in () if frame is None else frame.geometry:
            if shape.intersects(box):
                free &= ~shapely.intersects_xy(shape, xs, ys)
    return free


def room_to_turn(study: Study, x: float, y: float) -> bool | None:
    """Whether a circle in which the rig can turn without backing lies on free ground and reaches the point.

    Radius: the rig's turning radius and half its width; the circle's centre lies within the turning radius of the
    point. None where the cells are too coarse to tell (larger than the turning radius) or end close by.
    """
    from scipy.ndimage import distance_transform_edt

    rig, size = study.mission.rig, study.elevation.cell_size_m
    need = rig.turning_radius_m + rig.width_m / 2
    if size > rig.turning_radius_m:
        return None
    free = free_ground(study, x, y, rig.turning_radius_m + need + size)
    if free is None:
        return None
    room = distance_transform_edt(np.pad(free, 1)) * size  # to the nearest cell that is not free
    n = free.shape[0] // 2
    rows, cols = np.mgrid[-n - 1 : n + 2, -n - 1 : n + 2]
    near = np.hypot(rows, cols) * size <= rig.turning_radius_m
    return bool((room[near] - size / 2 >= need).any())  # a cell is free or not as a whole


def _beside_the_road(study: Study, route: Route, known: TurningPlace | None) -> TurningPlace | None:
    """Open ground beside the road nearer to the end than the place known, where heights above ground are known."""
    if study.obstacles is None:
        return None
    until = min(known.back_m if known else BESIDE_BACK_M, BESIDE_BACK_M, route.distance_m)
    for back in np.arange(0.0, until, BESIDE_STEP_M).tolist():
        at = route.line.interpolate(route.distance_m - back)
        if room_to_turn(study, at.x, at.y):
            return TurningPlace("open ground", "", route.distance_m - back, back, float(at.x), float(at.y))
    return None


def _tens(metres: float) -> int:
    return max(10, round(metres / 10) * 10)


def _sentence(
    study: Study,
    at_spot: bool | None,
    need_m: float,
    place: TurningPlace | None,
    last_leg_m: float,
    onward_m: float | None,
) -> str:
    circle = f"a free circle of {need_m:.0f} m radius"
    trees = "" if study.obstacles is not None else "; trees and banks are not in the data"
    text = {
        True: f"Room to turn at the spot by the map: {circle}{trees}.",
        False: f"No room to turn at the spot by the map: {circle} does not fit.",
        None: f"Not known whether the rig can turn at the spot: the elevation cannot show {circle}.",
    }[at_spot]
    if place is None:
        text += " No turning place is known on the road before it." if not at_spot else ""
    else:
        named = {
            "junction": f"the junction with {place.name}",
            "loop": f"the loop of {place.name}",
            "roundabout": "the roundabout",
            "open ground": "open ground beside the road",
        }[place.kind]
        where = f"{_tens(place.back_m)} m before the stop" if place.back_m >= 5 else "at the stop"
        if at_spot:
            text += f" The last turning place on the road before it: {named}, {where}."
        else:
            text += f" Turn before it: {named}, {where}; from the spot {_tens(place.back_m + last_leg_m)} m of backing."
    if onward_m is not None and not at_spot:
        text += f" Or carry on without turning: {onward_m / 1000:.1f} km back to the start."
    return f"{text} See whether there is room before you commit."
