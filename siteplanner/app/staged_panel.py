"""Operational periods, on the page After arrival: each with its own area, planned as one sequence."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import streamlit as st

from siteplanner.app import intake, style, uploads
from siteplanner.app.drawing import absolute
from siteplanner.app.frame import say_error
from siteplanner.app.labels import Units
from siteplanner.app.pressing import watch
from siteplanner.app.running import Run
from siteplanner.app.session import Work
from siteplanner.errors import InputError
from siteplanner.mission import Mission, mission_from_dict
from siteplanner.outputs.words.text import named
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.staged import Staged, staged
from siteplanner.planning.telling import staged as telling

ABOUT = (
    "One line a period: name; start; end; file of its area. Drop the files of the areas; a period without a file keeps "
    "the area of the mission."
)
EXAMPLE = "Day 1; 2026-06-03T06:00-06:00; 2026-06-03T18:00-06:00; day_1.geojson"
HEAD = ("Period", "When", "One spot for all", "Best sequence", "Without service before it", "Best of this period alone")


def periods(work: Work, plan: Plan, units: Units) -> None:
    """Lines and files, and what came of them. Raises InputError for a line that is none."""
    with st.expander("Operational periods: one spot for all, or move between them"):
        st.caption(ABOUT)
        lines = st.text_area(
            "Periods", period_lines(work.draft or {}), placeholder=EXAMPLE, key=f"periods_{work.edition}"
        )
        sent = st.file_uploader("Areas of the periods", accept_multiple_files=True, key=f"areas_{work.edition}")
        if st.button("Plan the periods as one", key="ask_periods"):
            for file in sent or []:
                intake.save(file.name, uploads.source(file), work.files)
            start(work, with_periods(work, lines))
        run = work.papers.get("periods")
        if run is None:
            return
        if run.state == "running":
            watch(run, "cancel_periods")
        elif run.error is not None:
            say_error(run.error)
        elif run.result is not None:
            result(run.result, run.mission, units)


def period_lines(draft: dict[str, Any]) -> str:
    """The periods of a mission, one a line."""
    rows = draft.get("periods") or ()
    return "\n".join(
        "; ".join(str(row.get(k, "")) for k in ("name", "starts", "until", "incident_area")) for row in rows
    )


def with_periods(work: Work, lines: str) -> Mission:
    """The mission with periods as they are typed. Raises InputError: a line that is no period, a file that is not
    there."""
    draft, base = dict(work.draft or {}), work.base
    layers = draft.get("layers", {})
    if base != work.files:
        layers, base = absolute(layers, base), work.files
    rows = []
    for number, line in enumerate(filter(None, map(str.strip, lines.splitlines())), 1):
        cells = [cell.strip() for cell in line.split(";")]
        if len(cells) not in (3, 4):
            raise InputError(f"Line {number} is no period.", remedy=f"Type it as: {EXAMPLE}.", field="Periods")
        name, starts, until, area = (*cells, "")[:4]
        held = area or str(layers.get("incident_area", ""))
        if area and (work.files / intake.safe_name(area)).is_file():
            held = intake.safe_name(area)
        elif area:
            held = str((work.base / area).resolve()) if work.base.joinpath(area).is_file() else area
        rows.append({"name": name, "starts": starts, "until": until, "incident_area": held})
    return mission_from_dict({**draft, "layers": layers, "periods": rows}, base=base)


def start(work: Work, mission: Mission) -> None:
    """Plan the sequence in the background."""
    before = work.papers.get("periods")
    if before is not None:
        before.cancel()
    work.papers["periods"] = Run(mission, partial(staged_job, lent=work.lend()), in_turn=True).start()


def staged_job(mission: Mission, progress: Callable[[str, float], None], lent: Any = None) -> Staged:
    """As `siteplanner staged` does."""
    return staged(mission, progress, lent)


def result(found: Staged, mission: Mission, units: Units) -> None:
    """One spot or moving, period by period, and the page to take along."""
    rows = [tuple(row) for row in telling.period_rows(found, units)]
    st.html(
        f'<div class="sp-answer"><p class="watch">{named(telling.headline(found, units))}</p></div>'
        + style.table(rows, HEAD)
        + style.bullets("note", telling.total_lines(found))
    )
    st.download_button(
        "Page of the periods", partial(_page, found, mission), "staged.pdf", "application/pdf", on_click="ignore",
        key="staged_pdf",
    )  # fmt: skip


def _page(found: Staged, mission: Mission) -> bytes:
    from siteplanner.outputs.staged import staged_pdf

    return staged_pdf(found, mission)
