"""A device that works out its own way from route point to route point stays on every drive of both samples."""

from __future__ import annotations

import gpxpy
import numpy as np
import pytest

from siteplanner.outputs.gis.gpx import OTHER_WAY, routes_gpx
from siteplanner.roads.via_points import SPACING_M
from tests.car_router import router_of, stays_on


def points_of(route, grid):
    """The route points but the last, which is the spot itself beside the road."""
    lat, lon = np.array([[p.latitude, p.longitude] for p in route.points[:-1]]).T
    return np.column_stack(grid.from_lonlat(lon, lat))


@pytest.mark.parametrize("sample", ["county_plan", "hills_plan"])
def test_a_navigator_that_recalculates_stays_on_every_drive_of_the_samples(sample, request):
    plan = request.getfixturevalue(sample)
    car, grid = router_of(plan.scene.roads), plan.scene.elevation
    read = gpxpy.parse(routes_gpx(plan))
    for ranked in plan.spots:
        access = ranked.evaluation.access
        for number, drive in (
            (ranked.rank, access.route),
            (OTHER_WAY + ranked.rank, access.told.alternative.route),
        ):
            if drive is None:
                continue
            (route,) = [r for r in read.routes if r.number == number]
            points = points_of(route, grid)
            assert stays_on(car.drive(points), drive.line), (ranked.spot.name, number)
            gaps = np.hypot(*np.diff(points, axis=0).T)
            assert gaps.max() < 2 * SPACING_M
