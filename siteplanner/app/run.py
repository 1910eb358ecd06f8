"""Run: progress by stage, cancel, and afterwards what was done, found and ruled out."""

from __future__ import annotations

import streamlit as st

from siteplanner.app import pace, style
from siteplanner.app.earlier import pace_file
from siteplanner.app.frame import finding_note, go, say_error, units_now, work_now
from siteplanner.app.labels import by_severity, plain
from siteplanner.app.pressing import press
from siteplanner.app.running import Run
from siteplanner.app.session import Work, pace_kind
from siteplanner.planning.study.progress import SHARES
from siteplanner.planning.telling.limits import nearest_to_pass_words
from siteplanner.planning.telling.reuse import reused_sentences
from siteplanner.planning.telling.screen import done_words, left_words, machine_time_words, progress_words


def page() -> None:
    """Progress while a run goes on, its record afterwards."""
    work = work_now()
    if work.atlas is not None and work.atlas.in_front:
        from siteplanner.app import atlas_answer

        atlas_answer.page(work, units_now())
        return
    run = work.run
    if run is None:
        st.info("No plan is running. Choose a mission on the first page.")
        if st.button("Go to the first page", type="primary"):
            go("start")
        return
    st.subheader(plain(run.mission.name), anchor=False)
    if run.state == "running":
        watch(run)
        return
    if run.state == "done" and not run.seen:
        work.take_finished()
        go("decide")
    if run.state == "cancelled":
        st.warning(
            "The run was canceled. What was calculated so far is reused when you run it again."
            + (" The plan before it is still there." if work.plan is not None else "")
        )
    if run.error is not None:
        say_error(run.error)
    if run.state != "done":
        press(st, "Run it again", work.begin_plan, run.mission, None, work.run_of, type="primary")
        if work.atlas is not None:
            press(st, "Back to the answer from the atlas", work.atlas.to_front)
    if run.state == "done":
        record(work, run)


@st.fragment(run_every=0.6)
def watch(run: Run) -> None:
    """The bar, the stages, and the button that stops it; the page is drawn again at the end."""
    if run.state != "running":
        st.rerun()
    earlier = pace.earlier_run(pace_file(), pace_kind(run.mission))
    left = left_words(pace.seconds_left(run.stage, run.stage_part, run.stage_s, dict(run.stages), earlier))
    words = progress_words(run.stage, run.share, run.elapsed_s)
    st.progress(run.share, text=plain(f"{words}, {left}" if left else words))
    if run.stopping:
        st.button("Stopping at the next step", disabled=True, key="cancel_run")
    else:
        press(st, "Cancel", run.cancel, key="cancel_run")
    done = dict(run.stages)
    rows = [
        (
            ("✓ " if name in done else "▸ " if name == run.stage else "   ") + name,
            f"{done[name]:.1f} s" if name in done else "now" if name == run.stage else "",
        )
        for name in SHARES
    ]
    st.html(style.table(rows, figures=(1,)))
    st.caption(
        "You may close or leave this page; the run goes on and the plan is kept on this computer. The first run "
        "on a machine takes up to a minute longer. The time left is an estimate."
    )


def record(work: Work, run: Run) -> None:
    """What the run did, for the one who wants to know."""
    plan = work.planned
    if plan is None:
        return
    st.success(done_words(plan, run.seconds))
    if work.note:
        st.warning(plain(work.note))
    kept = reused_sentences(plan.reused)
    if kept:
        st.info("Unchanged results were reused. " + " ".join(kept))
    if st.button("Show the answer", type="primary"):
        go("decide")
    left, right = st.columns([1, 2], gap="large")
    with left:
        st.html(
            style.head("Stages")
            + style.table([(n, f"{s:.1f}\u00a0s") for n, s in plan.timings_s.items()], ("Stage", "Time"), figures=(1,))
        )
    with right:
        units = units_now()
        rows = [
            (r.label, units.share(r.share, 1), units.share(r.only_share, 1), nearest_to_pass_words(r, units))
            for r in plan.rulings
        ]
        st.html(
            style.head("What ruled ground out")
            + style.table(
                rows,
                ("Limit", "Of the search ground", "Only this limit", "Smallest change that frees ground"),
                figures=(1, 2),
            )
        )
    if plan.findings:
        st.html(style.head("Findings") + "".join(finding_note(f) for f in by_severity(plan.findings)))
    st.html(style.head("Software") + style.table([(k, str(v)) for k, v in plan.software.items()]))
    st.caption(machine_time_words(run.seconds))
