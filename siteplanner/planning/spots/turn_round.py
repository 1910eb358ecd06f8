"""Where the rig turns round after a drive, and how far it backs up where it cannot turn at the spot."""

from __future__ import annotations

import numpy as np

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_reference
from siteplanner.planning.spots.drive_facts import Turning
from siteplanner.planning.spots.room import Room, room_to_turn
from siteplanner.planning.study.study import Study
from siteplanner.roads.routing import Route
from siteplanner.roads.turning import TurningPlace, carry_on_m, last_turning_place

BESIDE_STEP_M = 25.0  # open ground beside the road is looked for every so many metres
BESIDE_BACK_M = 1000.0


def turn_round(study: Study, room: Room, route: Route, last_leg_m: float) -> Turning:
    """Where the rig turns round after a drive to a spot that has this room."""
    place = last_turning_place(study.network, route, study.mission.rig)
    if not room.is_enough:
        place = _beside_the_road(study, route, place) or place
    lat = lon = float("nan")
    if place is not None:
        lon, lat = (float(v) for v in study.elevation.lonlat(place.x, place.y))
    return Turning(
        room,
        place,
        lat,
        lon,
        degrees_minutes(lat, lon) if place else "",
        grid_reference(lat, lon) if place else "",
        0.0 if room.is_enough else last_leg_m + place.back_m if place is not None else float("nan"),
        carry_on_m(study.network, route),
    )


def _beside_the_road(study: Study, route: Route, known: TurningPlace | None) -> TurningPlace | None:
    """Open ground beside the road nearer to the end than the place known, where heights above ground are known."""
    if study.obstacles is None:
        return None
    until = min(known.back_m if known else BESIDE_BACK_M, BESIDE_BACK_M, route.distance_m)
    for back in np.arange(0.0, until, BESIDE_STEP_M).tolist():
        leg = int(np.searchsorted(route.running_m, route.distance_m - back, side="left")) - 1
        leg = min(max(leg, 0), len(route.segments) - 1)  # the sums of both may part in the last figure
        if not study.network.may_stop[route.segments[leg]]:  # ground beside a bridge is not beside the rig
            continue
        at = route.line.interpolate(route.distance_m - back)
        if room_to_turn(study, at.x, at.y).is_enough:
            return TurningPlace("open ground", "", route.distance_m - back, back, float(at.x), float(at.y))
    return None
