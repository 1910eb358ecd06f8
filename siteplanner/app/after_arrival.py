"""After arrival: what the crew radios back, the place as it stands judged by it, map and sheets AS BUILT."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import earlier, style, uploads
from siteplanner.app.again_panel import panel
from siteplanner.app.downloads import SHEETS
from siteplanner.app.frame import finding_note, need_plan, part, say_error, units_now, work_now
from siteplanner.app.labels import Units, by_severity
from siteplanner.app.log_panel import hold, log_at, log_panel, plan_json
from siteplanner.app.pressing import watch
from siteplanner.app.report_form import report_form
from siteplanner.app.running import Run
from siteplanner.app.session import Work
from siteplanner.app.staged_panel import periods
from siteplanner.data.plain_text import parsed
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.mission.report import MOST_REPORT, Report, report_from_dict, report_text
from siteplanner.outputs.words.text import named, shown
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.as_built import as_built_head, broken_sentences, limits_sentence, run_words
from siteplanner.planning.telling.as_built_rows import COLUMNS, as_built_rows, turn_sectors_words
from siteplanner.planning.telling.units import reader_units

INTRO = (
    "The crew reads its sheet's last part over the radio; type it in here. Everything but the place may be left open: "
    "what is left open counts as planned, and the result says so."
)


def page() -> None:
    """The form, and what came of it."""
    work, units = work_now(), units_now()
    plan = need_plan(work)
    if plan is None:
        return
    if plan.judge is None or not plan.spots:
        st.info("This plan has no spot that a trailer could stand at. Run its mission again.")
        return
    st.html(style.head("What the crew radios back"))
    st.caption(INTRO)
    part(bring, work)
    part(form, work, plan, units)
    if work.report:
        part(take_along, work)
    run = work.arrival
    if run is not None:
        if run.state == "running":
            watch(run, "cancel_arrival")
        elif run.error is not None:
            say_error(run.error)
        elif run.result is not None:
            hold(work, "built", run.result, lambda: plan_json(run.result))
            part(result, work, run.result, units)
    part(panel, work, plan, units)
    part(periods, work, plan, units)
    part(log_panel, work, units)


def bring(work: Work) -> None:
    """A report file fills the form."""
    with st.expander("Fill the form from a report file"):
        given = st.file_uploader("Report file", type=["toml", "json"], key=f"report_file_{work.edition}")
        if given is None or given.file_id in work.saved:
            return
        work.saved.add(given.file_id)
        try:
            text = uploads.content(given, MOST_REPORT).decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError("This is not text in UTF-8.", remedy="Choose the right file.", file=given.name) from None
        data = parsed(text, as_json=given.name.lower().endswith(".json"), file=given.name)
        keep(work, report_from_dict(data, file=given.name))
        st.rerun()


def form(work: Work, plan: Plan, units: Units) -> None:
    """The fields; once sent, they are kept with the work before anything is judged by them."""
    coverage = plan.spots[0].evaluation.coverage
    points = [p.name for p in coverage.must_serve] if coverage is not None else []
    names, number = [r.spot.name for r in plan.spots], work.memory.get("report_number", 0)
    chosen = work.spot()
    held = work.report if chosen is None else {"spot": chosen.spot.name, **work.report}
    data = report_form(held, names, points, units, f"report_{work.edition}_{number}_{units.system}")
    if data is None:
        return
    report = report_from_dict(data)
    keep(work, report, redraw=False)
    if work.arrival is not None:
        work.arrival.cancel()
    work.arrival = Run(plan.mission, partial(arrival_job, plan, report, log_at(work)), in_turn=True).start()


def keep(work: Work, report: Report, redraw: bool = True) -> None:
    """The report in the work, and beside its plan on the disk where that is kept. `redraw`: the form starts afresh."""
    work.report = report.model_dump(exclude_defaults=True)
    if redraw:
        work.memory["report_number"] = work.memory.get("report_number", 0) + 1
    if work.kept_at is None:
        return
    try:
        earlier.keep_report(work.kept_at, report_text(report))
    except OSError as error:
        st.warning(f"The report could not be kept on this computer ({error.strerror}): download it below.")


def take_along(work: Work) -> None:
    """The report as a file."""
    st.download_button(
        "Download the report file",
        report_text(report_from_dict(work.report)),
        "report.toml",
        "application/toml",
        on_click="ignore",
        key="report_toml",
    )


def arrival_job(
    plan: Plan, report: Report, log_in: Path, mission: Mission, progress: Callable[[str, float], None]
) -> Plan:
    """The place judged by the plan's own layers, as `siteplanner arrived` does; what came of it is logged."""
    from siteplanner.outputs.log import told_by_run
    from siteplanner.planning.plan.arrived import arrived
    from siteplanner.planning.plan.judged_again import Again
    from siteplanner.planning.study.progress import Stages
    from siteplanner.planning.telling.record import spots_record

    assert plan.judge is not None
    record: dict[str, Any] = {"spots": spots_record(plan)}
    made = arrived(Again(plan.judge, plan.inputs, plan.findings, ()), record, report, Stages(progress), "this plan")
    if made.as_built is not None:
        words = run_words(made.as_built, reader_units(plan.mission).first)
        told_by_run(log_in, words, made.as_built.planned.name, who=report.reported_by[:120], kind="seen")
    return made


def result(work: Work, made: Plan, units: Units) -> None:
    """How it stands: whether a limit is broken, row by row against the plan, what to take along."""
    assert made.as_built is not None
    as_built, e = made.as_built, made.spots[0].evaluation
    st.html(
        f'<div class="sp-answer{" none" if as_built.broken else ""}">'
        f'<p class="say">{named(as_built_head(as_built, units))}</p>'
        f'<p class="watch">{named(limits_sentence(as_built, units))}</p>'
        + "".join(f'<p class="watch"><b>{named(text)}</b></p>' for text in broken_sentences(as_built, units))
        + (f'<p class="firm">{named(turn)}</p>' if (turn := turn_sectors_words(as_built, units)) else "")
        + "</div>"
    )
    head = "".join(f"<th>{shown(cell)}</th>" for cell in COLUMNS)
    rows = "".join(
        "<tr>" + "".join(f"<td>{named(cell)}</td>" for cell in row) + "</tr>"
        for row in as_built_rows(as_built, e, units)
    )
    st.html(f'<table class="sp-table"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>')
    st.html("".join(finding_note(f) for f in by_severity(e.findings)))
    st.html(style.head("Map and sheets, marked AS BUILT"))
    columns = st.columns(4)
    for column, kind in zip(columns, SHEETS, strict=False):
        if kind == "driver" and e.access is None:
            continue
        column.download_button(
            f"{SHEETS[kind]} sheet AS BUILT",
            partial(_sheet, made, kind),
            f"{kind}_as_built.pdf",
            "application/pdf",
            on_click="ignore",
            width="stretch",
            key=f"as_built_{kind}",
        )
    columns[3].download_button(
        "Everything AS BUILT in one zip",
        partial(_bundle, made, Path(work.folder.name) / f"as_built_{id(made)}"),
        "as_built.zip",
        "application/zip",
        on_click="ignore",
        width="stretch",
        key="as_built_zip",
        type="primary",
    )


def _sheet(made: Plan, kind: str) -> bytes:
    from siteplanner.outputs.sheets.printing import sheet_pdf

    return sheet_pdf(made, kind) or b""


def _bundle(made: Plan, folder: Path) -> bytes:
    """Map, sheets, record and report in one zip."""
    from siteplanner.outputs.as_built import write_as_built

    files = write_as_built(made, folder)
    return next(f for f in files if f.name == "package.zip").read_bytes()
