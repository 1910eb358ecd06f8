"""Where a surface layer has no data nobody knows the trees: no answer takes a line past them for clear."""

from __future__ import annotations

import math

import numpy as np
import pytest
import rasterio
from affine import Affine

from siteplanner import explain, load_mission, plan
from siteplanner.mission import OpenSky, Satellite, Sky
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.planning.limits.ruling import BITS
from siteplanner.planning.spots.backhaul import by_open_sky
from siteplanner.planning.spots.evaluate import judge_sky
from siteplanner.planning.spots.margin_raster import sky_margin
from siteplanner.planning.spots.skyline import skyline
from siteplanner.planning.study.inputs import OpenSkyInputs, dish_view
from siteplanner.planning.study.relief import TALLEST_TREE_M
from siteplanner.planning.telling.change import changes
from siteplanner.planning.telling.sky import known_to_words, look_state, unknown_words
from siteplanner.planning.telling.units import METRIC
from tests.planning.conftest import CELL, CRS, HEIGHT, ORIGIN_X, ORIGIN_Y, WIDTH, valley, write_mission
from tests.planning.open_ground import spot_in, study_on

SOUTH = Sky(satellites=(Satellite(name="south", longitude_deg=-111.0),))


def half_known(near_m):
    """Level ground whose surface has no data from `near_m` south of the middle on; the satellite stands 38.2 deg up."""
    ground = np.zeros((201, 201))
    known = np.ones(ground.shape, bool)
    known[100 + int(near_m / 10) :, :] = False
    return study_on(ground, obstacles=ground.copy(), surface_known=known, sky=SOUTH)


@pytest.mark.parametrize(
    ("near_m", "state"), [(0, "unknown"), (40, "unknown"), (70, "unknown"), (100, "clear"), (300, "clear")]
)
def test_a_line_that_the_tallest_tree_could_reach_is_not_known(near_m, state):
    """Closed form: 60 m of tree reach a line of 36.2 deg, 2 of margin less, within (60 - 2) / tan(36.2) = 79 m."""
    assert 2 + 79.2 * math.tan(math.radians(36.2)) == pytest.approx(TALLEST_TREE_M, abs=0.5)
    study = half_known(near_m)
    (look,) = judge_sky(dish_view(study), spot_in(study, 100, 100), (100, 100))
    assert look.state == state
    assert look.trees_unknown is (state == "unknown")
    assert math.isnan(look.margin_deg) is (state == "unknown")
    if state == "unknown":
        assert (look_state(look), unknown_words(look)) == ("trees not known", "trees on the way not known")
        assert "no data on the way to it; trees may stand there" in known_to_words([look], METRIC)[0]


def test_what_is_known_to_block_blocks_whatever_is_not_known():
    ground = np.zeros((201, 201))
    trees = ground.copy()
    trees[103:106, 90:111] = 40.0  # known trees 30 m to the south
    known = np.ones(ground.shape, bool)
    known[108:, :] = False
    study = study_on(ground, obstacles=trees, surface_known=known, sky=SOUTH)
    (look,) = judge_sky(dish_view(study), spot_in(study, 100, 100), (100, 100))
    assert (look.state, look.trees_unknown) == ("blocked", False)


def test_the_cone_and_the_diagram_take_the_tallest_trees_for_possible():
    study = half_known(40)
    spot = spot_in(study, 100, 100)
    dome = by_open_sky(OpenSkyInputs(study.relief, study.beyond, OpenSky()), spot, (100, 100)).dome
    assert dome.high == pytest.approx(1.0)
    assert dome.low < 0.9
    assert dome.unknown is not None
    assert dome.unknown.from_deg < 180 < dome.unknown.to_deg
    figure = skyline(dish_view(study), spot, ())
    assert figure.possible_deg[180] == pytest.approx(math.degrees(math.atan(58 / 40)), abs=2.5)
    assert figure.unknown[180]
    assert figure.possible_deg[0] < 4  # 60 m beyond the raster's northern end, 1 km away
    assert figure.surface_deg[180] < 0.1


@pytest.fixture(scope="module")
def half(tmp_path_factory):
    """The valley with a surface of its western half only."""
    folder = tmp_path_factory.mktemp("half") / "m"
    path = write_mission(folder, layers='surface = "surface.tif"')
    cols = WIDTH // CELL // 2
    shape = {"height": HEIGHT // CELL, "width": cols, "count": 1, "dtype": "float32", "crs": CRS}
    place = Affine(CELL, 0, ORIGIN_X, 0, -CELL, ORIGIN_Y + HEIGHT)
    with rasterio.open(folder / "surface.tif", "w", driver="GTiff", transform=place, **shape) as dst:
        dst.write(valley()[:, :cols], 1)
        dst.units = ("m",)
    return plan(load_mission(path))


def test_half_a_surface_leaves_the_other_half_unknown_in_ruling_margin_and_spots(half, valley_plan):
    study = half.judge.study
    assert study.surface_known is not None
    rows, cols = np.nonzero(study.search_ground)
    x, _ = study.elevation.xy(rows, cols)
    east, west = x > ORIGIN_X + WIDTH / 2 + 20, x < ORIGIN_X + WIDTH / 2 - 60
    bits = half.scene.ruling.values[rows, cols]
    hidden = (bits & (BITS["sky_blocked"] | BITS["no_data"])) != 0
    unknown = (bits & BITS["sky_unknown"]) != 0
    assert (unknown | hidden)[east].all()
    whole = (valley_plan.scene.ruling.values[rows, cols] & BITS["sky_unknown"]) != 0
    np.testing.assert_array_equal(unknown[west], whole[west])  # as without a surface: where the elevation ends
    assert not unknown[west].all()
    layer = sky_margin(study)
    middle = layer.sample(*study.elevation.xy(rows[east & ~hidden], cols[east & ~hidden]))
    assert np.isnan(middle).all()
    assert all(r.spot.x < ORIGIN_X + WIDTH / 2 for r in half.spots)
    lay_by = next(e for e in half.rejected if e.spot.name == "lay-by")
    assert "sky_unknown" in {breach.code for breach in lay_by.failed}
    assert lay_by.sky[0].trees_unknown


def test_it_is_said_why(half):
    lay_by = next(e for e in half.rejected if e.spot.name == "lay-by").spot
    found = explain(half, lay_by.latitude, lay_by.longitude).evaluation
    assert found.sky[0].trees_unknown
    text = " ".join(changes(explain(half, lay_by.latitude, lay_by.longitude), half.mission))
    assert "The surface layer would have to cover the ground along 180° true." in text
    assert isinstance(crew_content(half, half.best)["sky_known"], list)
