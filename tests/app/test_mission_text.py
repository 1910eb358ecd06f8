"""The mission as a file and as form fields: nothing is lost or changed on the way."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as some
from streamlit.testing.v1 import AppTest

from siteplanner.app.mission_form import satellites_read, satellites_text
from siteplanner.app.mission_text import mission_toml, parameter_rows, with_parameters
from siteplanner.demo import sample_mission
from siteplanner.errors import InputError
from siteplanner.mission import load_mission, mission_from_dict

TEXT = some.text(alphabet=some.characters(codec="utf-8"), max_size=30)
VALUE = some.one_of(
    some.booleans(),
    some.integers(-(10**9), 10**9),
    some.floats(allow_nan=False, allow_infinity=False),
    TEXT,
    some.lists(some.integers(0, 9), max_size=3),
)


def test_the_sample_survives_saving(tmp_path):
    mission = load_mission(sample_mission())
    path = tmp_path / "mission.toml"
    path.write_text(mission_toml(mission.parameters()), encoding="utf-8")
    again = load_mission(path)
    assert again.parameters() == mission.parameters()


@given(some.dictionaries(TEXT, some.one_of(VALUE, some.dictionaries(TEXT, VALUE, max_size=3)), max_size=4))
def test_any_text_becomes_toml_that_reads_back(data):
    assert tomllib.loads(mission_toml(data)) == data


def test_every_parameter_is_listed_and_can_be_changed():
    data = load_mission(sample_mission()).parameters()
    rows = {row["parameter"]: row["value"] for row in parameter_rows(data)}
    assert rows["trailer.max_slope_deg"] == "5.0"
    assert "rig.turning_radius_m" in rows
    assert "crs" in rows
    changed = with_parameters(data, {"trailer.max_slope_deg": "4", "radio.sectors": "3"})
    mission = mission_from_dict(changed)
    assert (mission.trailer.max_slope_deg, mission.radio.sectors) == (4, 3)
    assert data["radio"]["sectors"] == 2
    with pytest.raises(InputError, match="is not a value"):
        with_parameters(data, {"crs": "EPSG:32612"})


def test_satellites_as_people_write_them():
    held = [{"name": "", "longitude_deg": -113.0}, {"name": "bird", "longitude_deg": 13.5}]
    assert satellites_text(held) == "113 W, bird: 13.5 E"
    assert satellites_read(satellites_text(held)) == held
    assert satellites_read("-103; 61 w")[0]["longitude_deg"] == -103
    for wrong in ("", "north", "103 W W"):
        with pytest.raises(InputError):
            satellites_read(wrong)


def test_a_wrong_field_loses_nothing_that_was_typed_and_every_field_is_explained():
    def form(draft):
        import streamlit as st

        from siteplanner.app import frame, session, start

        work = st.session_state.setdefault(frame.WORK, session.Work("token"))
        work.draft = work.draft or draft
        start.settings(work)

    draft = {
        "name": "Half of it",
        "layers": {"elevation": ["a.tif"], "incident_area": "b", "roads": "c"},
        "staging": {"latitude": 44.6, "longitude": -113.1},
    }
    app = AppTest.from_function(form, args=(draft,)).run(timeout=60)
    name, satellites = (next(t for t in app.text_input if t.label.startswith(w)) for w in ("Mission", "Satellites"))
    name.input("Typed by hand")
    satellites.input("west of here")
    app.button[0].click().run(timeout=60)
    assert "not an orbital longitude" in app.error[0].value
    assert [t.value for t in app.text_input if t.label.startswith(("Mission", "Satellites"))] == [
        "Typed by hand",
        "west of here",
    ]
    assert all(n.help for n in app.number_input), [n.label for n in app.number_input if not n.help]
    slope = next(n for n in app.number_input if n.label.startswith("Steepest ground"))
    assert "ruled out" in slope.help
