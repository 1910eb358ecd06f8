"""`siteplanner fields`: every field of the mission's models, with what it may be; one list for terminal and app."""

from __future__ import annotations

import json
import math

import pytest
from pydantic import BaseModel

from siteplanner.app.mission_text import parameter_rows
from siteplanner.cli import app, run
from siteplanner.demo import sample_mission
from siteplanner.errors import InputError
from siteplanner.mission import Mission, load_mission, mission_from_dict
from siteplanner.mission.fields import MissionField, fields, found, source_of
from siteplanner.planning.telling.fields import default_words, meaning_words, range_words

BY_PATH = {f.path: f for f in fields()}
THREE = {
    "layers": {"elevation": ["e.tif"], "incident_area": "a.geojson", "roads": "r.geojson"},
    "staging": {"latitude": 44.0, "longitude": -113.0},
}


def shown(capsys, *args: str) -> tuple[int, str, str]:
    code = run(lambda: app(args=list(args), standalone_mode=False))
    held = capsys.readouterr()
    return code, held.out, held.err


def leaves(model: type[BaseModel], prefix: str = "") -> set[str]:
    """Paths of a model by its own walk: tables are opened, lists of tables are not."""
    out = set()
    for name, info in model.model_fields.items():
        if info.exclude:
            continue
        inner = info.annotation
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            out |= leaves(inner, f"{prefix}{name}.")
        else:
            out.add(f"{prefix}{name}")
    return out


LISTS = ("staging", "units", "periods")
"""Lists of tables: they come before the tables of their own."""


def test_every_field_is_listed_once_in_the_models_order():
    listed = [f.path for f in fields()]
    assert len(listed) == len(set(listed))
    assert {p for p in listed if "[]" not in p} == leaves(Mission)
    tables = list(dict.fromkeys(f.table.split(".")[0].removesuffix("[]") for f in fields() if f.table))
    order = [n for n in Mission.model_fields if n in tables]
    assert [t for t in tables if t not in LISTS] == [t for t in order if t not in LISTS]
    assert {"staging[].latitude", "units[].ready_from", "units[].radio", "sky.satellites[].longitude_deg"} <= {*listed}


def test_every_field_has_a_meaning_and_every_figure_a_unit_or_none_by_its_name():
    assert not [f.path for f in fields() if not f.meaning]
    assert BY_PATH["wind.tracking_limit_m_s"].unit == "m/s"
    assert BY_PATH["radio.tx_power_dbm"].unit == "dBm"
    assert BY_PATH["speeds.track"].unit == "km/h"
    assert BY_PATH["backhaul.donor_link.min_clearance_low_k"].unit == ""
    assert BY_PATH["sky.system_temperature_k"].unit == "K"


def test_sources_are_those_that_the_descriptions_name():
    assert source_of("Ground steeper than this is out. Common practice.") == "Common practice."
    assert source_of("Where people use it.") == ""
    assert "TS 36.101" in BY_PATH["radio.handset_power_dbm"].source
    assert "ommon practice" in BY_PATH["rig.max_grade_pct"].source
    assert BY_PATH["radio.noise_figure_db"].source == "Defaults: common practice unless a source is named."


def with_value(path: str, value: object) -> dict:
    out = json.loads(json.dumps(THREE))
    place, (*parents, last) = out, path.split(".")
    for name in parents:
        place = place.setdefault(name, {})
    place[last] = value
    return out


NUMBERS = [f for f in fields() if "[]" not in f.path and f.kinds in (("number",), ("whole number",)) and not f.choices]


@pytest.mark.parametrize("field", NUMBERS, ids=lambda f: f.path)
def test_the_bounds_told_are_the_bounds_that_hold(field: MissionField):
    """The last value inside is not refused for its size, the first beyond it is."""
    step = 1 if field.kinds == ("whole number",) else None
    for bound, open_end, toward in ((field.least, field.above, -math.inf), (field.most, field.below, math.inf)):
        if bound is None:
            continue
        sign = 1 if toward > 0 else -1
        beyond = bound + sign * step if step else bound if open_end else math.nextafter(bound, toward)
        with pytest.raises(InputError, match="must be"):
            mission_from_dict(with_value(field.path, beyond))
        inside = bound if step or not open_end else math.nextafter(bound, -toward)
        try:
            mission_from_dict(with_value(field.path, inside))
        except InputError as error:  # other fields may contradict it
            assert "must be" not in error.what or field.path not in str(error.field)  # noqa: PT017


def test_words_for_default_and_range():
    assert default_words(BY_PATH["layers.roads"]) == "must be given"
    assert default_words(BY_PATH["trailer.mast_stops_m"]) == "[8.0, 12.0, 15.0]"
    assert default_words(BY_PATH["times.dispatch"]) == "left out"
    assert range_words(BY_PATH["trailer.max_slope_deg"]) == "number above 0, below 45"
    assert range_words(BY_PATH["sky.need"]) == "one of any, all"
    assert range_words(BY_PATH["trailer.set_up_min"]) == "list; 3 values"
    assert range_words(BY_PATH["radio.sector_separation_deg"]) == "one of free, even; number above 0 to 360"
    assert range_words(BY_PATH["wifi.on"]) == "true or false"


def test_a_word_finds_its_fields(capsys):
    code, out, _ = shown(capsys, "fields", "mast")
    assert code == 0
    assert "trailer.mast_stops_m = [8.0, 12.0, 15.0]" in out
    assert "rig.mass_kg" not in out
    assert {f.path for f in found(["MAST", "guys"])} < {f.path for f in found(["mast"])}
    code, out, err = shown(capsys, "fields", "zeppelin")
    assert (code, out) == (2, "")
    assert "zeppelin" in err


def test_json_holds_every_field_with_all_that_is_known(capsys):
    code, out, _ = shown(capsys, "fields", "--json")
    rows = json.loads(out)
    assert code == 0
    assert [r["path"] for r in rows] == [f.path for f in fields()]
    slope = next(r for r in rows if r["path"] == "trailer.max_slope_deg")
    assert (slope["default"], slope["least"], slope["most"], slope["unit"]) == (5.0, 0, 45, "°")
    assert slope["meaning"]
    assert all(r["source"] for r in rows)


def test_the_apps_table_is_the_same_list():
    rows = parameter_rows(load_mission(sample_mission()).parameters())
    same = [f for f in fields() if f.table != "layers" and "[]" not in f.path]
    assert [(r["parameter"], r["meaning"]) for r in rows] == [(f.path, meaning_words(f)) for f in same]


@pytest.mark.parametrize(
    ("text", "field", "sends_to"),
    [
        ('slope = 3\n[layers]\nelevation = "e.tif"\nincident_area = "a"\nroads = "r"\n[staging]\nlatitude = 1\n'
         "longitude = 2\n", "slope", "`siteplanner fields`"),
        ('[layers]\nelevation = "e.tif"\nincident_area = "a"\nroads = "r"\n[staging]\nlatitude = 91\nlongitude = 2\n',
         "staging.latitude", "`siteplanner fields staging.latitude`"),
        ('[layers]\nelevation = "e.tif"\nincident_area = "a"\n[staging]\nlatitude = 1\nlongitude = 2\n',
         "layers.roads", "`siteplanner fields layers.roads`"),
        ('[layers]\nelevation = "e.tif"\nincident_area = "a"\nroads = "r"\n', "staging", "where the tow starts"),
        ("[staging]\nlatitude = 1\nlongitude = 2\n", "layers", "`siteplanner new FOLDER`"),
    ],
)  # fmt: skip
def test_a_mistake_sends_one_to_the_list_and_not_into_the_source(tmp_path, text, field, sends_to):
    path = tmp_path / "mission.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_mission(path)
    assert caught.value.field == field
    assert sends_to in caught.value.remedy
    assert "siteplanner/mission" not in str(caught.value)
    if sends_to.startswith("`siteplanner fields "):
        assert found([sends_to.strip("`").split()[-1]])


def test_a_fault_in_one_of_several_tables_finds_its_field():
    data = {**THREE, "staging": [THREE["staging"], {"name": "B", "latitude": 91, "longitude": 1}]}
    with pytest.raises(InputError) as caught:
        mission_from_dict(data)
    assert "`siteplanner fields staging.latitude`" in caught.value.remedy


def test_version_is_told(capsys):
    from importlib.metadata import version

    code, out, _ = shown(capsys, "--version")
    assert (code, out.strip()) == (0, f"siteplanner {version('siteplanner')}")


def test_the_demos_help_names_the_samples(capsys):
    code, out, _ = shown(capsys, "demo", "--help")
    assert code == 0
    for name in ("dunmarrow_county", "real_hills"):
        assert name in out
