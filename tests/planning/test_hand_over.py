"""Log and hand-over: nothing written is lost, and each figure of the page is recomputed from what it stands on."""

from __future__ import annotations

import io
import json
from datetime import datetime, timedelta

import pytest
from pypdf import PdfReader

from siteplanner.cli import app, run
from siteplanner.errors import InputError, OutputError
from siteplanner.mission.incident import Channel, load_incident
from siteplanner.mission.log import LOG, entry_from_dict, read_log
from siteplanner.outputs.hand_over import MOST_DECISIONS, MOST_QUESTIONS, hand_over_content, write_hand_over
from siteplanner.outputs.log import add_entry, log_csv, log_folder, told_by_run
from siteplanner.outputs.switch import Switch
from siteplanner.outputs.write import json_text
from siteplanner.planning.plan.hand_over import hand_over
from siteplanner.planning.plan.papers import papers_of
from siteplanner.planning.telling.hand_over import channel_rows, form_lines, headline, question_lines
from siteplanner.planning.telling.log import activity_log_lines
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import METRIC, US
from tests.glossary import told
from tests.outputs.letters import least_letter_pt

DISPATCH, NOW = "2026-06-03T04:40:00-06:00", "2026-06-03T09:00:00-06:00"
ICS_201 = (
    "Incident name", "Incident number", "Date and time initiated", "Map", "Situation summary", "Prepared by",
    "Current and planned objectives", "Current and planned actions", "Current organization", "Resource summary",
)  # fmt: skip
ICS_205 = (
    "Incident name", "Date and time prepared", "Operational period", "Basic radio channel use",
    "Special instructions", "Prepared by",
)  # fmt: skip
ICS_214 = (
    "Incident name", "Operational period", "Name", "ICS position", "Home agency", "Resources assigned",
    "Activity log", "Prepared by",
)  # fmt: skip
"""Titles of the blocks in their order: FEMA, NIMS ICS Forms, ICS 201, 205, 214."""


def entry(said: str, **more):
    held = {"at": "2026-06-03T06:00:00-06:00", "logged_at": "2026-06-03T06:01:00-06:00", "text": said}
    return entry_from_dict({**held, **more})


@pytest.fixture(scope="module")
def record(valley_plan):
    made = json.loads(json_text(plan_record(valley_plan)))
    made["software"]["created"] = "2026-06-03T10:00:00Z"
    made["mission"]["times"]["dispatch"] = made["spots"][0]["timeline"]["dispatch"] = DISPATCH
    return made


def built(record, **report):
    """A plan.json of a trailer that stands, as `siteplanner arrived` writes it."""
    spot = record["spots"][0]
    points = [{"name": "camp", "planned": 0.95, "now": 0.7, "expected_dbm": -92.0, "read_dbm": -98.0, "served": False}]
    as_built = {
        "report": {"coordinates": "x", "on_air_at": "05:52:00", "fuel_pct": 80.0, "reported_by": "K. Moss", **report},
        "planned": {"name": spot["name"]},
        "stands": {"heading_deg": 10.0, "mast_stop_m": 8.0, "sector_bearings_deg": [20.0, 200.0]},
        "assumed": ["heading"],
        "distance_m": 40.0,
        "broken": [{"limit": "power_line", "reason": "near"}],
        "limits_near": [],
        "share": {"planned": 0.9, "now": 0.8, "best_bearings": 0.85},
        "points": points,
    }
    return {**record, "as_built": as_built, "software": {"created": "2026-06-03T12:30:00Z"}}


@pytest.fixture
def folder(tmp_path, record):
    place = tmp_path / "plan"
    (place / "as_built").mkdir(parents=True)
    (place / "plan.json").write_text(json.dumps(record), "utf-8")
    (place / "as_built" / "plan.json").write_text(json.dumps(built(record)), "utf-8")
    return place


def page(folder, at=NOW):
    return hand_over(papers_of(folder), datetime.fromisoformat(at))


def test_entries_are_only_ever_added(tmp_path):
    assert add_entry(tmp_path, entry("First\nof two lines\u2028")) == 1
    before = (tmp_path / LOG).read_bytes()
    assert add_entry(tmp_path, entry("Second", kind="question", who="Li", role="COML")) == 2
    after = (tmp_path / LOG).read_bytes()
    assert after.startswith(before)
    assert after.count(b"\n") == 2
    assert [e.text for _, e in read_log(tmp_path).entries] == ["First\nof two lines", "Second"]
    assert [n for n, _ in read_log(tmp_path).open_questions] == [2]
    add_entry(tmp_path, entry("Answer", answers=2))
    assert not read_log(tmp_path).open_questions


def test_half_a_line_and_a_spoilt_one_are_kept_and_shown(tmp_path):
    add_entry(tmp_path, entry("Whole"))
    with (tmp_path / LOG).open("a") as stream:
        stream.write('{"at": "2026-06-03T06:00')  # the power went
    assert add_entry(tmp_path, entry("After", fuel_pct=50)) == 3
    log = read_log(tmp_path)
    assert [e.text for _, e in log.entries] == ["Whole", "After"]
    assert [line.number for line in log.damaged] == [2]
    table = log_csv(log).splitlines()
    assert len(table) == 4
    assert '""at"": ""2026-06-03T06:00' in table[2]


def test_another_run_into_the_folder_leaves_the_log_as_it_is(tmp_path):
    folder = tmp_path / "plan"
    folder.mkdir()
    add_entry(folder, entry("First"))
    before = (folder / LOG).read_bytes()
    with Switch(folder) as switch:
        (switch.path / "plan.json").write_text("{}")
        switch.now(["plan.json", "*.tif"])
    assert (folder / LOG).read_bytes() == before
    assert add_entry(folder, entry("Second")) == 2


def test_reports_and_readings_go_into_the_log_of_their_plan(folder):
    assert log_folder(folder / "plan.json") == folder
    assert log_folder(folder / "as_built" / "plan.json") == folder


def test_a_formula_in_an_entry_is_harmless_in_the_table(tmp_path):
    add_entry(tmp_path, entry("=cmd()", who="@x"))
    assert "'=cmd()" in log_csv(read_log(tmp_path))
    assert "'@x" in log_csv(read_log(tmp_path))


@pytest.mark.parametrize(
    ("field", "value"),
    [("text", ""), ("at", "2026-06-03T06:00:00"), ("at", "0001-01-01T00:00:00Z"), ("fuel_pct", 101), ("fuel_pct", True),
     ("kind", "said"), ("answers", 0), ("text", "x" * 4001), ("shift", "2")],
)  # fmt: skip
def test_a_wrong_entry_is_refused_by_its_field(field, value):
    with pytest.raises(InputError) as error:
        entry("x", **{field: value})
    assert error.value.field == field
    assert error.value.remedy


def test_a_log_that_cannot_be_written_is_told_and_a_run_is_not_lost(tmp_path):
    (tmp_path / "other").write_text("kept")
    (tmp_path / LOG).symlink_to(tmp_path / "other")
    with pytest.raises(OutputError):
        add_entry(tmp_path, entry("x"))
    assert (tmp_path / "other").read_text() == "kept"
    assert "log" in told_by_run(tmp_path / "gone", "planned")


def test_fuel_lasts_as_long_as_the_tank_and_the_burn_say(folder, record):
    power = record["mission"]["power"]
    low, _, high = power["fuel_burn_l_per_h"]
    on_air = datetime.fromisoformat("2026-06-03T05:52:00-06:00")  # the first 05:52 after the dispatch
    h = page(folder)
    assert h.on_air_since == on_air
    assert h.fuel.told_by == "report"
    left = (0.8 - power["refuel_at_share"]) * power["fuel_tank_l"]
    assert h.fuel.refuel == (on_air + timedelta(hours=left / high), on_air + timedelta(hours=left / low))
    assert h.fuel.empty[0] == on_air + timedelta(hours=0.8 * power["fuel_tank_l"] / high)
    # a gauge in the log that was read later goes before the report's
    add_entry(folder, entry("Gauge", at="2026-06-03T08:00:00-06:00", fuel_pct=50))
    later = page(folder).fuel
    assert later.told_by == "log"
    assert later.share == 0.5
    at = datetime.fromisoformat("2026-06-03T08:00:00-06:00")
    assert later.empty[1] == at + timedelta(hours=0.5 * power["fuel_tank_l"] / low)


def test_what_was_read_goes_before_what_is_predicted(folder):
    h = page(folder)
    (point,) = h.points
    assert point.chance == 0.7
    assert point.works is False
    assert "at 0 of 1 named points tried" in headline(h)
    assert h.broken == ("power_line",)
    assert "Broken where it stands: overhead line" in headline(h)
    assert h.stands.mast_stop_m == 8.0
    assert h.stands.sector_bearings_deg == (20.0, 200.0)


def test_readings_go_before_the_plan_and_what_cannot_be_read_is_named(folder, record):
    (folder / "measured").mkdir()
    (folder / "broken").mkdir()
    (folder / "broken" / "plan.json").write_text("{")
    newer = {**record, "software": {"created": "2026-06-03T13:00:00Z"}}
    (folder / "measured" / "plan.json").write_text(json.dumps(newer), "utf-8")
    held = {
        "stands": {"spot": "A", "latitude": 1.0, "longitude": 2.0},
        "share_now": {"share": 0.61, "low": 0.5, "high": 0.7},
        "shared_error": {"mean_db": -5.6, "low_db": -7.0, "high_db": -4.0},
        "points": [{"name": "camp", "now": 0.4, "read": 4, "served": 3, "measured_dbm": -101.0}],
        "readings": [{}] * 10,
    }
    (folder / "measured" / "measured.json").write_text(json.dumps(held), "utf-8")
    h = page(folder)
    (point,) = h.points
    assert h.share == (0.61, 0.5, 0.7)
    assert (point.chance, point.read_dbm, point.served) == (0.4, -101.0, 0.75)
    assert point.works  # three of four got through, whatever is predicted
    assert h.stands.told_by == "report"  # the report says where it stands, not the readings
    text = "\n".join(form_lines(h))
    assert "10 readings: the signal is weaker than predicted (-6 dB; -7 to -4 dB" in text
    assert h.skipped == ("broken",)
    assert "cannot be read: broken" in text


def test_without_a_report_nothing_is_calm(tmp_path, record):
    (tmp_path / "plan.json").write_text(json.dumps(record), "utf-8")
    h = page(tmp_path)
    text = "\n".join(form_lines(h))
    assert h.on_air_since is None
    assert h.fuel.refuel is None
    assert "No limit" not in text
    assert "nobody has reported" in text
    assert "Refuel by: not known" in text
    assert "Incident number: not known" in text


def test_what_the_plan_leaves_open_is_told_in_the_reader_s_units(tmp_path, record):
    """The messages of a plan.json are metric; its facts say them again. What has no facts stays as it is written."""
    coarse = {"code": "coarse_elevation", "severity": "unknown", "facts": {"cell_size_m": 80.0}}
    coarse["message"] = "The elevation has cells of 80 m."
    old = {"code": "of_another_release", "severity": "check", "facts": [], "message": "A gap of 25 m."}
    made = {**record, "findings": [coarse, old], "mission": {**record["mission"]}}
    (tmp_path / "plan.json").write_text(json.dumps(made), "utf-8")
    h = page(tmp_path)
    feet, metres = " ".join(question_lines(h, units=US)), " ".join(question_lines(h))
    assert "cells of 262 ft" in feet  # 80 / 0.3048
    assert "80 m" not in feet
    assert "cells of 80 m" in metres
    assert feet.endswith("A gap of 25 m.")
    assert "not known not known" not in " ".join(form_lines(h))
    assert "% full, hour not known" in " ".join(form_lines(h)) or h.fuel.at is not None


def test_what_is_past_is_not_told_as_coming(folder):
    names = {m.what for m in page(folder).coming}
    assert {"refuel", "empty", "dusk", "dawn", "relief"} <= names
    late = page(folder, "2026-06-03T17:00:00-06:00")  # relief was at 16:40, twelve hours after the dispatch
    assert "relief" not in {m.what for m in late.coming}
    assert all(m.late >= late.prepared_at for m in late.coming)


def test_the_pages_have_the_blocks_of_the_public_forms(folder):
    (folder / "incident.toml").write_text('number = "7"\n[[channels]]\nname = "CMD"\nrx_mhz = 154.28\nmode = "A"\n')
    h = page(folder)
    text = "\n".join(form_lines(h, US))
    first, second = text.split("INCIDENT RADIO COMMUNICATIONS PLAN")
    for number, title in enumerate(ICS_201, 1):
        assert f"{number}. {title}" in first
    for number, title in enumerate(ICS_205, 1):
        assert f"{number}. {title}" in second
    log = "\n".join(activity_log_lines(h.log, h.incident, "valley", h.prepared_at))
    for number, title in enumerate(ICS_214, 1):
        assert f"{number}. {title}" in log
    own, command = channel_rows(h)
    assert own[5] == "763.0000"
    assert own[7] == ""
    assert command[3] == "CMD"
    assert command[5] == "154.2800"
    assert set(Channel.model_fields) == {
        "zone", "channel", "function", "name", "assignment", "rx_mhz", "rx_width", "rx_tone", "tx_mhz", "tx_width",
        "tx_tone", "mode", "remarks",
    }  # fmt: skip  # ICS 205 block 4
    assert not told("hand-over", text.splitlines())


@pytest.mark.parametrize(
    "text", ["number = 7", "[[channels]]\nmode = 'X'", "[[channels]]\nrx_mhz = -1", "period_from = 2026-06-03",
             "surprise = 1", "period_from = 2026-06-03T18:00:00Z\nperiod_to = 2026-06-03T06:00:00Z", "= =",
             "people = 1"],
)  # fmt: skip
def test_a_wrong_incident_file_is_refused(tmp_path, text):
    (tmp_path / "incident.toml").write_text(text)
    with pytest.raises(InputError) as error:
        load_incident(tmp_path / "incident.toml")
    assert error.value.remedy
    assert error.value.file


def test_a_long_log_runs_on_in_letters_that_can_be_read(folder, tmp_path):
    """The least letter is that of every sheet; what the page leaves out is counted, the last of the log stays."""
    for number in range(30):
        add_entry(folder, entry(f"Question {number}: " + "which road for the fuel truck? " * 7, kind="question"))
        add_entry(folder, entry(f"Decision {number}: " + "stay until the relief has come. " * 7, kind="decided"))
    h = page(folder)
    write_hand_over(h, tmp_path / "out", METRIC)
    pages = PdfReader(io.BytesIO((tmp_path / "out" / "handover.pdf").read_bytes())).pages
    assert least_letter_pt(pages) >= 7.45
    text = " ".join(" ".join(p.extract_text().split()) for p in pages)
    assert "Decision 29:" in text
    left = len(question_lines(h)) - MOST_QUESTIONS + len(h.decisions) - MOST_DECISIONS
    assert f"{left} more in handover.txt." in text
    assert len(pages) <= 3


def test_the_page_keeps_one_side_and_hostile_text_stays_text(folder, tmp_path):
    add_entry(folder, entry("#import \u202e<script>\u001b[31m" * 60, kind="decided", who="*x*", role="$y$"))
    files = write_hand_over(page(folder), tmp_path / "out", METRIC)
    assert [f.name for f in files] == ["handover.json", "handover.pdf", "handover.txt", "log.csv", "log.txt"]
    pdf = PdfReader(io.BytesIO((tmp_path / "out" / "handover.pdf").read_bytes()))
    assert len(pdf.pages) == 1
    for name in ("handover.txt", "log.txt", "log.csv"):
        assert "\u001b" not in (tmp_path / "out" / name).read_text("utf-8-sig")
    json.loads((tmp_path / "out" / "handover.json").read_text("utf-8"))
    assert hand_over_content(page(folder), US)["decisions"]


def test_by_the_command_line(folder, tmp_path, capsys):
    def call(*args):
        return run(lambda: app(args=list(args), standalone_mode=False))

    assert call("log", str(folder), "Stay", "--who", "Diaz", "--role", "COML") == 0
    assert call("log", str(folder), "Fuel?", "--kind", "question") == 0
    assert call("log", str(folder), "Comes at 18:00", "--answers", "1") == 2  # entry 1 is no question
    assert "no question" in capsys.readouterr().err
    assert call("log", str(folder), "Comes at 18:00", "--answers", "2") == 0
    assert call("log", str(folder), "--csv") == 0
    assert capsys.readouterr().out.count("\r\n") == 4
    assert call("handover", str(folder), "--out", str(tmp_path / "ho"), "--at", NOW) == 0
    assert "Diaz, COML, decided: Stay" in capsys.readouterr().out
    assert call("handover", str(tmp_path / "nowhere")) == 2
    assert call("log", str(folder), "x", "--at", "yesterday") == 2
