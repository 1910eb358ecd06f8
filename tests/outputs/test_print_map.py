"""The printed map is true to scale, its grid is UTM's, and its raster lies where it says."""

from __future__ import annotations

import io
import itertools
import math
import re
import time
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from PIL import Image
from pyproj import CRS, Transformer
from shapely.geometry import LineString

from siteplanner.outputs.sheets import print_map as printed
from siteplanner.outputs.sheets.print_grid import SCALES, figures, map_grid, scaled
from siteplanner.outputs.write import WRITERS
from siteplanner.planning.choose.options import Option
from siteplanner.planning.choose.price import Price
from tests.outputs.factory import HOSTILE, make_plan

PPI = 254  # ten pixels a millimetre


def page(plan) -> np.ndarray:
    content = printed.Printer(printed.held(())).all(printed.print_content(plan))
    drawn = printed._compiler(plan, "print_map.typ", content).compile(format="png", ppi=PPI)
    assert isinstance(drawn, bytes)  # one page
    return np.asarray(Image.open(io.BytesIO(drawn)).convert("RGB"))


def test_the_scale_on_paper_is_the_one_that_is_printed(plan):
    """The frame of the map, measured on the page as it is printed."""
    made = printed.print_map(plan)
    assert made.denominator in SCALES
    assert made.view.metres_per_mm == made.denominator / 1000
    picture = page(plan)
    dark = (picture.max(axis=2) < 90).astype(float)
    cols = np.flatnonzero(dark.mean(axis=0) > 0.4)  # the frame's upright lines
    rows = np.flatnonzero(dark.mean(axis=1) > 0.4)
    assert (cols[-1] - cols[0]) / 10 == pytest.approx(made.view.width, abs=0.3)
    assert (rows[-1] - rows[0]) / 10 == pytest.approx(made.view.height, abs=0.3)


def test_everything_shown_lies_in_the_window_and_a_larger_scale_would_cut_it(plan):
    made = printed.print_map(plan)
    west, south, east, north = made.view.box
    spots = printed.shown_spots(plan)
    assert all(west < r.spot.x < east and south < r.spot.y < north for r in spots)
    view, denominator = scaled((0.0, 0.0, 8_900.0, 1_000.0), 190, 200)
    assert denominator == 50_000  # 8,900 m and 6 % on 190 mm: 1 : 49,653
    assert scaled((0.0, 0.0, 9_000.0, 1_000.0), 190, 200)[1] == 75_000
    assert view.box[2] - view.box[0] == pytest.approx(190 * 50)


def test_grid_lines_are_whole_metres_of_utm(plan):
    """Against a transformation of its own, in a CRS that is not UTM too."""
    made = printed.print_map(plan)
    own = plan.scene.elevation
    assert made.grid.zone == 13
    assert made.grid.square.startswith("13S ")
    for value, line in made.grid.eastings:
        assert value % made.grid.step_m == 0
        assert np.allclose(np.array(line.coords)[:, 0], value, atol=1e-3)  # the plan is in the same zone
    albers = CRS.from_epsg(5070)
    turn = Transformer.from_crs(own.crs, albers, always_xy=True)
    x, y = turn.transform(made.view.west, made.view.north)
    other = replace(own, crs=albers)
    moved = replace(plan, scene=replace(plan.scene, elevation=other))
    window = replace(made.view, west=x, north=y)
    found = map_grid(moved, window)
    back = Transformer.from_crs(albers, CRS.from_epsg(32613), always_xy=True)
    for value, line in found.northings:
        _, northing = back.transform(*np.array(line.coords).T)
        assert np.allclose(northing, value, atol=0.01)


def test_figures_of_the_edge():
    assert figures(338_000, 1000) == ("3", "38", "")
    assert figures(4_946_500, 500) == ("49", "46", "500")
    assert figures(500_000, 2000) == ("5", "00", "")


def test_the_raster_lies_where_it_says(plan, tmp_path):
    """The black square of the staging point, the grid's lines and the best spot's disc, found by coordinates."""
    WRITERS["print_map.tif"](plan, tmp_path / "print_map.tif")
    made = printed.print_map(plan)
    with rasterio.open(tmp_path / "print_map.tif") as held:
        assert held.driver == "GTiff"
        assert held.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert held.crs.to_epsg() == 32613
        assert held.count == 3
        pixels = np.moveaxis(held.read(), 0, -1).astype(int)

        def around(x, y, metres):
            (r0, c0), (r1, c1) = held.index(x - metres, y + metres), held.index(x + metres, y - metres)
            return pixels[r0 : r1 + 1, c0 : c1 + 1]

        west, south, east, north = made.view.box
        assert tuple(held.bounds) == pytest.approx((west, south, east, north), abs=1.5 * held.transform.a)
        per_mm = made.view.metres_per_mm
        staging = plan.mission.staging[0]
        x, y = (float(v) for v in plan.scene.elevation.from_lonlat(staging.longitude, staging.latitude))
        square = around(x, y, 1.6 * per_mm).max(axis=-1)
        assert np.median(square) < 60  # black but for the letter
        assert np.median(around(x + 6 * per_mm, y + 6 * per_mm, per_mm).max(axis=-1)) > 120
        best = around(plan.best.spot.x, plan.best.spot.y, 1.5 * per_mm).max(axis=-1)
        assert np.median(best) < 60
        line, (value, _) = 0, made.grid.eastings[1]
        for northing in np.linspace(south, north, 60)[2:-2]:
            here, beside = around(value, northing, 0.3 * per_mm), around(value + 2 * per_mm, northing, 0.3 * per_mm)
            line += int((here[..., 2] - here[..., 0]).max() > (beside[..., 2] - beside[..., 0]).max())
        assert line > 40  # bluer than the ground beside it along most of its length


def test_both_take_no_longer_than_three_seconds_of_work(tmp_path):
    plan = make_plan(10)
    WRITERS["print_map.pdf"](plan, tmp_path / "warm.pdf")
    plan, start = make_plan(10), time.process_time()
    for name in ("print_map.pdf", "print_map.tif"):
        WRITERS[name](plan, tmp_path / name)
    assert time.process_time() - start < 3
    assert (tmp_path / "print_map.pdf").read_bytes()[:5] == b"%PDF-"


def test_hostile_names_and_no_spot_make_a_map_all_the_same(tmp_path):
    for n, plan in enumerate((make_plan(names=HOSTILE, mission_name="".join(HOSTILE)), make_plan(0))):
        for name in ("print_map.pdf", "print_map.tif"):
            WRITERS[name](plan, tmp_path / f"{n}_{name}")
            assert (tmp_path / f"{n}_{name}").stat().st_size > 10_000


def test_water_drawn_as_a_line_is_not_filled(plan):
    """A creek that bends round: what it goes round is no water."""
    grid, from_plan = plan.scene.elevation, printed.print_map(plan).view.box
    west, south, east, north = from_plan
    bend = LineString([(west + 400, south + 400), (west + 400, north - 400), (east - 400, north - 400)])
    water = gpd.GeoDataFrame({"name": ["Creek"]}, geometry=[bend], crs=grid.crs)
    with_creek = replace(plan, scene=replace(plan.scene, overlays={"water": water}))
    drawn = printed.print_map(with_creek).picture
    creek = next(part for part in drawn.split("<path ") if 'stroke="#1F5F8B" stroke-width="0.25"' in part)
    assert 'fill="none"' in creek


def test_marks_that_would_lie_on_each_other_move_aside_and_none_is_lost(plan):
    """A named point and the staging point at a spot: on paper nobody could part `B` from `a` and `S`."""
    best, second = plan.spots[0], plan.spots[1]
    coverage = best.evaluation.coverage
    there = {"latitude": second.spot.latitude, "longitude": second.spot.longitude}
    points = tuple(replace(point, **there) for point in coverage.must_serve)
    crowded = replace(best, evaluation=replace(best.evaluation, coverage=replace(coverage, must_serve=points)))
    shown = (crowded, *plan.spots[1:])
    options = tuple(Option(r, 0.0, (), None, (), Price((), (), ()), None) for r in shown)
    made = printed.print_map(replace(plan, spots=shown, options=options))
    marks = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*font-weight="bold"[^>]*>([^<]+)</text>', made.picture)
    at = {label: (float(x), float(y)) for x, y, label in marks if label != "N"}
    assert set(at) == {"S", "a", "b", *(r.spot.name for r in plan.spots)}
    for one, other in itertools.combinations(at, 2):
        assert math.dist(at[one], at[other]) > 3.4, (one, other)  # two marks of the least size side by side
    assert made.picture.count('class="leader"') >= 2
    x, y = made.view.at(best.spot.x, best.spot.y)
    assert math.dist(at[best.spot.name], (x, y)) < 1.2  # the best spot stays, its letter a little below the middle
