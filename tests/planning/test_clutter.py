"""Land cover around the handset: the Recommendation's height gain, applied to the cells of that class only."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from affine import Affine

from siteplanner import load_mission
from siteplanner.core.clutter import height_gain_db
from siteplanner.core.coverage import path_loss_stops_db
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.planning.spots.service import area_loss_db
from siteplanner.planning.study.inputs import coverage_inputs
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.findings import said
from tests.planning.conftest import ORIGIN_X, ORIGIN_Y, at, write_mission

COVER = 'land_cover = "cover.tif"\nland_cover_classes = {"1" = "open", "2" = "suburban"}'


def write_cover(folder, east_class=2, dtype="uint8"):
    values = np.ones((200, 300), dtype)
    values[:, 180:] = east_class  # x >= 1800
    with rasterio.open(
        folder / "cover.tif",
        "w",
        driver="GTiff",
        height=200,
        width=300,
        count=1,
        dtype=dtype,
        crs="EPSG:32612",
        transform=Affine(10, 0, ORIGIN_X, 0, -10, ORIGIN_Y + 2000),
    ) as dst:
        dst.write(values, 1)


def study_of(path):
    return load_study(load_mission(path), Stages())


def test_suburban_cells_take_the_path_to_the_roofs_plus_the_height_gain(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER)
    write_cover(tmp_path / "m")
    study = study_of(path)
    grid, cells = study.elevation, study.area_cells
    cell = grid.cell(*at(1700, 930))
    stops = np.array([8.0, 15.0])
    loss = area_loss_db(coverage_inputs(study), cell, stops)
    built = cells.cols >= grid.cell(*at(1805, 930))[1]
    assert 0 < built.sum() < len(built)

    def plain(height):
        return path_loss_stops_db(grid.values, grid.cell_size_m, *cell, stops, height, 763.0, cells.rows, cells.cols)

    np.testing.assert_array_equal(loss[:, ~built], plain(1.5)[:, ~built])
    # ITU-R P.2108-1 section 3.1 and Table 3 (suburban: R = 10 m); about 18 dB at 763 MHz
    gain = float(height_gain_db(763.0, 1.5, "suburban"))
    assert gain == pytest.approx(17.9, abs=0.3)
    np.testing.assert_allclose(loss[:, built], plain(10.0)[:, built] + gain, atol=1e-4)


def test_codes_without_a_kind_are_told(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER)
    write_cover(tmp_path / "m", east_class=7)
    finding = next(f for f in study_of(path).findings if f.code == "land_cover_unmapped")
    assert "7" in said(finding).message


def test_outside_the_recommendations_range_nothing_is_added_and_it_is_said(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER, radio="frequency_mhz = 3500")
    write_cover(tmp_path / "m")
    study = study_of(path)
    assert any(f.code == "clutter_out_of_range" for f in study.findings)
    assert not study.clutter.values.any()


def test_heights_are_not_classes(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER)
    write_cover(tmp_path / "m", dtype="float32")
    with pytest.raises(InputError, match="whole numbers"):
        study_of(path)


def test_class_codes_must_be_whole_numbers():
    with pytest.raises(InputError, match="whole numbers"):
        mission_from_dict(
            {
                "layers": {"elevation": "e", "incident_area": "a", "roads": "r", "land_cover_classes": {"x": "urban"}},
                "staging": {"latitude": 45, "longitude": -113},
            }
        )
