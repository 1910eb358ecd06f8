"""The fleet: verdicts by hand on a day, a take-down that closes a call, and missions that take their units from it."""

from __future__ import annotations

import tomllib
from datetime import date

import pytest
from typer.testing import CliRunner

from siteplanner.app.intake import look_at
from siteplanner.cli.commands import app
from siteplanner.errors import InputError, SiteplannerError
from siteplanner.mission import load_mission
from siteplanner.mission.fleet import Fleet, load_fleet
from siteplanner.mission.readiness import closed, ready, tire_years
from siteplanner.outputs.ready import fleet_text, write_ready
from siteplanner.planning.telling.readiness import duty_words, headline, unit_rows

DAY = date(2026, 6, 1)
GOOD = """
name = "Trailer 1"
staging = "Yard"
powered_on = 2026-05-12
hours = 412.0
serviced_at_h = 300.0
fuel_l = 57.0
tank_l = 60.0
tires = ["2322", "1022"]
[units.weighed]
on = 2026-01-20
trailer_kg = 1840.0
rig_kg = 4950.0
tongue_kg = 230.0
rated_trailer_kg = 2270.0
[units.radio]
tx_power_dbm = 30.0
[[units.inventory]]
name = "guy anchors"
need = 4
have = 4
stops = true
"""


def fleet(tmp_path, *changes, more=""):
    """The good unit with lines changed, and more text."""
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "FLEET.toml"
    path.write_text(f'name = "County"\n[[units]]\n{text}\n{more}')
    return path


def judged(tmp_path, *changes, more="", on=DAY):
    found = ready(load_fleet(fleet(tmp_path, *changes, more=more)), on)
    return found.units[0]


def test_a_unit_in_order_can_go(tmp_path):
    found = judged(tmp_path)
    assert found.verdict == "can_go"
    assert {d.state for d in found.duties} == {"done"}


CHANGES = {
    # run 20 days ago by hand; due from 32 days on, overdue from 93
    "due": (("2026-05-12", "2026-04-30"), "power_up", "due", "can_go"),
    "last day": (("2026-05-12", "2026-05-01"), "power_up", "done", "can_go"),
    "quarter": (("2026-05-12", "2026-02-28"), "power_up", "overdue", "check_first"),
    "last of the quarter": (("2026-05-12", "2026-03-01"), "power_up", "due", "can_go"),
    "never run": (("powered_on = 2026-05-12", ""), "power_up", "unknown", "check_first"),
    "run tomorrow": (("2026-05-12", "2026-06-02"), "power_up", "unknown", "check_first"),
    "service due": (("hours = 412.0", "hours = 526.0"), "service", "due", "can_go"),
    "service": (("hours = 412.0", "hours = 551.0"), "service", "overdue", "check_first"),
    "no counter": (("serviced_at_h = 300.0\n", ""), "service", "unknown", "check_first"),
    "fuel": (("fuel_l = 57.0", "fuel_l = 53.0"), "fuel", "due", "can_go"),
    "no tank": (("tank_l = 60.0", ""), "fuel", "unknown", "check_first"),
    "tire": (("1022", "1020"), "tires", "due", "can_go"),
    "old tire": (("1022", "1016"), "tires", "overdue", "check_first"),
    "tire of tomorrow": (("1022", "4926"), "tires", "unknown", "check_first"),
    "no tires": (('tires = ["2322", "1022"]', ""), "tires", "unknown", "check_first"),
    "weighed long ago": (("2026-01-20", "2025-05-31"), "weight", "due", "can_go"),
    "too heavy": (("trailer_kg = 1840.0", "trailer_kg = 2271.0"), "overweight", "stops", "cannot_go"),
    "light tongue": (("tongue_kg = 230.0", "tongue_kg = 180.0"), "tongue", "overdue", "check_first"),
    "heavy tongue": (("tongue_kg = 230.0", "tongue_kg = 280.0"), "tongue", "overdue", "check_first"),
    "missing": (("have = 4", "have = 3"), "item", "stops", "cannot_go"),
    "short": (("have = 4\nstops = true", "have = 3"), "item", "due", "can_go"),
    "too old": (("have = 4", "have = 4\nuse_by = 2026-05-31"), "item", "overdue", "check_first"),
    "away": (('staging = "Yard"', 'away = "Ridge fire"'), "away", "stops", "cannot_go"),
}


@pytest.mark.parametrize("case", CHANGES)
def test_what_is_due_what_is_overdue_what_stops(tmp_path, case):
    change, code, state, verdict = CHANGES[case]
    found = judged(tmp_path, change)
    duty = next(d for d in found.duties if d.code == code)
    assert (duty.state, found.verdict) == (state, verdict)
    assert duty is found.duties[0] or state == "done"
    assert duty_words(duty)


@pytest.mark.parametrize(("stops", "verdict"), [("true", "cannot_go"), ("false", "can_go")])
def test_a_fault_stops_or_is_due(tmp_path, stops, verdict):
    fault = f'[[units.faults]]\ntext = "jack leaks"\nsince = 2026-04-02\nstops = {stops}'
    assert judged(tmp_path, more=fault).verdict == verdict


def test_the_age_of_a_tire():
    """49 CFR 574.5(d): 2319 is the 23rd week of 2019, which began 154 days into that year."""
    assert tire_years("0119", date(2025, 1, 1)) == pytest.approx(6.0, abs=0.01)
    assert tire_years("2319", date(2019, 6, 4)) == pytest.approx(0.0, abs=0.01)


BAD = {
    "tire": (("1022", "5422"), "week and year"),
    "more than the tank": (("fuel_l = 57.0", "fuel_l = 61.0"), "more than tank_l"),
    "service to come": (("serviced_at_h = 300.0", "serviced_at_h = 500.0"), "later than hours"),
    "trailer above the rig": (("rig_kg = 4950.0", "rig_kg = 1000.0"), "which holds it"),
    "no date": (("powered_on = 2026-05-12", 'powered_on = "May"'), "powered_on"),
    "negative": (("hours = 412.0", "hours = -1.0"), "hours"),
    "spelling": (("tank_l", "tank"), "tank"),
    "broken": (("hours = 412.0", "hours = "), "Broken syntax"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_fleet_file_that_cannot_be_right(tmp_path, case):
    change, words = BAD[case]
    with pytest.raises(InputError, match=words) as told:
        load_fleet(fleet(tmp_path, change))
    assert told.value.file.endswith("FLEET.toml")
    assert told.value.remedy


TAKE_DOWN = """
unit = "Trailer 1"
on = 2026-06-05
hours = 431.5
fuel_l = 18.0
serviced = true
note = "mast cable chafed"
[[faults]]
text = "mast cable chafed"
since = 2026-06-05
stops = true
"""


def test_a_take_down_closes_the_call_into_a_new_file(tmp_path):
    path, record = fleet(tmp_path), tmp_path / "TAKEDOWN.toml"
    record.write_text(TAKE_DOWN)
    before = path.read_bytes()
    args = ["ready", str(path), "--closed", str(record), "--on", "2026-06-06", "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(app, args)
    assert done.exit_code == 1, done.output  # the one unit cannot go: its cable
    assert path.read_bytes() == before
    written = tmp_path / "out" / "FLEET.toml"
    unit = load_fleet(written).units[0]
    assert (unit.hours, unit.serviced_at_h, unit.fuel_l, unit.powered_on) == (431.5, 431.5, 18.0, date(2026, 6, 5))
    assert unit.faults[0].text == "mast cable chafed"
    assert unit.closed[0].on == date(2026, 6, 5)
    assert unit.weighed == load_fleet(path).units[0].weighed
    assert unit.radio == {"tx_power_dbm": 30.0}
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"FLEET.toml", "ready.csv", "ready.json", "ready.pdf"}
    assert "mast cable chafed" in (tmp_path / "out" / "ready.csv").read_text("utf-8-sig")
    record.write_text(
        TAKE_DOWN.replace("2026-06-05\nhours", "2026-06-09\nhours").replace("[[faults]]", "x = 1\n[[faults]]")
    )
    with pytest.raises(SiteplannerError):
        CliRunner().invoke(app, args, catch_exceptions=False)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"unit": "Trailer 9"}, "no unit"),
        ({"hours": 400.0}, "counter stood"),
        ({"fuel_l": 70.0}, "tank holds"),
        ({"repaired": ("wheel",)}, "no fault"),
        ({"counted": ({"name": "flag", "have": 1},)}, "no item"),
    ],
)
def test_a_take_down_that_cannot_be_right(tmp_path, changed, words):
    from siteplanner.mission.fleet import TakeDown

    given = {"unit": "Trailer 1", "on": date(2026, 6, 5), "hours": 431.5, "fuel_l": 18.0} | changed
    with pytest.raises(InputError, match=words):
        closed(load_fleet(fleet(tmp_path)), TakeDown.model_validate(given), "TAKEDOWN.toml")


def test_each_take_down_once(tmp_path):
    from siteplanner.mission.fleet import TakeDown

    record = TakeDown(unit="Trailer 1", on=date(2026, 6, 5), hours=431.5, fuel_l=18.0)
    once = closed(load_fleet(fleet(tmp_path)), record, "TAKEDOWN.toml")
    with pytest.raises(InputError, match="entered already"):
        closed(once, record, "TAKEDOWN.toml")


def test_a_fleet_survives_its_own_text(tmp_path):
    held = load_fleet(fleet(tmp_path))
    assert Fleet.model_validate(tomllib.loads(fleet_text(held, as_json=False))) == held


SECOND = """
[[units]]
name = "Trailer 2"
away = "Ridge fire"
[[units]]
name = "Trailer 3"
[units.trailer]
mast_stops_m = [10.0]
"""
MISSION = """
name = "m"
fleet = "FLEET.toml"
[layers]
elevation = "dem.tif"
incident_area = "area.gpkg"
roads = "roads.gpkg"
[staging]
name = "Yard"
latitude = 44.6
longitude = -113.0
[radio]
sectors = 3
"""


def test_a_mission_takes_all_that_can_go(tmp_path):
    fleet(tmp_path, more=SECOND)
    path = tmp_path / "mission.toml"
    path.write_text(MISSION)
    mission = load_mission(path)
    assert [u.name for u in mission.units] == ["Trailer 1", "Trailer 3"]
    assert mission.units[0].rig.mass_kg == 4950.0
    assert mission.units[0].radio.tx_power_dbm == 30.0
    assert mission.units[0].radio.sectors == 3  # the rest as the mission's own table
    assert mission.units[1].trailer.mast_stops_m == (10.0,)
    assert mission.units[1].rig is None
    assert [(f.code, f.facts["unit"]) for f in mission.findings] == [("fleet_unit_left_out", "Trailer 2")]


def test_a_mission_changes_what_it_names(tmp_path):
    fleet(tmp_path, more=SECOND)
    path = tmp_path / "mission.toml"
    path.write_text(
        MISSION + '[[units]]\nname = "Trailer 1"\n[units.rig]\nmass_kg = 5200.0\n[[units]]\nname = "Trailer 2"\n'
        '[[units]]\nname = "Loan"\n'
    )
    mission = load_mission(path)
    assert [u.name for u in mission.units] == ["Trailer 1", "Trailer 2", "Loan"]
    assert mission.units[0].rig.mass_kg == 5200.0
    assert mission.units[0].radio.tx_power_dbm == 30.0
    assert [f.code for f in mission.findings] == ["fleet_unit_cannot_go"]


def test_a_fleet_file_stays_in_the_missions_folder(tmp_path):
    (tmp_path / "m").mkdir()
    fleet(tmp_path)
    path = tmp_path / "m" / "mission.toml"
    path.write_text(MISSION.replace('"FLEET.toml"', '"../FLEET.toml"'))
    with pytest.raises(InputError, match="in the mission's folder"):
        load_mission(path)


def test_hostile_names_stay_text(tmp_path):
    path = fleet(tmp_path, ('"Trailer 1"', '"=1+<b>x</b>"'))
    found = ready(load_fleet(path), DAY)
    write_ready(found, tmp_path / "out")
    assert "'=1+<b>x</b>" in (tmp_path / "out" / "ready.csv").read_text("utf-8-sig")
    assert headline(found).startswith("1 of 1 can go")
    assert unit_rows(found)[0][1] == "can go"


def test_the_app_takes_a_fleet_file_for_no_mission(tmp_path):
    path = tmp_path / "mission.toml"
    path.write_text(MISSION)
    assert [look_at(p)[0].kind for p in (fleet(tmp_path), path)] == ["part", "mission"]
