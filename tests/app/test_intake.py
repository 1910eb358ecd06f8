"""Files that a user drops: safe names, what they are taken for, and the mission made of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from siteplanner.app import bring, intake
from siteplanner.app.intake import Brought
from siteplanner.app.session import Work
from siteplanner.errors import InputError

SAMPLE = Path(__file__).parents[2] / "data_samples" / "dunmarrow_county"


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("roads.geojson", "roads.geojson"),
        ("../../etc/passwd", "passwd"),
        ("C:\\Temp\\my roads.shp", "my_roads.shp"),
        (".hidden.tif", "hidden.tif"),
        ("con.tif", "con_.tif"),
        ("a" * 300 + ".tif", "a" * 80 + ".tif"),
        ("x\x00y\n.kml", "x_y_.kml"),
        ("<img src=x>.gpkg", "img_src_x_.gpkg"),
        ("straße.geojson", "straße.geojson"),
        ("roads|evil.gpkg", "roads_evil.gpkg"),
        ("bang!.gpkg", "bang_.gpkg"),
    ],
)
def test_names_lead_nowhere(given, kept):
    assert intake.safe_name(given) == kept


def test_a_name_of_nothing_is_refused():
    with pytest.raises(InputError, match="cannot be used"):
        intake.safe_name("../..")


def test_an_empty_file_and_too_many_bytes_are_refused(tmp_path, monkeypatch):
    with pytest.raises(InputError, match="empty"):
        intake.save("a.tif", b"", tmp_path)
    monkeypatch.setattr(intake, "MAX_BYTES", 5)
    intake.save("a.tif", b"1234", tmp_path)
    intake.save("a.tif", b"12345", tmp_path)  # the same name again replaces it
    with pytest.raises(InputError, match="larger"):
        intake.save("b.tif", b"1", tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.tif"]


@pytest.mark.parametrize(
    ("file", "role", "kind"),
    [
        ("elevation.tif", "elevation", "raster"),
        ("surface.tif", "surface", "raster"),
        ("incident_area.geojson", "incident_area", "polygon"),
        ("roads.geojson", "roads", "line"),
        ("keep_out.geojson", "keep_out", "polygon"),
        ("hazards.geojson", "hazards", "polygon"),
        ("power_lines.geojson", "power_lines", "line"),
        ("must_serve.geojson", "must_serve", "point"),
        ("spots.geojson", "spots", "point"),
        ("structures.geojson", "structures", "polygon"),
        ("water.geojson", "water", "line"),
        ("soft_ground.geojson", "soft_ground", "polygon"),
        ("mission.toml", "mission", "mission"),
    ],
)
def test_the_sample_is_recognised(file, role, kind):
    (taken,) = intake.look_at(SAMPLE / file)
    assert (taken.role, taken.kind) == (role, kind)
    if kind not in ("mission",):
        assert taken.record is not None
        assert taken.record.count > 0
        assert taken.record.crs.startswith("EPSG:")


def test_columns_tell_power_lines_and_roads_when_the_name_does_not():
    assert intake.guess("line", "layer1.gpkg", ("name", "voltage_kv"))[0] == "power_lines"
    assert intake.guess("line", "layer1.gpkg", ("name", "highway"))[0] == "roads"
    assert intake.guess("line", "layer1.gpkg", ())[0] == "roads"
    assert intake.guess("unknown", "x", ())[0] == "unused"


@pytest.mark.parametrize(
    ("kind", "name", "columns", "role"),
    [
        ("polygon", "Buildings.shp", (), "structures"),
        ("line", "fence lines.gpkg", (), "structures"),
        ("point", "tanks.geojson", (), "structures"),
        ("polygon", "wetlands_area.gpkg", (), "soft_ground"),
        ("polygon", "lakes.kml", (), "water"),
        ("line", "waterways.gpkg", (), "water"),
        ("line", "layer2.gpkg", ("waterway",), "water"),
        ("line", "layer3.gpkg", ("barrier",), "structures"),
        ("line", "layer4.gpkg", ("highway", "waterway", "barrier"), "roads"),
        ("polygon", "flooded_water.gpkg", (), "hazards"),
        ("point", "water drop points.gpx", (), "must_serve"),
    ],
)
def test_layers_of_the_ground_are_recognised(kind, name, columns, role):
    assert intake.guess(kind, name, columns)[0] == role


def test_a_file_that_is_nothing_says_why(tmp_path):
    path = tmp_path / "notes.tif"
    path.write_bytes(b"just some words")
    (taken,) = intake.look_at(path)
    assert taken.kind == "unknown"
    assert taken.problem is not None
    assert taken.problem.remedy
    assert not taken.usable


def test_a_geojson_is_not_taken_for_a_mission_but_a_mission_json_is(tmp_path):
    path = tmp_path / "m.json"
    path.write_text(json.dumps({"layers": {}, "staging": {}}))
    assert intake.look_at(path)[0].kind == "mission"


def test_layers_need_the_three_and_take_one_of_each():
    def one(path, role, kind):
        return Brought(path, kind, role)

    three = [
        one("a.tif", "elevation", "raster"),
        one("b.tif", "elevation", "raster"),
        one("c.geojson", "incident_area", "polygon"),
        one("d.gpkg|roads", "roads", "line"),
    ]
    assert intake.layers_of(three) == {
        "elevation": ["a.tif", "b.tif"],
        "incident_area": "c.geojson",
        "roads": "d.gpkg|roads",
    }
    with pytest.raises(InputError, match="missing: roads"):
        intake.layers_of(three[:3])
    with pytest.raises(InputError, match="Two files"):
        intake.layers_of([*three, one("e.geojson", "roads", "line")])
    spilled = intake.one_each([*three, one("e.geojson", "incident_area", "polygon")])
    assert spilled[-1].role == "keep_out"


def test_every_layer_of_the_mission_can_be_brought():
    """The roles are read off the model: a layer added there is offered here, with its kinds of shapes."""
    from siteplanner.app.roles import roles_of_layers
    from siteplanner.mission import Layers

    held = roles_of_layers()
    no_file = ("_unit", "_columns", "_classes", "_close_roads", "_error_m", "_clutter", "_ground_m")
    no_file = (*no_file, "road_units", "road_values", "road_none")
    files = {n for n in Layers.model_fields if not n.endswith(no_file)}
    assert set(held) == files
    for name, role in held.items():
        assert role.kinds, name
    assert held["closures"].kinds == ("point", "line", "polygon")
    assert held["keep_out"].several
    assert not held["roads"].several
    assert {n for n, role in held.items() if role.needed} == {"elevation", "incident_area", "roads"}


def test_a_wind_table_is_known_and_a_broken_one_named(tmp_path):
    good = tmp_path / "wind.csv"
    good.write_text("time,speed\n2026-06-01T00:00:00Z,5\n2026-06-01T01:00:00Z,6\n")
    (item,) = intake.look_at(good)
    assert (item.kind, item.role) == ("table", "wind_forecast")
    bad = tmp_path / "list.csv"
    bad.write_text("a,b\n1,2\n")
    (item,) = intake.look_at(bad)
    assert item.problem is not None


def test_a_file_that_fails_in_an_unforeseen_way_stays_in_the_list_and_the_others_too(tmp_path, monkeypatch, capfd):
    def broken(path):
        if path.name == "b.tif":
            raise ZeroDivisionError("deliberately")
        return [intake.Brought(path.name, "line", "roads")]

    class Sent:
        def __init__(self, name):
            self.name = self.file_id = name

        def getvalue(self):
            return b"held"

    monkeypatch.setattr(intake, "look_at", broken)
    work = Work("token")
    bring.take_in(work, [Sent("a.geojson"), Sent("deep/b.tif"), Sent("c.geojson")])
    assert [b.path for b in work.brought] == ["a.geojson", "b.tif", "c.geojson"]
    assert "could not be read (ZeroDivisionError)" in work.brought[1].problem.what
    assert not work.brought[1].usable
    assert "deliberately" in capfd.readouterr().err


def test_a_fine_outline_in_degrees_is_looked_at_as_it_is(tmp_path):
    """A thousand vertices a few metres apart: looked at in degrees, they are no vertices that stand still."""
    import math

    ring = [[-110 + 1e-3 * math.cos(a / 500 * math.pi), 38 + 1e-3 * math.sin(a / 500 * math.pi)] for a in range(1000)]
    shape = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    (tmp_path / "hazards.geojson").write_text(
        json.dumps(
            {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": shape}]}
        )
    )
    (found,) = intake.look_at(tmp_path / "hazards.geojson")
    assert found.problem is None
    assert (found.role, found.kind) == ("hazards", "polygon")


FILES = {"elevation": ["/etc/passwd"], "incident_area": "../../a.geojson", "roads": "/home/x/roads.geojson"}


def test_a_mission_that_was_sent_reaches_no_file_but_those_that_came_with_it(tmp_path):
    """Every field that names files, the fonts too; /etc/passwd is a bare name here like any other."""
    from siteplanner.app.bring import confined
    from siteplanner.mission import Layers, layer_kinds, mission_from_dict

    for name in ("passwd", "a.geojson", "roads.geojson"):
        (tmp_path / name).write_text("x")
    data = {"layers": FILES, "staging": {"latitude": 1, "longitude": 2}}
    plain = confined(mission_from_dict(data).draft(), tmp_path, "m.toml")
    assert plain["layers"]["elevation"] == ["passwd"]
    assert plain["layers"]["incident_area"] == "a.geojson"
    for field in [n for n in Layers.model_fields if layer_kinds(n)] + ["extra_fonts"]:
        table = "sheets" if field == "extra_fonts" else "layers"
        odd = {**data, table: {**data.get(table, {}), field: "/root/secret.bin"}}
        with pytest.raises(InputError, match=r"secret\.bin") as caught:
            confined(mission_from_dict(odd).draft(), tmp_path, "m.toml")
        assert caught.value.field.startswith(table)


def test_a_mission_opened_by_path_says_what_it_names_outside_its_folder(tmp_path):
    from siteplanner.app.bring import outside
    from siteplanner.mission import mission_from_dict

    (tmp_path / "in").mkdir()
    data = {
        "layers": {**FILES, "roads": "roads.gpkg|roads", "keep_out": "in/keep.gpkg"},
        "staging": {"latitude": 1, "longitude": 2},
        "sheets": {"extra_fonts": ["/root/f.ttf"]},
    }
    (tmp_path / "roads.gpkg").symlink_to("/etc/hosts")
    found = outside(mission_from_dict(data, base=tmp_path))
    assert found == ["/etc/passwd", "../../a.geojson", "roads.gpkg|roads", "/root/f.ttf"]


def test_long_names_of_letters_of_four_bytes_are_cut_to_what_a_file_system_takes(tmp_path):
    path = intake.save("\U00020000" * 200 + ".geojson", b"{}", tmp_path)
    assert path.is_file()
    assert path.suffix == ".geojson"


def test_a_full_disk_is_told_at_the_upload(tmp_path, monkeypatch):
    def full(self, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(InputError, match="No space left"):
        intake.save("a.geojson", b"{}", tmp_path)


def test_an_upload_is_kept_without_a_second_copy_in_memory(tmp_path, monkeypatch):
    """The buffer of a BytesIO made from bytes is a copy of them: 200 MB more for an upload of 200 MB."""
    import io
    import tracemalloc

    from siteplanner.app import bring
    from siteplanner.app.session import Work

    monkeypatch.setattr(intake, "look_at", lambda path: [intake.Brought(path.name, "line", "roads")])
    content = bytes(20 << 20)

    class Sent(io.BytesIO):
        name = file_id = "elevation.tif"

    work = Work("token")
    tracemalloc.start()
    bring.take_in(work, [Sent(content)])
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (work.files / "elevation.tif").stat().st_size == len(content)
    assert most < len(content) / 2
