"""What a map shows when it opens: the area, the options and, where it costs little, the staging point.

A mark that lies just outside of what is fitted comes to lie under the map's buttons, where nobody sees it. What would
be seen at the frame's edge is therefore fitted too; what lies far off stays outside, so that the area stays large.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import folium

from siteplanner.data.grid import Grid
from siteplanner.mission import Mission
from siteplanner.outputs.map.shapes import eastward
from siteplanner.planning.plan.model import Plan

Corners = list[list[float]]
"""South-west and north-east, each latitude and longitude."""
FRAMES_PX = ((880, 640), (700, 420), (420, 380))  # of the saved page at 1280 px, of the app there, of a phone
LEFT_PX, RIM_PX = 64, 24  # beside the zoom buttons; elsewhere
BUTTONS_PX = 64  # below the buttons of the saved page
MOST_LEVELS = {True: 1.0, False: 0.5}  # of zoom that a staging point may cost; above the middle, where the buttons are
SNAP, MOST_ZOOM = 0.5, 15
TILE_PX = 256.0


def view(plan: Plan) -> Corners:
    """What must be seen at once: the incident area, the options, a second trailer, staging points that lie near."""
    beside = () if plan.beside_first is None else plan.beside_first.spots
    spots = [*plan.spots[:1], *(o.ranked for o in plan.options), *beside]
    return bounds_of(plan, [(r.spot.latitude, r.spot.longitude) for r in spots])


def bounds_of(plan: Plan, places: Sequence[tuple[float, float]]) -> Corners:
    """The incident area, places (latitude, longitude) and the staging points that lie near."""
    grid = plan.scene.elevation
    west, south, east, north = plan.scene.area.total_bounds
    lon, lat = grid.lonlat([west, west, east, east], [south, north, south, north])
    held = corners([*lat, *(p[0] for p in places)], eastward([*lon, *(p[1] for p in places)], grid))
    return with_stagings(held, plan.mission, grid)


def with_stagings(bounds: Corners, mission: Mission, grid: Grid) -> Corners:
    """The bounds with the staging points that lie near."""
    for staging in mission.stagings:
        bounds = with_near(bounds, staging.latitude, eastward([staging.longitude], grid)[0])
    return bounds


def corners(latitudes: Sequence[float], longitudes: Sequence[float]) -> Corners:
    """The corners around places."""
    return [[float(min(latitudes)), float(min(longitudes))], [float(max(latitudes)), float(max(longitudes))]]


def with_near(bounds: Corners, latitude: float, longitude: float) -> Corners:
    """The bounds with a place in them, where some frame would show it at its edge or nearly; else as they are.

    A place that a frame shows without this costs at most one level: frames open in halves of a level, and a place at
    the edge makes what is fitted at most as large as the frame.
    """
    wider = corners(*([*(corner[k] for corner in bounds), place] for k, place in enumerate((latitude, longitude))))
    costs = (zoom_of(bounds, *frame) - zoom_of(wider, *frame) for frame in FRAMES_PX)
    above = latitude > (bounds[0][0] + bounds[1][0]) / 2
    return wider if min(costs) <= MOST_LEVELS[above] else bounds


def zoom_of(bounds: Corners, width_px: float, height_px: float, top_px: float = RIM_PX) -> float:
    """The zoom at which a frame opens on bounds: the largest at which they fit beside what is kept free, in halves.

    Web Mercator, TILE_PX pixels around the Earth at zoom 0 (OGC 17-083r2, annex D.1). Latitudes below 85°.
    """
    (south, west), (north, east) = bounds
    wide = max(TILE_PX * (east - west) / 360, 1e-9)
    high = max(TILE_PX * (_mercator(north) - _mercator(south)) / (2 * math.pi), 1e-9)
    free_wide, free_high = width_px - LEFT_PX - RIM_PX, height_px - top_px - RIM_PX
    fitting = math.log2(min(free_wide / wide, free_high / high))
    return min(math.floor(round(fitting / SNAP, 2)) * SNAP, MOST_ZOOM)


def _mercator(latitude: float) -> float:
    return math.asinh(math.tan(math.radians(latitude)))


def show_at_once(fmap: folium.Map, bounds: Corners, top_px: int = RIM_PX) -> None:
    """Open the map on these bounds, beside its buttons."""
    fmap.fit_bounds(
        bounds, padding_top_left=(LEFT_PX, top_px), padding_bottom_right=(RIM_PX, RIM_PX), max_zoom=MOST_ZOOM
    )
