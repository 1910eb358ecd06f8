"""Stay or move, on the page After arrival: what has changed, planned again by it, the answer and what to take along."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import style, uploads
from siteplanner.app.changed import Changes, Wind, WindUnit, changed
from siteplanner.app.frame import finding_note, say_error
from siteplanner.app.labels import Units, by_severity, plain
from siteplanner.app.log_panel import hold, log_at, plan_json
from siteplanner.app.pressing import press, watch
from siteplanner.app.report_form import number
from siteplanner.app.running import Run
from siteplanner.app.session import Work
from siteplanner.data.coordinates import EXAMPLES
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.mission.report import report_from_dict
from siteplanner.outputs.words.text import named
from siteplanner.planning.plan.again import Again, planned_again
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling import again as telling
from siteplanner.planning.telling.units import reader_units

WHAT = ("A road is closed", "Wind is coming", "A unit is lost", "The area has moved", "Nothing, ask again")
ABOUT = (
    "Say what has changed. The trailer is taken as it was reported, otherwise as planned; the same mission is planned "
    "again around it."
)
WHEN = "2026-06-03T14:00-06:00"
MOVES = ("Spot", "Area", "Against staying", "Drive", "Without service", "Pays after")


def panel(work: Work, plan: Plan, units: Units) -> None:
    """The form, and what came of it. Raises InputError for what cannot be read."""
    st.html(style.head("Something has changed: stay or move?"))
    st.caption(ABOUT)
    what = st.segmented_control("What has changed", WHAT, default=WHAT[0], key=f"changed_{work.edition}")
    changes = _form(what or WHAT[-1], work, plan, units)
    if st.button("Stay or move?", type="primary", key="ask_again"):
        start(work, plan, changed(work, changes))
    run = work.again
    if run is None:
        return
    if run.state == "running":
        watch(run, "cancel_again")
    elif run.error is not None:
        say_error(run.error)
    elif run.result is not None:
        result(work, run.result, units)


def _form(what: str, work: Work, plan: Plan, units: Units) -> Changes:
    """What is typed or dropped for one kind of change."""
    left, right = st.columns(2, gap="medium")
    if what == WHAT[0]:
        where = left.text_input("Where the road is closed", placeholder=EXAMPLES, help=EXAMPLES, key="closed_at")
        why = right.text_input("What closes it", placeholder="e.g. Bridge out", max_chars=100, key="closed_by")
        file = _dropped(left, "Or a file of closures", "closures_file")
        return Changes(closed=None if file and not where.strip() else (where, why), closures=file)
    if what == WHAT[1]:
        starts = left.text_input("Wind from", placeholder=WHEN, help="Day and time with the offset.", key="wind_from")
        until = left.text_input("Wind until", placeholder=WHEN, key="wind_until")
        unit: WindUnit = "mph" if units.is_us else "m/s"
        speed = right.text_input(f"Mean wind, {unit}", key="wind_mean")
        gust = right.text_input(f"Gust, {unit}", key="wind_gust")
        file = _dropped(left, "Or a forecast table (CSV)", "forecast_file")
        if file is not None or not (starts.strip() or until.strip() or speed.strip()):
            return Changes(forecast=file)
        mean = number(speed, f"Mean wind, {unit}")
        if mean is None:
            raise InputError("The mean wind is not given.", remedy="Type the forecast's figure.", field="Mean wind")
        gusts = number(gust, f"Gust, {unit}")
        return Changes(wind=Wind(_time(starts, "Wind from"), _time(until, "Wind until"), mean, gusts, unit))
    if what == WHAT[2]:
        names = [unit.name for unit in plan.mission.units]
        if len(names) < 2:
            left.caption("The mission has one unit.")
            return Changes()
        return Changes(lost=left.selectbox("Which unit", names, format_func=plain, key="lost_unit") or "")
    if what == WHAT[3]:
        return Changes(area=_dropped(left, "The area as it is now", "area_file"))
    return Changes()


def _dropped(column: Any, label: str, key: str) -> tuple[str, bytes] | None:
    given = column.file_uploader(label, key=key)
    return None if given is None else (given.name, uploads.content(given))


def _time(text: str, field: str) -> datetime:
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise InputError("This is not a time with its offset.", remedy=f"Type it as {WHEN}.", field=field)
    return found


def start(work: Work, plan: Plan, mission: Mission) -> None:
    """Plan the changed mission in the background; the plan in hand stays."""
    if work.again is not None:
        work.again.cancel()
    built = work.papers.get("built")
    report = None if built is not None or not work.report else work.report
    read = work.papers.get("measured of")
    known = None if read is None else read.after
    job = partial(again_job, work.planned or plan, built, report, known, log_at(work), work.lend())
    work.again = Run(mission, job, in_turn=True).start()


def again_job(
    plan: Plan,
    built: Mapping[str, Any] | None,
    report: Mapping[str, Any] | None,
    known: Mission | None,
    log_in: Path,
    lent: Any,
    mission: Mission,
    progress: Callable[[str, float], None],
) -> tuple[Again, Mapping[str, Any]]:
    """(stay or move, the record that it follows), as `siteplanner again` does; what came of it is logged. `known`: the
    mission with the last readings in it."""
    from siteplanner.outputs.log import told_by_run
    from siteplanner.outputs.write import json_text

    record = built if built is not None else plan_json(plan)
    if known is not None:
        record = {**record, "mission": json.loads(json_text(known.parameters()))}
    told = None if report is None else report_from_dict(dict(report))
    found = planned_again(record, mission, told, "this plan", progress, lent)
    told_by_run(log_in, telling.headline(found, reader_units(mission).first), found.stay.evaluation.spot.name)
    return found, record


def result(work: Work, held: tuple[Again, Mapping[str, Any]], units: Units) -> None:
    """The answer, what staying breaks, what moving costs; the page to take along; the changed plan to go on with."""
    found, record = held
    hold(work, "again", found, lambda: _again_json(found, units))
    st.html(answer(found, units))
    left, right = st.columns(2)
    left.download_button(
        "Page stay or move", partial(_page, found, record), "again.pdf", "application/pdf", on_click="ignore",
        width="stretch", key="again_pdf",
    )  # fmt: skip
    press(right, "Go on with the changed plan", _go_on, work, found, width="stretch", key="take_again")


def _go_on(work: Work, found: Again) -> str:
    mission = found.plan.mission
    work.draft, work.base, work.revision = mission.draft(), mission.base, work.revision + 1
    work.begin_plan(mission, {r.spot.key: r.spot.name for r in found.plan.judged})
    return "run"


def answer(found: Again, units: Units) -> str:
    """All that is told of it, as HTML."""
    none = " none" if found.stay.grave else ""
    out = (
        f'<div class="sp-answer{none}"><p class="say">{named(telling.TALKS[found.verdict])}</p>'
        f'<p class="watch">{named(telling.headline(found, units))}</p>'
        f'<p class="firm">{named(telling.area_words(found, units))}</p></div>'
    )
    breaks = telling.breaks_lines(found, units)
    out += style.head("Staying") + style.bullets("note", breaks) if breaks else ""
    moves = [tuple(row) for row in telling.move_rows(found, units)]
    if moves:
        out += style.head("Moving") + style.table(moves, MOVES, figures=(1, 2, 3, 4, 5))
    parts = [tuple(row) for row in telling.part_rows(found, units)]
    if parts:
        out += style.head("Minutes without service, part by part")
        out += style.table(parts, ("Part", "Quick", "Likely", "Slow"), figures=(1, 2, 3))
    points = [tuple(row) for row in telling.point_rows(found, units)]
    if points:
        out += style.head("Named points") + style.table(points, ("Point", "Staying", "Moving"), figures=(1, 2))
    shown = [f for f in found.plan.findings if f.severity != "note" or "clos" in f.code]
    return out + "".join(finding_note(f) for f in by_severity(shown))


def _again_json(found: Again, units: Units) -> Any:
    from siteplanner.outputs.write import json_text

    return json.loads(json_text(telling.again_record(found, units)))


def _page(found: Again, record: Mapping[str, Any]) -> bytes:
    from siteplanner.outputs.again import again_pdf

    return again_pdf(found, record)
