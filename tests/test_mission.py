"""The mission file: defaults with sources, errors that name file, field and remedy."""

import json
import os
import tomllib
from typing import Literal, get_args, get_origin

import pytest
from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel

from siteplanner.errors import InputError
from siteplanner.mission import Layers, Mission, Weights, layer_kinds, load_mission, mission_from_dict
from siteplanner.mission.criteria import CRITERIA
from siteplanner.mission.layers import LayerKind
from siteplanner.planning.telling.findings import said

GOOD = """
name = "Test"
[layers]
elevation = "dem.tif"
incident_area = "area.geojson"
roads = "roads.geojson"
[staging]
latitude = 44.9
longitude = -113.1
"""


def write(tmp_path, text, name="mission.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_small_mission_takes_defaults(tmp_path):
    mission = load_mission(write(tmp_path, GOOD))
    assert mission.layers.elevation == ("dem.tif",)
    assert mission.trailer.outrigger_reach_m == pytest.approx(4 * 0.3048)  # 4 ft, common practice, no source
    assert mission.path("dem.tif") == (tmp_path / "dem.tif").resolve()


def test_json_and_toml_say_the_same(tmp_path):
    mission = load_mission(write(tmp_path, GOOD))
    again = load_mission(write(tmp_path, json.dumps(mission.parameters()), "mission.json"))
    assert again.parameters() == mission.parameters()


SECOND = "\n[[staging]]\nname = 'East yard'\nlatitude = 95.0\nlongitude = -113.0\n"


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        (GOOD.replace('roads = "roads.geojson"', ""), "layers.roads", "Add the field"),
        (GOOD + "\n[trailor]\nlength_m = 3\n", "trailor", "spelling"),
        (GOOD + "\n[trailer]\nmax_slope_deg = 95\n", "trailer.max_slope_deg", "less than 45"),
        (GOOD + "\n[trailer]\nmast_stops_m = []\n", "trailer.mast_stops_m", "At least 1"),
        (GOOD + "\n[trailer]\nmast_stops_m = [0.2]\n", "trailer.mast_stops_m", "between 1 and 100"),
        (GOOD.replace("44.9", "95.0"), "staging.latitude", "90"),
        (GOOD.replace("[staging]", "[[staging]]").replace("44.9", "95.0"), "staging[1].latitude", "90"),
        (GOOD.replace("[staging]", "[[staging]]") + SECOND, "staging[2].latitude", "90"),
        (GOOD + SECOND.replace("[[staging]]", "[[further_staging]]"), "further_staging[1].latitude", "90"),
        (
            GOOD.replace("[staging]", "[[staging]]")
            + "\n[[staging]]\nname = 'B'\nlatitude = 44\nlongitude = -113\n"
            + SECOND.replace("[[staging]]", "[[further_staging]]"),
            "further_staging[1].latitude",
            "90",
        ),
        (GOOD + "\n[sky]\nsatellites = [{longitude_deg = 200}]\n", "sky.satellites[1].longitude_deg", "180"),
        (GOOD + "\n[weights]\n" + "".join(f"{name}=0\n" for name in CRITERIA), "weights", "above 0"),
    ],
)
def test_wrong_fields_are_named(tmp_path, text, field, words):
    path = write(tmp_path, text)
    with pytest.raises(InputError) as caught:
        load_mission(path)
    assert caught.value.file == str(path)
    assert caught.value.field == field
    assert words in str(caught.value)
    assert caught.value.remedy


@pytest.mark.parametrize("text", ["[layers\n", "\x00", "name = "])
def test_broken_syntax_is_one_sentence(tmp_path, text):
    with pytest.raises(InputError, match="Broken syntax"):
        load_mission(write(tmp_path, text))


def test_missing_and_unreadable_files(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load_mission(tmp_path / "none.toml")
    path = tmp_path / "latin.toml"
    path.write_bytes(b'name = "caf\xe9"\n')
    with pytest.raises(InputError, match="UTF-8"):
        load_mission(path)
    with pytest.raises(InputError):
        load_mission(tmp_path)


def test_every_parameter_has_a_default_and_a_description_where_it_is_not_plain():
    """Each number of the mission has a default; the only fields to give are layers and staging."""
    required = [name for name, f in Mission.model_fields.items() if f.is_required()]
    assert required == ["layers", "staging"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("[rig]\nheight_m = 320\n", "must be at most 10"),
        ("[rig]\nheight_m = '3,2'\n", "decimal dot"),
        ("[rig]\nworst_smoothness = 'terrible'\n", "'very_bad'"),
        ("[rig]\nhight_m = 3\n", "close: height_m"),
        ("[search]\nspacing_m = inf\n", "not infinite"),
        ("[search]\nradius_m = 1e9\n", "must be at most 100000"),
        ("[times]\ndispatch = 2026-06-03T04:40:00\n", "offset from UTC"),
    ],
)
def test_faults_are_told_in_plain_words(tmp_path, more, words):
    with pytest.raises(InputError) as caught:
        load_mission(write(tmp_path, GOOD + "\n" + more))
    assert words in caught.value.what
    assert "Input should" not in str(caught.value)
    assert "README lists" not in caught.value.remedy  # it does not


def test_paths_of_layers_never_break(tmp_path):
    """A circle of links and an address are refused where the layer is read, so both must come through."""
    mission = load_mission(write(tmp_path, GOOD))
    (tmp_path / "a.tif").symlink_to(tmp_path / "b.tif")
    (tmp_path / "b.tif").symlink_to(tmp_path / "a.tif")
    assert mission.path("a.tif").parent == tmp_path.resolve()
    assert str(mission.path("https://maps.test/a.tif")).startswith("https:/maps")


def test_a_folder_or_a_picture_is_no_mission(tmp_path):
    with pytest.raises(InputError, match="folder"):
        load_mission(tmp_path)


def test_there_is_one_dish():
    """Its diameter sets the beam and what the mast shades; the former second field names the one there is."""
    minimal = tomllib.loads(GOOD)
    with pytest.raises(InputError, match=r"its diameter stands in sky\.dish_diameter_m") as caught:
        mission_from_dict({**minimal, "trailer": {"dish_diameter_m": 2.4}})
    assert "trailer.dish_diameter_m" in str(caught.value)
    assert "Write it as sky.dish_diameter_m" in str(caught.value)
    with pytest.raises(InputError, match="one dish"):
        mission_from_dict({**minimal, "trailer": {"dish_diameter_m": 2.4}, "sky": {"dish_diameter_m": 1.2}})
    # a record of a former version holds both, alike
    both = mission_from_dict({**minimal, "trailer": {"dish_diameter_m": 2.4}, "sky": {"dish_diameter_m": 2.4}})
    assert both.sky.dish_diameter_m == 2.4


def test_a_criterion_under_its_older_name_is_read_and_said(tmp_path):
    old = load_mission(write(tmp_path, GOOD + "\n[weights]\nsky = 3\n"))
    assert old.weights == load_mission(write(tmp_path, GOOD + "\n[weights]\nbackhaul = 3\n")).weights
    (finding,) = old.findings
    assert "weights.sky" in said(finding).message
    assert "weights.backhaul" in said(finding).remedy
    assert load_mission(write(tmp_path, GOOD)).findings == ()
    assert "renamed" not in old.parameters()
    assert mission_from_dict(old.draft()).findings == old.findings  # a page that changes it still says so
    assert mission_from_dict(old.parameters()).findings == ()
    with pytest.raises(InputError, match="older name of backhaul") as caught:
        load_mission(write(tmp_path, GOOD + "\n[weights]\nsky = 3\nbackhaul = 1\n"))
    assert caught.value.field == "weights"


@pytest.mark.parametrize(
    ("more", "field", "close"),
    [
        ("[weights]\nacess = 3\n", "weights.acess", "access"),
        ("[sky]\nsatellites = [{longitude_deg = 3, nam = 'x'}]\n", "sky.satellites[1].nam", "name"),
        ("[radio]\nsector = 3\n", "radio.sector", "sectors"),
    ],
)
def test_a_field_that_is_spelled_wrongly_gets_those_that_are_close(tmp_path, more, field, close):
    with pytest.raises(InputError, match=f"close: {close}") as caught:
        load_mission(write(tmp_path, GOOD + "\n" + more))
    assert caught.value.field == field


def test_one_table_of_staging_a_list_of_one_and_earlier_records_say_the_same(tmp_path):
    one = load_mission(write(tmp_path, GOOD))
    listed = load_mission(write(tmp_path, GOOD.replace("[staging]", "[[staging]]")))
    assert one.staging == one.stagings == one.starts == listed.staging
    assert one.parameters() == listed.parameters()
    record = one.parameters()
    further = {"name": "East yard", "latitude": 44.0, "longitude": -113.0}
    earlier = {**record, "staging": record["staging"][0], "further_staging": [further]}
    now = {**record, "staging": [*record["staging"], further]}
    assert mission_from_dict(earlier).staging == mission_from_dict(now).staging
    assert len(mission_from_dict(earlier).staging) == 2


def test_kinds_of_shapes_stand_with_the_layers():
    assert layer_kinds("closures") == ("point", "line", "polygon")
    assert layer_kinds("elevation") == ("raster",)
    assert layer_kinds("elevation_unit") == ()
    assert {kind for name in Layers.model_fields for kind in layer_kinds(name)} == set(get_args(LayerKind))


def test_every_criterion_is_whole():
    assert list(CRITERIA) == list(Weights.model_fields) == list(Weights().model_dump())
    for name, criterion in CRITERIA.items():
        assert criterion.weight == getattr(Weights(), name) > 0
        assert criterion.reason
        assert criterion.gauge.difference.count("{") == 2, name
        assert all((criterion.words.slider, criterion.words.column, criterion.words.called)), name
    assert len({c.colour for c in CRITERIA.values()}) == len(CRITERIA)


@pytest.mark.parametrize(
    ("table", "key", "value", "near"),
    [
        ("road_columns", "maxwieght", "LIM", "maxweight"),
        ("road_columns", "max_height", "CLEAR", "maxheight"),
        ("road_units", "maxwieght", "st", "maxweight"),
        ("road_values", "surfce", {"P": "asphalt"}, "surface"),
    ],
)
def test_a_misspelt_road_key_is_refused_with_the_near_one(table, key, value, near):
    layers = {"elevation": "e", "incident_area": "a", "roads": "r", table: {key: value}}
    with pytest.raises(InputError) as told:
        mission_from_dict({"layers": layers, "staging": {"latitude": 1, "longitude": 2}})
    assert told.value.field == f"layers.{table}"
    assert f"close: {near}" in told.value.what


def test_units_of_road_columns_are_those_that_fit_and_none_is_text():
    layers = {"elevation": "e", "incident_area": "a", "roads": "r"}
    data = {"staging": {"latitude": 1, "longitude": 2}}
    for bad in ({"maxweight": "ft"}, {"surface": "m"}):
        with pytest.raises(InputError) as told:
            mission_from_dict({**data, "layers": {**layers, "road_units": bad}})
        assert told.value.field == "layers.road_units"
    good = mission_from_dict(
        {**data, "layers": {**layers, "road_units": {"maxweight": "st"}, "road_none": [0, 999, "none"]}}
    )
    assert good.layers.column_rules.units == {"maxweight": "st"}
    assert good.layers.road_none == ("0", "999", "none")


def test_staging_is_named_somewhere():
    layers = {"elevation": "e", "incident_area": "a", "roads": "r"}
    with pytest.raises(InputError, match="staging"):
        mission_from_dict({"layers": layers})
    with pytest.raises(InputError, match="at least one staging point"):
        mission_from_dict({"layers": layers, "staging": []})
    for data in ({"staging": "y.gpkg"}, {"staging": {"layer": "y.gpkg"}}):
        made = mission_from_dict({"layers": layers, **data})
        assert (made.staging, made.layers.staging) == ((), ("y.gpkg",))
    assert mission_from_dict({"layers": {**layers, "staging": ["y.gpkg"]}}).layers.staging == ("y.gpkg",)


DEEP = "[" * 1000 + "]" * 1000
HOSTILE = {
    "deep list": f"x = {DEEP}\n{GOOD}",
    "dotted key": f"{'.'.join('a' * 50_000)} = 1\n{GOOD}",
    "deep table": f"{GOOD}\n[{'.'.join('a' * 5_000)}]\n",
    "5,000 digits": f"{GOOD}\n[trailer]\nlength_m = {'9' * 5000}\n",
    "5,000 hexadecimal digits": f"{GOOD}\n[trailer]\nlength_m = 0x{'f' * 5000}\n",
    "a date as text": GOOD.replace('"Test"', "1979-05-27"),
    "a time as a number": f"{GOOD}\n[trailer]\nlength_m = 07:32:00\n",
    "staging is a number": f"further_staging = 5\n{GOOD}",
    "year 1": f"{GOOD}\n[times]\ndispatch = 0001-01-01T00:00:00Z\n",
    "year 9999": f"{GOOD}\n[times]\ndispatch = 9999-12-31T23:00:00-12:00\n",
    "a negative speed": f"{GOOD}\n[speeds]\nprimary = -1\n",
    "no speed": f"{GOOD}\n[speeds]\nprimary = 0\n",
    "blocks of a wider channel": f"{GOOD}\n[radio]\nuplink_resource_blocks = 51\n",
    "1,000 satellites": f"{GOOD}\n[sky]\nsatellites = [{'{longitude_deg = 1},' * 1000}]\n",
    "10,000 mast stops": f"{GOOD}\n[trailer]\nmast_stops_m = {[8 + k / 1000 for k in range(10_000)]}\n",
    "a trailer of 1e30 m": f"{GOOD}\n[trailer]\nlength_m = 1e30\n",
    "a factor of 1e-9": f"{GOOD}\n[speeds]\nwet_factor = 1e-9\n",
    "shifts of 1e-9 h": f"{GOOD}\n[times]\nshift_h = 1e-9\n",
    "10 MB": GOOD + "# more\n" * (10 << 18),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_missions_are_refused_with_a_remedy(tmp_path, name):
    path = write(tmp_path, HOSTILE[name])
    with pytest.raises(InputError) as caught:
        load_mission(path)
    assert caught.value.file == str(path)
    assert caught.value.remedy
    assert len(str(caught.value)) < 800


def _numbers(model, path=""):
    for name, field in model.model_fields.items():
        kinds = [field.annotation, *get_args(field.annotation)]
        part = next((k for k in kinds if isinstance(k, type) and issubclass(k, BaseModel)), None)
        if part is not None:
            yield from _numbers(part, f"{path}{name}.")
        elif {int, float} & set(kinds) and not {tuple, Literal} & {get_origin(k) for k in kinds}:
            yield f"{path}{name}", field.metadata


def test_every_number_has_a_range():
    """A number without one lets a slip of the pen take all memory, or an absurd plan come out."""
    own = {"radio.bandwidth_mhz", "units.radio.bandwidth_mhz"}  # one of six widths
    bare = [
        name
        for name, rules in _numbers(Mission)
        if name not in own
        and not (any(isinstance(r, (Ge, Gt)) for r in rules) and any(isinstance(r, (Le, Lt)) for r in rules))
    ]
    assert bare == []


def test_a_pipe_or_a_device_in_the_place_of_a_mission_is_refused(tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    for path in (pipe, "/dev/zero", tmp_path / ("x" * 300 + ".toml")):
        with pytest.raises(InputError) as caught:
            load_mission(path)
        assert caught.value.remedy
