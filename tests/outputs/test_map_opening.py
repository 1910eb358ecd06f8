"""The saved map and the app's open so that no button lies on the staging point; the frame is worked out as Leaflet
does (its own source, `_getBoundsCenterZoom` and `getBoundsZoom`), without a browser."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from siteplanner.outputs.map import map as planmap
from siteplanner.outputs.map import opening

BUTTON_PX = 34 + 10  # the zoom buttons' width with what is left of them
BUTTONS_HIGH_PX = 65 + 10
HALF_MARK_PX = 13  # `.sp-staging` in map.css
FRAMES = [
    (880, 640, 64), (880, 500, 64), (420, 420, 64), (420, 330, 64), (700, 420, 24), (372, 420, 24), (700, 430, 24),
]  # fmt: skip
"""Width, height and what is kept free above: the saved page at 1280 and 420 px, the app's maps there."""


def place(latitude, longitude):
    s = math.sin(math.radians(latitude))
    return 256 * (0.5 + longitude / 360), 256 * (0.5 - math.log((1 + s) / (1 - s)) / (4 * math.pi))


def opened(bounds, width, height, top, left=64, rim=24, snap=0.5, most=15):
    """Where the frame draws a place, pixels from its upper left corner, and its zoom."""
    (south, west), (north, east) = bounds
    (x0, y0), (x1, y1) = place(north, west), place(south, east)
    scale = min((width - left - rim) / max(x1 - x0, 1e-9), (height - top - rim) / max(y1 - y0, 1e-9))
    zoom = math.log2(scale)
    zoom = min(math.floor(round(zoom / (snap / 100)) * (snap / 100) / snap) * snap, most)
    k = 2**zoom
    middle_x, middle_y = (x0 + x1) / 2 * k + (rim - left) / 2, (y0 + y1) / 2 * k + (rim - top) / 2

    def at(latitude, longitude):
        x, y = place(latitude, longitude)
        return x * k - middle_x + width / 2, y * k - middle_y + height / 2

    return at, zoom


def hidden(at, staging):
    x, y = at(*staging)
    over = 10 - HALF_MARK_PX < x < BUTTON_PX + HALF_MARK_PX, 10 - HALF_MARK_PX < y < BUTTONS_HIGH_PX + HALF_MARK_PX
    return all(over)


def test_the_zoom_buttons_never_lie_on_a_staging_point():
    """Wherever it stands around areas of any shape, in each frame; and what is far costs the area no room."""
    draw, fitted, far = random.Random(7), 0, 0
    for _ in range(3000):
        south, west = draw.uniform(-60, 60), draw.uniform(-120, 120)
        high, wide = 10 ** draw.uniform(-2.5, -0.5), 10 ** draw.uniform(-2.5, -0.5)
        bounds = [[south, west], [south + high, west + wide]]
        reach = 10 ** draw.uniform(-0.3, 0.8)
        staging = (
            south + high / 2 + draw.uniform(-1, 1) * reach * max(high, wide),
            west + wide / 2 + draw.uniform(-1, 1) * reach * max(high, wide),
        )
        held = opening.with_near(bounds, *staging)
        inside = held[0][0] <= staging[0] <= held[1][0] and held[0][1] <= staging[1] <= held[1][1]
        fitted, far = fitted + inside, far + (not inside)
        for frame in FRAMES:
            at, _ = opened(held, *frame)
            assert not hidden(at, staging), (bounds, staging, frame)
    assert min(fitted, far) > 300  # both were tried


@pytest.mark.parametrize(("away_deg", "seen"), [(0.02, True), (2.0, False)])
def test_the_plan_s_map_opens_with_a_staging_point_that_lies_near(plan, away_deg, seen):
    west, _, _, north = plan.scene.area.total_bounds
    lon, lat = plan.scene.elevation.lonlat([west], [north])
    start = plan.mission.staging[0].model_copy(
        update={"latitude": float(lat[0]) + away_deg, "longitude": float(lon[0]) - away_deg}
    )
    moved = replace(plan, mission=plan.mission.model_copy(update={"staging": (start,)}))
    (_, low_west), (high_north, _) = opening.view(moved)
    assert (high_north >= start.latitude and low_west <= start.longitude) is seen
    fmap = planmap.build_map(moved, page=True)
    (fit,) = [child for name, child in fmap._children.items() if name.startswith("fit_bounds")]
    assert fit.bounds == opening.view(moved)
    assert tuple(fit.options["paddingTopLeft"]) == (64, 64)


def test_the_zoom_that_is_reckoned_with_is_the_one_that_opens(plan):
    bounds = opening.view(plan)
    for width, height, top in FRAMES:
        assert opening.zoom_of(bounds, width, height, top) == opened(bounds, width, height, top)[1]
