"""A plan.json that travels names no folder from the root, and its layers are found again all the same."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.outputs.write import write_outputs
from siteplanner.planning.plan.mission_place import mission_of_record, shared_folder, shared_parameters
from tests.outputs.factory import make_plan

LAYERS = {"elevation": ["elevation.tif"], "incident_area": "area.geojson", "roads": "roads.geojson"}


@pytest.fixture
def county(tmp_path, monkeypatch):
    """`<tmp>/home/jane`, with a mission in it."""
    home = tmp_path / "home" / "jane"
    folder = home / "missions" / "flood"
    folder.mkdir(parents=True)
    for name in ("elevation.tif", "area.geojson", "roads.geojson"):
        (folder / name).write_text(name)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.chdir(tmp_path)
    return folder


def mission_in(folder, **layers):
    staging = {"name": "Yard", "latitude": 44.0, "longitude": -113.0}
    return mission_from_dict({"name": "Flood", "layers": {**LAYERS, **layers}, "staging": [staging]}, base=folder)


def record_of(mission, beside):
    from siteplanner.data.records import sha256_of

    return {
        "mission": json.loads(json.dumps(shared_parameters(mission))),
        "mission_folder": shared_folder(mission, beside),
        "inputs": [{"file": "area.geojson", "sha256": sha256_of(mission.base / "area.geojson")}],
    }


def found(record, file, layers_in=None, samples=()):
    return mission_of_record(record, file, layers_in, samples)


def test_no_file_that_is_written_names_a_folder_from_the_root(tmp_path):
    """The whole folder, package.zip's parts included: no part of the way to it, no home."""
    plan = make_plan(2)
    write_outputs(plan, tmp_path / "out", only=["plan.json", "package.gpkg", "places.kml", "map.html", "briefing.txt"])
    for path in (tmp_path / "out").iterdir():
        data = path.read_bytes()
        for part in (tmp_path, Path.cwd(), Path.home()):
            assert str(part).encode() + b"/" not in data, path.name
    record = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert record["mission_folder"] is None or not Path(record["mission_folder"]).is_absolute()


def test_within_what_is_shared_the_folder_is_told_from_the_file(county):
    mission = mission_in(county)
    assert shared_folder(mission, county / "out") == ".."
    assert shared_folder(mission, county.parents[1] / "results") == "../missions/flood"
    assert shared_folder(mission, None) is None


def test_a_way_over_the_root_or_over_the_homes_is_left_out(county, tmp_path):
    mission = mission_in(county)
    assert shared_folder(mission, tmp_path / "home" / "results") is None  # would say `jane`
    assert shared_folder(mission, Path("/")) is None


def test_layers_named_from_the_root_lose_it(county, tmp_path):
    other = tmp_path / "home" / "terrain.tif"
    inside = county / "more" / "closures.geojson"
    mission = mission_in(county, elevation=[str(other)], closures=[str(inside), "beside.geojson"])
    layers = shared_parameters(mission)["layers"]
    assert layers["elevation"] == ["terrain.tif"]
    assert layers["closures"] == ["more/closures.geojson", "beside.geojson"]
    assert str(tmp_path) not in json.dumps(shared_parameters(mission))


def test_layers_are_found_from_the_file_and_in_old_files_from_the_root(county):
    mission, out = mission_in(county), county.parents[1] / "results"
    record = record_of(mission, out)
    assert found(record, out / "plan.json").base == county
    old = {**record, "mission_folder": str(county)}
    assert found(old, Path("/elsewhere/plan.json")).base == county


def test_layers_are_looked_for_beside_and_in_the_working_folder(county, tmp_path, monkeypatch):
    record = {**record_of(mission_in(county), None), "mission_folder": None}
    assert found(record, county / "out" / "plan.json").base == county
    with pytest.raises(InputError, match="--layers") as error:
        found(record, tmp_path / "far" / "plan.json")
    assert "plan.json" in str(error.value)
    assert found(record, tmp_path / "far" / "plan.json", layers_in=county).base == county
    assert found(record, tmp_path / "far" / "plan.json", samples=[county]).base == county
    monkeypatch.chdir(county)
    assert found(record, tmp_path / "far" / "plan.json").base == county


def test_layers_of_the_same_names_but_another_mission_do_not_count(county, tmp_path):
    record = {**record_of(mission_in(county), None), "mission_folder": None}
    other = tmp_path / "other"
    other.mkdir()
    for name in ("elevation.tif", "area.geojson", "roads.geojson"):
        (other / name).write_text("another county")
    with pytest.raises(InputError, match="not together"):
        found(record, other / "plan.json")


def test_the_file_that_is_missing_is_named(county):
    record = record_of(mission_in(county), county / "out")
    (county / "roads.geojson").unlink()
    with pytest.raises(InputError, match=r"roads\.geojson is missing"):
        found(record, county / "out" / "plan.json")


def test_layers_that_were_apart_are_found_in_one_folder(county, tmp_path):
    apart = tmp_path / "home" / "elevation.tif"
    apart.write_text("x")
    record = record_of(mission_in(county, elevation=[str(apart)]), county / "out")
    made = found(record, county / "out" / "plan.json")
    assert made.path(made.layers.elevation[0]) == county / "elevation.tif"
