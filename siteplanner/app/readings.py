"""Readings on the Spot page: drop a table or a track, see what it says, plan again with it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import intake, style, uploads
from siteplanner.app.frame import say_error
from siteplanner.app.labels import Units
from siteplanner.app.log_panel import hold, log_at
from siteplanner.app.pressing import press
from siteplanner.app.session import Work
from siteplanner.data.reading_values import TAKEN
from siteplanner.data.readings import read_readings
from siteplanner.errors import InputError, SiteplannerError
from siteplanner.mission import mission_from_dict
from siteplanner.outputs.log import told_by_run
from siteplanner.outputs.measured import residuals_csv
from siteplanner.outputs.write import json_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.shared_errors import OF_THE_SIGNAL
from siteplanner.planning.plan.level_readings import level_readings, levels_of_record, with_levels
from siteplanner.planning.plan.measured import Measured, Standing, measured, standing_of
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling import measured as telling

ABOUT = "Drop a table (CSV) with longitude, latitude and rsrp_dbm, or served (yes or no), or a GPX with levels. "
AS_PLANNED = "The trailer stands at this spot, with mast and sectors as planned."
AS_BUILT = "The trailer stands as its crew reported; what its phones showed at named points counts too."
MOST_ROWS = 200


def panel(work: Work, plan: Plan, ranked: RankedSpot, units: Units) -> None:
    """Drop zone, and below it what the readings say of this spot."""
    st.caption(ABOUT + (AS_BUILT if "built" in work.papers else AS_PLANNED))
    sent = st.file_uploader("Readings", type=["csv", "txt", "gpx"], key=f"readings_{work.edition}")
    left, middle, right = st.columns(3)
    track = left.file_uploader("Track of the walk, for a table without places", type=["gpx"], key="readings_track")
    taken = middle.selectbox("Read where", TAKEN, format_func=telling.TAKEN.__getitem__, key="readings_taken")
    cells = right.text_input("Cells of this trailer, if others are in the file", key="readings_cells")
    if sent is None and not levels_of_record(work.papers.get("built") or {}):
        return
    built = work.papers.get("built")
    key = f"readings {sent and sent.file_id} {track and track.file_id} {taken} {cells} {ranked.spot.key} {id(built)}"
    try:
        found = work.once(key, lambda: _measured(work, plan, ranked, sent, track, taken, cells))
    except SiteplannerError as error:
        say_error(error)
        return
    if hold(work, "measured", found, lambda: json.loads(json_text(telling.measured_record(found, None, units)))):
        words = " ".join((telling.headline(found, units), telling.share_words(found, units)))
        told_by_run(log_at(work), words, found.standing.spot.name, kind="seen")
    st.html(page(found, units))
    st.download_button(
        "Table of readings", residuals_csv(found).encode("utf-8-sig"), "residuals.csv", "text/csv", on_click="ignore"
    )
    if found.after is not found.mission:
        press(st, "Plan again with these readings", plan_again, work, plan, found, type="primary")


def _measured(work: Work, plan: Plan, ranked: RankedSpot, sent: Any, track: Any, taken: str, cells: str) -> Measured:
    """Read and hold against the plan; what was sent is kept with the work's files. Raises InputError."""
    judge, coverage = plan.judge, ranked.evaluation.coverage
    if judge is None or coverage is None:
        raise InputError("This plan came without its layers.", remedy="Run its mission again, then drop the readings.")
    built = work.papers.get("built")
    if sent is None:
        readings = level_readings(levels_of_record(built or {}), judge.study)
    else:
        kept = [None if f is None else intake.save(f.name, uploads.source(f), work.files) for f in (sent, track)]
        wanted = [c for c in cells.replace(",", " ").split() if c]
        readings = read_readings(
            str(kept[0]), track=kept[1], cells=wanted, taken=taken, earliest=plan.mission.times.dispatch
        )
    if built is None:
        standing = Standing(ranked.spot, coverage.mast_height_m, coverage.sector_bearings_deg)
        return measured(judge.study, standing, readings)
    standing = standing_of(built, judge.study, None, Path("this plan"))
    return measured(judge.study, standing, with_levels(readings, built, judge.study))


def plan_again(work: Work, plan: Plan, found: Measured) -> str:
    """Take what the readings say into the mission and plan it; spots keep their names."""
    radio, doubts = found.after.radio, found.after.doubts
    names = ("measured_offset_db", "model_sigma_db", "location_sigma_db", "measured_files")
    changed = {name: radio.model_dump(mode="json")[name] for name in names}
    draft = dict(work.draft or {})
    draft["radio"] = {**draft.get("radio", {}), **changed}
    draft["doubts"] = {**draft.get("doubts", {}), **{name: getattr(doubts, name) for name in OF_THE_SIGNAL}}
    draft["units"] = [
        {**unit, "radio": {**unit["radio"], **changed}} if isinstance(unit.get("radio"), dict) else unit
        for unit in draft.get("units", [])
    ]
    if not draft["units"]:
        del draft["units"]
    mission = mission_from_dict(draft, base=work.base)
    work.draft, work.revision = draft, work.revision + 1
    work.begin_plan(mission, {r.spot.key: r.spot.name for r in plan.judged})
    return "run"


def page(found: Measured, units: Units) -> str:
    """What they say, as HTML."""
    figures = telling.figure_rows(found)
    lines = [telling.share_words(found, units)]
    walks = telling.walk_lines(found, units)
    out = style.head(telling.headline(found, units)) + style.bullets("note", lines)
    out += "".join(style.note("check", "Check first.", line) for line in telling.warning_lines(found, units))
    if found.points:
        rows = [tuple(row) for row in telling.point_rows(found.points, units)]
        out += style.head("Named points") + style.table(rows, ("Point", "Planned", "Now (9 in 10)", "Read there"))
    if walks:
        out += style.head("Walk here with a phone next") + style.bullets("note", walks)
    if figures:
        rows = [tuple(row) for row in telling.class_rows(found, units)]
        out += style.head("For the radio technician") + style.table([tuple(row) for row in figures])
        out += style.head("Measured less predicted")
        out += style.table(rows, ("Where", "Readings", "Median dB", "Spread dB"), figures=(1, 2, 3))
        rows = [tuple(row) for row in telling.reading_rows(found, MOST_ROWS)]
        out += style.head("Readings, the largest differences first")
        out += style.table(rows, ("Row", "Place", "Measured", "Predicted", "Off", ""), figures=(0,))
    return out
