"""Roads of a county agency as they come: a shapefile with short upper-case columns, short tons, feet and inches, codes
for surfaces and classes, 0 for no limit. Each step of what a newcomer meets, until the roads are judged right."""

from __future__ import annotations

import warnings

import geopandas as gpd
import pytest
from pydantic import ValidationError

from siteplanner.data.road_keys import speaks
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError
from siteplanner.mission import Rig, Speeds
from siteplanner.mission.layers import Layers
from siteplanner.planning.telling.findings import said
from siteplanner.roads.network import build_network
from tests.roads.drawn import UTM, road

COLUMNS = {
    "name": "RD_NAME", "highway": "FUNC_CLS", "surface": "SURF_CD", "maxweight": "WT_LIM_TON",
    "maxheight": "VERT_CLR", "maxspeed": "SPD_LIM",
}  # fmt: skip
UNITS = {"maxweight": "st", "maxheight": "ft", "maxspeed": "mph"}
VALUES = {"surface": {"P": "asphalt", "D": "dirt", "G": "gravel"}, "highway": {"4": "secondary", "7": "residential"}}
RIG = Rig(mass_kg=2900)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    rows = [
        ("Main St", 4, "P", 3.0, "13'-6\"", 35, ((0, 0), (1000, 0))),
        ("Mill Ln", 7, "D", 0.0, "9'-10\"", 25, ((1000, 0), (1000, 800))),
        ("Hill Rd", 7, "G", 8.0, "0", 0, ((1000, 0), (2000, 0))),
    ]
    frame = gpd.GeoDataFrame(
        [dict(zip((*COLUMNS.values(),), row[:6], strict=True)) for row in rows],
        geometry=[road(*row[6])["geometry"] for row in rows],
        crs=UTM,
    )
    out = tmp_path_factory.mktemp("agency") / "roads.shp"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame.to_file(out)
    return out


def read(path, **keys):
    rules = Layers(elevation=("a",), incident_area="b", roads="c", **keys).column_rules
    layer = read_layer(path, "roads", target_crs=UTM, kinds={"line"}, rules=rules)
    net = build_network(layer.frame, elevation=None, rig=RIG, speeds=Speeds())
    texts = {f.code: f"{said(f).message} {said(f).remedy}" for f in (*layer.findings, *net.findings)}
    reasons = {
        str(net.tags.name[i]): [(r.kind, round(r.figure, 2)) for r in net.judged.reasons[i]] for i in range(len(net))
    }
    return net, reasons, texts


@pytest.mark.parametrize(
    ("units", "asked"),
    [
        ({}, ("maxweight", "'WT_LIM_TON'")),
        ({"maxweight": "st"}, ("maxheight", "'VERT_CLR'")),
        ({"maxweight": "st", "maxheight": "ft"}, ("maxspeed", "'SPD_LIM'")),
    ],
)
def test_a_unit_that_nothing_tells_is_asked_for(path, units, asked):
    with pytest.raises(InputError) as raised:
        read(path, road_columns=COLUMNS, road_units=units)
    assert f"field layers.road_units.{asked[0]}" in str(raised.value)
    assert asked[1] in str(raised.value)


@pytest.mark.parametrize(
    ("keys", "meant"),
    [
        ({"road_columns": {"maxwieght": "WT_LIM_TON"}}, "maxweight"),
        ({"road_units": {"maxheigth": "ft"}}, "maxheight"),
        ({"road_values": {"surfac": {"P": "asphalt"}}}, "surface"),
    ],
)
def test_a_misspelt_key_is_refused_with_the_one_that_was_meant(path, keys, meant):
    with pytest.raises(ValidationError, match=f"close: {meant}"):
        read(path, **keys)


def test_limits_are_judged_in_the_agency_s_units_and_the_engineer_s_spelling(path):
    """3 short tons are 2.72 t, below the rig's 2.9 t; 9'-10" are 3.00 m, below its 3.2 m."""
    net, reasons, texts = read(
        path, road_columns=COLUMNS, road_units=UNITS, road_values=VALUES, road_none=("0",)
    )  # fmt: skip
    assert reasons == {"Main St": [("weight limit", 2.72)], "Mill Ln": [("height limit", 3.0)], "Hill Rd": []}
    assert net.tags.unpaved.tolist() == [0, 1, 1]
    assert net.mean_speed_kmh[0] == pytest.approx(35 * 1.609344)
    assert "The mission says the unit of column" in texts["column_unit"]
    assert not {"road_tag_unreadable", "road_surface_unknown", "road_class_unknown"} & set(texts)
    assert not [h for hazards in net.hazards for h in hazards if h.kind == "unreadable"]


def test_codes_and_zeros_that_nothing_explains_are_told_with_the_key_that_would(path):
    _, _, texts = read(path, road_columns=COLUMNS, road_units=UNITS)
    assert "layers.road_values.surface" in texts["road_surface_unknown"]
    assert "'4', '7'" in texts["road_class_unknown"]
    assert "layers.road_none" in texts["road_tag_unreadable"]


def test_limits_in_columns_that_nobody_mapped_are_told_not_to_count(path):
    _, _, texts = read(path)
    assert "vert_clr (3)" in texts["road_keys_unread"]
    assert "wt_lim_ton (3)" in texts["road_keys_unread"]
    assert "spd_lim" not in texts["road_keys_unread"]


def test_short_names_of_limits_are_known_and_those_of_other_things_are_not():
    for name in ("WT_LIM", "MAX_TONS", "VERT_CLR", "CLR_HT", "TRUCK_RTE", "LOAD_POST", "AXLE_LIM", "LIMIT"):
        assert speaks(name)
    for name in ("SPD_LIM", "SPEED_LIMIT", "CITY_LIM", "LENGTH_KM", "LEFT_FROM", "ROUTE_ID", "UPDATED", "SHAPE_LENG"):
        assert not speaks(name)
