"""Named points: who serves each, what it costs, and which of them the commander requires."""

from __future__ import annotations

from typing import Any

import streamlit as st

from siteplanner.app import style
from siteplanner.app.figure import put
from siteplanner.app.labels import Units, plain
from siteplanner.app.pressing import press
from siteplanner.app.session import Work
from siteplanner.mission import mission_from_dict
from siteplanner.outputs.words.text import named
from siteplanner.planning.plan.require import TOLD, require, required_now, served_from
from siteplanner.planning.telling.answer import point_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.options import missed_words


def section(work: Work, units: Units) -> None:
    """One line a point; a mark requires it, and the spots are ranked again at once."""
    plan, planned = work.plan, work.planned
    assert plan is not None
    assert planned is not None
    if not plan.points:
        return
    st.html(style.head("Named points"))
    st.caption("Mark the points that must be served: the judged spots are ranked again at once.")
    own = {p.name for p in planned.points if p.required}
    wanted = set(own)
    for number, point in enumerate(plan.points):
        key = f"require_{work.edition}_{id(planned)}_{number}"
        fixed = point.name in own or plan.judge is None
        st.session_state.setdefault(key, point.required)
        # nothing of the box changes with the ranking: a press under way would be lost with it
        box, told = st.columns([4, 5], vertical_alignment="center")
        if box.checkbox(plain(point.name), key=key, disabled=fixed, help=_help(fixed)):
            wanted.add(point.name)
        told.html(f'<p class="sp-small">{named(point_words(point, served_from(plan, number), units))}</p>')
    if not plan.set_aside:  # who serves a missed point is asked of all judged spots
        put(style.bullets("check", [missed_words(p, units) for p in plan.missed_points]), st.container())
    if wanted != required_now(plan):
        with st.spinner("Ranking the judged spots again"):
            _require(work, wanted)
        st.rerun()
    if required_now(plan) != own:
        for finding in plan.findings:
            if finding.code in TOLD:
                words = said(finding, units)
                st.html(style.note("out", "What it costs.", words.message))
        _offer_run(work, required_now(plan) - own)


def _help(fixed: bool) -> str | None:
    return "The mission requires this point: change it there and plan again." if fixed else None


def _require(work: Work, names: set[str]) -> None:
    """The ranking under what is required now; the run's own plan again where nothing is left of it."""
    plan, planned = work.plan, work.planned
    assert plan is not None
    assert planned is not None
    back = names == required_now(planned) and plan.mission.weights == planned.mission.weights
    work.plan = planned if back else require(plan, names)
    work.chosen = work.asked = None


def _offer_run(work: Work, names: frozenset[str]) -> None:
    """A run that requires these points from the start: it also tries the ground around what is best then."""
    press(st, "Plan again with this required", _run_required, work, names, key="run_required")


def _run_required(work: Work, names: frozenset[str]) -> str:
    draft: dict[str, Any] = dict(work.draft or {})
    site = dict(draft.get("site") or {})
    held = site.get("required_points") or []
    site["required_points"] = sorted({*([held] if isinstance(held, str) else held), *names})
    draft["site"] = site
    mission = mission_from_dict(draft, base=work.base)
    work.draft = draft
    work.begin_plan(mission)
    return "run"
