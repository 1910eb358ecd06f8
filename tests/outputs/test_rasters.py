from __future__ import annotations

import logging
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import rasterio

from siteplanner.outputs.gis import tiffs as rasters
from siteplanner.planning.limits.ruling import BITS, OUTSIDE
from tests.outputs.factory import make_plan


@pytest.fixture(autouse=True)
def _no_warning_from_gdal(caplog):
    with caplog.at_level(logging.WARNING, logger="rasterio"):
        yield
    assert not [r.message for r in caplog.records if r.name.startswith("rasterio")]


@pytest.fixture
def opened(tmp_path, plan):
    rasters.write_ruling(plan, tmp_path / "ruling.tif")
    rasters.write_ruling_bits(plan, tmp_path / "bits.tif")
    rasters.write_coverage(plan, plan.spots[0], tmp_path / "coverage.tif")
    sets = {name: rasterio.open(tmp_path / f"{name}.tif") for name in ("ruling", "bits", "coverage")}
    yield sets
    for held in sets.values():
        held.close()


def test_they_are_cloud_optimised_and_placed(opened, plan):
    for held in opened.values():
        assert held.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert held.crs.to_epsg() == 32613
        assert held.descriptions[0]
    assert opened["ruling"].transform == plan.scene.ruling.transform


def test_ruling_names_and_colours_its_classes(opened, plan, tmp_path):
    held = opened["ruling"]
    values = held.read(1)
    assert held.nodata == 255
    outside = plan.scene.ruling.values == OUTSIDE
    assert (values[outside] == 255).all()
    assert (values[plan.scene.ruling.values == 0] == 0).all()
    assert (values[~outside & (plan.scene.ruling.values != 0)] > 0).all()
    names = [c.text for c in ET.parse(tmp_path / "ruling.tif.aux.xml").getroot().iter("Category")]
    for number, ruling in enumerate(plan.rulings, 1):
        assert held.tags()[f"CLASS_{number}"] == names[number] == ruling.label
    colours = [held.colormap(1)[n][:3] for n in range(len(names))]
    assert len(set(colours)) == len(names)


def test_the_companion_file_is_read_by_gdal_itself(opened):
    # rasterio lists the companion only if GDAL has taken it for its own
    assert any(name.endswith("ruling.tif.aux.xml") for name in opened["ruling"].files)


def test_bits_keep_every_limit(opened, plan):
    held = opened["bits"]
    assert np.array_equal(held.read(1), plan.scene.ruling.values)
    assert held.nodata == OUTSIDE
    for code, bit in BITS.items():
        assert held.tags()[f"BIT_{bit.bit_length() - 1}"].startswith(f"{code}: ")


def test_coverage_holds_the_probabilities(opened, plan):
    held = opened["coverage"]
    values = held.read(1)
    x, y = plan.scene.elevation.xy(plan.scene.area_rows, plan.scene.area_cols)
    sampled = np.array([v[0] for v in held.sample(zip(x, y, strict=True))])
    assert sampled == pytest.approx(plan.spots[0].evaluation.coverage.probability)
    assert np.isfinite(values).sum() == len(plan.scene.area_rows)
    assert np.isnan(held.nodata)


def test_no_coverage_no_file(tmp_path):
    bare = make_plan(1, coverage=False)
    assert rasters.write_coverage(bare, bare.spots[0], tmp_path / "c.tif") is None
    assert not (tmp_path / "c.tif").exists()


def test_hostile_names_do_not_break_the_tags(tmp_path, hostile_plan):
    tif, aux = rasters.write_ruling(hostile_plan, tmp_path / "r.tif")
    names = [c.text for c in ET.parse(aux).getroot().iter("Category")]
    with rasterio.open(tif) as held:
        assert held.tags()["CLASS_1"] == names[1]
    rasters.write_coverage(hostile_plan, hostile_plan.spots[0], tmp_path / "c.tif")
