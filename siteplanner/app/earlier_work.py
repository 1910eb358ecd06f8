"""Earlier work on the first page: plans kept on this computer, newest first, to open again or delete."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import Any

import streamlit as st

from siteplanner.app import earlier
from siteplanner.app.compare_plans import compare_two
from siteplanner.app.earlier import Earlier
from siteplanner.app.frame import go, is_open, page_id
from siteplanner.app.labels import error_text, plain
from siteplanner.app.pressing import press
from siteplanner.app.private import root
from siteplanner.app.running import Run
from siteplanner.app.session import Work, others_open
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.mission.log import read_log
from siteplanner.outputs.words.text import clean
from siteplanner.planning.telling.log import log_lines
from siteplanner.planning.telling.screen import elapsed_words

OPENING = "Opening the plan"
WRITING = "The plan in hand is being written to this computer; it will be at the top of this list."
MOST_LINES = 40  # of a log, the latest; all of it is on the page After arrival


def page(work: Work) -> None:
    """The list; while a plan is being opened, a word on that."""
    run = work.opening
    if run is not None and run.state == "running":
        watch(run)
        return
    if work.run is not None and work.run.writing:
        watch_writing(work.run)  # the list is drawn again once that plan is in it
    if run is not None and not run.seen:
        run.seen = True
        if run.state == "done":
            work.take(run.result)
            go("decide")
        elif run.error is not None:
            what, remedy = error_text(run.error)
            st.warning(f"{what} {remedy} Its mission is open below.")
    taken = others_open(work, page_id(), is_open)
    rows = [e for e in earlier.listed() if e.owner not in taken]
    if not rows:
        st.info("Nothing is kept yet. Every plan that runs to its end is kept on this computer.")
        return
    for number, item in enumerate(rows):
        entry(work, item, number)
    compare_two(work, rows, [when(item.made, seconds=True) for item in rows])
    st.caption(
        f"The newest {earlier.MAX_KEPT} plans are kept in {plain(str(root()))}. Anyone using this "
        "account can open them, no other account can; work that is open on another page now is not shown."
    )


def entry(work: Work, item: Earlier, number: int) -> None:
    """One plan: its name, when it was made, its best spot, and what can be done with it."""
    words, button, more = st.columns([6, 2, 2], vertical_alignment="center")
    words.markdown(f"**{plain(item.name)}**, {plain(when(item.made))}")
    words.text(clean(item.best))
    record(item)
    if not item.whole:
        words.caption("Only its mission can be opened: run it again for the ranking.")
    named = " ".join(plain(item.name).split()[:4])
    press(
        button,
        "Open",
        reopen,
        work,
        item,
        key=f"open_{item.folder.name}",
        width="stretch",
        help=f"Open {named}",
        type="primary" if number == 0 else "secondary",
    )
    if more.button(
        "Delete",
        key=f"forget_{item.folder.name}",
        width="stretch",
        help="Delete this plan and its files from this computer",
    ):
        really_delete(item)


def record(item: Earlier) -> None:
    """What its log says, where anybody has added to what the run wrote."""
    try:
        lines = log_lines(read_log(item.folder))
    except InputError:
        return
    if len(lines) > 1:
        with st.expander("Log"):
            for line in lines[-MOST_LINES:]:
                st.text(clean(line))


@st.dialog("Delete this plan?")
def really_delete(item: Earlier) -> None:
    """Asked once more: what is deleted does not come back."""
    st.write(
        f"{plain(item.name)}, {plain(when(item.made))}. The plan and its own copy of your files are removed "
        "from this computer."
    )
    if st.button("Delete it", type="primary"):
        earlier.forget(item)
        st.rerun()


def reopen(work: Work, item: Earlier) -> None:
    """Open the mission, and its plan in the background. Raises InputError: the mission is not one any more."""
    mission = mission_from_dict(item.draft, base=item.base)
    work.open(item.draft, item.base, f"Earlier work of {when(item.made)}")
    work.kept_at, work.report = item.folder, earlier.report_of(item.folder)
    changed = earlier.changed_files(item, mission)
    if changed:
        work.note = (
            f"Since this plan was made, these files have changed or gone: {', '.join(changed)}. "
            "The plan shows them as they were."
        )
    if item.whole:
        work.opening = Run(mission, partial(open_job, item=item)).start()
    else:
        work.opening = None
        work.begin_check()


def open_job(mission: Any, progress: Any, item: Earlier) -> Any:
    """The saved plan; nothing is computed again."""
    progress(OPENING, 0.1)
    return earlier.opened(item)


@st.fragment(run_every=0.4)
def watch(run: Run) -> None:
    """Until the plan is there."""
    if run.state != "running":
        st.rerun()
    st.progress(0.5, text=plain(elapsed_words(OPENING, run.elapsed_s)))


@st.fragment(run_every=0.4)
def watch_writing(run: Run) -> None:
    """Until the plan on the screen is also on the disk."""
    if not run.writing:
        st.rerun()
    st.caption(WRITING)


def when(made: str, seconds: bool = False) -> str:
    """A stored moment in this computer's own time, with its offset."""
    try:
        moment = datetime.fromisoformat(made.replace("Z", "+00:00")).astimezone()
    except ValueError:
        raise InputError("The time of a saved plan is broken.", remedy="Delete it.") from None
    offset = moment.strftime("%z")
    clock = "%H:%M:%S" if seconds else "%H:%M"
    return f"{moment.strftime(f'%a %d %b %Y, {clock}')} (UTC{offset[:3]}:{offset[3:]})"
