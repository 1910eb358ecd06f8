"""Drawn shapes: what they are for, how they become layers, and how they come back."""

from __future__ import annotations

import json

import pytest

from siteplanner.app import drawing
from siteplanner.app.drawing import Drawn, after_drawing, tidy, typed
from siteplanner.data.grid import WGS84
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError
from tests.outputs.factory import HOSTILE


def square(west=-111.0, south=45.0, size=0.01):
    ring = [[west, south], [west + size, south], [west + size, south + size], [west, south + size], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


LINE = {"type": "LineString", "coordinates": [[-111.0, 45.0], [-111.01, 45.02]]}
POINT = {"type": "Point", "coordinates": [-111.00000049, 45.0]}


def seen(*geometries):
    return [{"type": "Feature", "properties": {}, "geometry": g} for g in geometries]


def test_a_fresh_shape_is_taken_for_the_likeliest_thing_and_can_be_any_that_fits():
    assert [(d.kind, d.role) for d in after_drawing([], seen(square(), LINE, POINT))] == [
        ("polygon", "keep_out"),
        ("line", "closures"),
        ("point", "must_serve"),
    ]
    assert {"keep_out", "incident_area", "hazards", "closures"} <= set(drawing.roles_of_shape("polygon"))
    assert "extra_tracks" in drawing.roles_of_shape("line")
    for kind in ("polygon", "line", "point"):
        assert not {"roads", "elevation"} & set(drawing.roles_of_shape(kind))


def test_a_reshaped_one_keeps_its_name_a_replaced_one_is_new():
    known = [Drawn("hazards", "slide", tidy(square())), Drawn("must_serve", "camp", tidy(POINT))]
    moved = after_drawing(known, seen(square(size=0.02), POINT))
    assert [(d.role, d.name) for d in moved] == [("hazards", "slide"), ("must_serve", "camp")]
    more = after_drawing(known, seen(square(size=0.02), square(west=-112.0), POINT))
    assert [(d.role, d.name) for d in more] == [("keep_out", ""), ("keep_out", ""), ("must_serve", "camp")]
    assert after_drawing(known, seen(POINT)) == known[1:]  # deleted with the bin


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]}, "crosses its own edge"),
        ({"type": "Polygon", "coordinates": []}, "empty"),
        ({}, "cannot be understood"),
        ({"type": "Odd"}, "understood"),
    ],
)
def test_what_is_no_shape_is_said(bad, said):
    with pytest.raises(InputError, match=said):
        tidy(bad)


def test_shapes_are_files_that_the_planner_reads_and_come_back(tmp_path):
    shapes = [
        Drawn("keep_out", HOSTILE[0], tidy(square())),
        Drawn("keep_out", "", tidy(square(west=-110.9))),
        Drawn("closures", "Bridge out", tidy(LINE)),
        Drawn("must_serve", "Camp", tidy(POINT)),
    ]
    files = drawing.save(tmp_path, shapes)
    assert files == {
        "keep_out": "drawn_keep_out.geojson",
        "closures": "drawn_closures.geojson",
        "must_serve": "drawn_must_serve.geojson",
    }
    layer = read_layer(tmp_path / files["keep_out"], "keep out", target_crs=WGS84, kinds={"polygon"})
    assert list(layer.frame["name"]) == [HOSTILE[0], "Drawn 2"]
    assert {(d.role, d.name) for d in drawing.load(tmp_path)} == {
        ("keep_out", HOSTILE[0]),
        ("keep_out", "Drawn 2"),
        ("closures", "Bridge out"),
        ("must_serve", "Camp"),
    }
    assert drawing.save(tmp_path, shapes[3:]) == {"must_serve": "drawn_must_serve.geojson"}
    assert not (tmp_path / files["keep_out"]).exists()
    (tmp_path / "drawn_hazards.geojson").write_text('{"features": [7]}')
    assert [d.role for d in drawing.load(tmp_path)] == ["must_serve"]


def test_drawn_files_stand_beside_brought_ones_and_give_way_again():
    layers = {"incident_area": "area.geojson", "keep_out": ["school.gpkg"], "roads": "r.geojson", "hazards": []}
    before: dict[str, str] = {}
    files = {"incident_area": "drawn_incident_area.geojson", "keep_out": "drawn_keep_out.geojson"}
    one = drawing.with_drawn(layers, files, before)
    assert one["incident_area"] == "drawn_incident_area.geojson"
    assert one["keep_out"] == ["school.gpkg", "drawn_keep_out.geojson"]
    assert drawing.with_drawn(one, files, before) == one  # the same again changes nothing
    back = drawing.with_drawn(one, {}, before)
    assert {k: back[k] for k in layers} == layers
    with pytest.raises(InputError, match="there is no incident area"):
        drawing.with_drawn(one, {}, {})


def test_typed_places_make_the_same_shapes():
    area = typed("polygon", "45.0, -111.0\n\n45.0, -110.99\n45.01, -110.99\n45.01, -111.0")
    assert area.geometry == tidy(square())
    assert typed("point", "45.0, -111.0").geometry["coordinates"] == [-111.0, 45.0]
    with pytest.raises(InputError, match="Line 2"):
        typed("line", "45.0, -111.0\nnowhere")
    with pytest.raises(InputError, match="an area takes 3 or more"):
        typed("polygon", "45.0, -111.0\n45.1, -111.0")
    json.dumps(area.geometry)
