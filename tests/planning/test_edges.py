"""Whole plans where maps and skies end: south of the equator, across the 180th meridian, near the pole."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner import explain, load_mission, plan
from siteplanner.errors import InputError
from siteplanner.planning.telling.words import recommendation
from tests.planning.edge_of_the_map import plain_mission
from tests.planning.reasons import reasons_of


def test_south_of_the_equator_the_dish_looks_north(tmp_path):
    made = plan(load_mission(plain_mission(tmp_path, -33.0, 151.2, [160.0, 140.0])))
    assert made.scene.elevation.crs.to_epsg() == 32756
    east, west = made.best.evaluation.sky
    assert 0 < east.azimuth_deg < 45
    assert 315 < west.azimuth_deg < 360
    # reversed in the south (`core.geodesy.look_angles`): east clockwise, west counter-clockwise
    assert east.skew_deg > 0 > west.skew_deg
    assert east.clear
    assert west.clear


@pytest.mark.parametrize("tiles", ["one", "two"])
def test_a_mission_across_the_180th_meridian_is_one_place(tmp_path, tiles):
    """The area is two polygons, at 179.99 and at -179.99; elevation comes as one raster or as two in degrees."""
    made = plan(load_mission(plain_mission(tmp_path, 60.0, 179.9995, [-175.0], tiles=tiles)))
    grid = made.scene.elevation
    assert grid.crs.to_epsg() == 32660
    assert abs(grid.convergence_deg(*grid.xy(50, 50))) < 5  # north is up
    assert not [f.code for f in made.findings if f.code in ("staging_far_away", "crs_scale", "area_without_elevation")]
    around = [grid.sample(*grid.from_lonlat(lon, 60.0)) for lon in (179.99, 179.9999, 180.0, -179.9999, -179.99)]
    assert np.all(np.array(around) == 50)  # elevation on both sides, and no seam
    area = made.scene.area.geometry
    assert area.area.sum() == pytest.approx(2 * 595 * 500, rel=0.01)
    spots = {r.spot.name: r for r in made.spots}
    west, east = spots["west side"], spots["east side"]
    assert west.spot.longitude > 179.9
    assert east.spot.longitude < -179.9
    assert east.spot.x - west.spot.x == pytest.approx(1000, abs=5)
    # one road, staging 700 m west of the first spot: the drive goes over the meridian
    drives = [r.evaluation.access.drive_distance_m for r in (west, east)]
    assert drives == pytest.approx([700, 1700], abs=25)
    looks = [r.evaluation.sky[0] for r in (west, east)]
    assert looks[0].azimuth_deg == pytest.approx(looks[1].azimuth_deg, abs=0.05)
    assert explain(made, east.spot.latitude, east.spot.longitude).passes
    assert made.spots[0].evaluation.coverage.share > 0.9


def test_near_the_pole_no_satellite_stands_up_and_it_is_said(tmp_path):
    """82 N: beyond 81.33 degrees no geostationary satellite is above the level (WGS 84)."""
    made = plan(load_mission(plain_mission(tmp_path, 82.0, 10.0, [10.0])))
    assert made.spots == ()
    codes = [f.code for f in made.findings]
    assert {"no_geostationary_satellite", "satellite_too_low"} <= set(codes)
    blocked = next(r for r in made.rulings if r.code == "sky_blocked")
    assert blocked.share == 1.0
    assert "inf" not in recommendation(made)
    for e in made.rejected:
        reasons = reasons_of(e)
        assert "is below the horizon" in reasons["sky_blocked"]
        assert "5.0° is needed" in reasons["sky_blocked"]
        assert e.arc.clear == ()


def test_beyond_utm_a_crs_is_asked_for_and_with_it_the_plan_is_made(tmp_path):
    path = plain_mission(tmp_path, 85.0, 10.0, [10.0], crs="EPSG:32661")
    made = plan(load_mission(path))
    assert made.spots == ()
    assert {e.spot.name for e in made.rejected} == {"west side", "east side"}
    text = (tmp_path / "mission.toml").read_text(encoding="utf-8").replace('crs = "EPSG:32661"\n', "")
    (tmp_path / "mission.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="beyond UTM") as caught:
        plan(load_mission(path))
    assert caught.value.field == "crs"


def test_a_satellite_that_stands_too_low_is_said_to_be_so(tmp_path):
    made = plan(load_mission(plain_mission(tmp_path, 60.0, 10.0, [80.0])))
    assert made.spots == ()
    (reason, _) = (reasons_of(e)["sky_blocked"] for e in made.rejected)
    assert reason.startswith("satellite at 80° E stands ")
    assert reason.endswith("° up; 5.0° is needed.")


def test_the_map_across_the_180th_meridian_is_not_torn(tmp_path):
    """Everything that is drawn lies within a tenth of a degree, east of the meridian as longitudes above 180."""
    from siteplanner.outputs.map.shapes import in_one_piece, picture_bounds, spot_marks, table_shapes
    from siteplanner.outputs.pictures.relief import to_mercator
    from siteplanner.outputs.write import write_outputs
    from siteplanner.planning.telling.units import METRIC

    made = plan(load_mission(plain_mission(tmp_path / "m", 60.0, 179.9995, [-175.0])))
    grid = made.scene.elevation
    assert grid.crosses_180
    values, _, ((south, west), (north, east)) = to_mercator(grid)
    assert np.isfinite(values).any()
    assert 179.9 < west < 180 < east < 180.1
    assert 59.9 < south < 60 < north < 60.1
    shapes = [*spot_marks(made), *table_shapes(made.scene.area, grid, "area", "Incident area", METRIC)]
    for shape in in_one_piece(shapes, grid):
        places = np.ravel(shape["geometry"]["coordinates"])[::2]
        assert (places > 179.9).all()
        assert (places < 180.1).all()
    assert picture_bounds(((59.9, -179.99), (60.0, -179.98)), grid) == (
        (59.9, pytest.approx(180.01)),
        (60.0, pytest.approx(180.02)),
    )
    files = {f.name for f in write_outputs(made, tmp_path / "out")}
    assert {"map.html", "crew.pdf", "package.gpkg", "routes.gpx", "plan.json"} <= files
    east_spot = next(r.spot for r in made.spots if r.spot.name == "east side")
    # a click on such a map gives a longitude above 180
    assert explain(made, east_spot.latitude, east_spot.longitude + 360).passes
