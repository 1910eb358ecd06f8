"""What would have to change: a sentence for every limit, with the figure that would just do; the nearest ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.explain import Explanation
from siteplanner.planning.plan.nearest import nearest_pass
from siteplanner.planning.telling.change import changes, lead_words
from tests.outputs.factory import make_plan


@pytest.fixture(scope="module")
def plan():
    return make_plan()


def found(plan, *codes, inside=True, **parts):
    """A point that breaks the limits named."""
    e = replace(plan.spots[2].evaluation, failed=tuple(Breach(code) for code in codes), **parts)
    passes = inside and not codes
    lines = plan.spots[2].criteria
    return Explanation(e, inside, lines, sum(c.contribution for c in lines) if passes else None, 3 if passes else None)


@pytest.mark.parametrize("code", LIMITS)
def test_every_limit_has_its_sentence(plan, code):
    (line,) = changes(found(plan, code), plan.mission)
    assert line.endswith(".")
    assert "would have" in line or " must " in line
    general = changes(found(plan, "a_limit_of_tomorrow"), plan.mission)[0]
    assert line != general


def test_the_slope_is_rounded_up_to_what_would_just_do(plan):
    e = plan.spots[2].evaluation
    steep = found(plan, "steep", ground=replace(e.ground, slope_deg=9.11))
    (line,) = changes(steep, plan.mission)
    assert "allow 9.2°" in line
    assert f"now {plan.mission.trailer.max_slope_deg:g}" in line


def test_the_sky_is_short_by_the_best_look(plan):
    e = plan.spots[2].evaluation
    need = plan.mission.sky.min_margin_deg
    looks = (replace(e.sky[0], margin_deg=need - 2.31), replace(e.sky[1], margin_deg=need - 8))
    (line,) = changes(found(plan, "sky_blocked", sky=looks), plan.mission)
    assert "2.4° lower" in line
    assert looks[0].satellite_name in line


def test_outside_the_search_ground_comes_first(plan):
    lines = changes(found(plan, "steep", inside=False), plan.mission)
    assert "search.radius_m" in lines[0]
    assert len(lines) == 2
    assert changes(found(plan), plan.mission) == ()


def test_the_nearest_ground_that_passes_is_the_nearest_of_all(plan):
    grid = plan.scene.ruling
    free = np.argwhere(grid.values == 0)
    for row, col in ((115, 75), (160, 165), (20, 20)):
        x, y = (float(v) for v in grid.xy(row, col))
        near = nearest_pass(grid, x, y)
        px, py = grid.xy(free[:, 0], free[:, 1])
        assert near.distance_m == pytest.approx(float(np.hypot(px - x, py - y).min()), abs=0.01)
        # walking there from here arrives: bearing and distance on the ellipsoid, 0.2 % for the projection's scale
        from pyproj import Geod

        lon, lat = (float(v) for v in grid.lonlat(x, y))
        lon2, lat2, _ = Geod(ellps="WGS84").fwd(lon, lat, near.bearing_deg, near.distance_m)
        assert lat2 == pytest.approx(near.latitude, abs=2e-5)
        assert lon2 == pytest.approx(near.longitude, abs=2e-5)
    nothing = grid.with_values(np.full(grid.shape, 1, np.uint16))
    assert nearest_pass(nothing, x, y) is None


def test_a_point_that_passes_hears_how_far_it_is_from_first(plan):
    text = lead_words(found(plan), plan)
    assert text.startswith(f"It is {plan.spots[0].score - plan.spots[2].score:.1f} points behind A")
    assert lead_words(found(plan, "steep"), plan) == ""
    best = replace(plan, spots=plan.spots[2:])
    assert lead_words(found(plan), best) == ""
