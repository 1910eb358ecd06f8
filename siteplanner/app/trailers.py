"""One, two or three trailers: where each should stand, when it is on air, what it adds."""

from __future__ import annotations

from typing import Any

import streamlit as st

from siteplanner.app import style
from siteplanner.app.labels import Units
from siteplanner.app.session import Work
from siteplanner.outputs.words.text import named
from siteplanner.planning.choose.sets import TrailerSet
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.set_rows import COLUMNS, count_words, missed_by_set, set_rows
from siteplanner.planning.telling.sets import (
    AS_ALONE,
    channel_sentence,
    required_sentence,
    runner_up_sentence,
    second_sentence,
    set_sentence,
)

SIZE = "trailers"  # how many the page shows, in the work's memory


def section(work: Work, units: Units) -> None:
    """How many trailers, and the best places for them together."""
    plan = work.plan
    assert plan is not None
    if not plan.sets:
        return
    st.html(style.head("How many trailers?"))
    sizes = sorted(plan.sets)
    held = work.memory.get(SIZE)
    picked: Any = st.segmented_control(
        "Trailers",
        sizes,
        key=f"trailers_{work.edition}_{len(sizes)}",
        default=held if held in sizes else sizes[0],
        format_func=count_words,
        label_visibility="collapsed",
    )
    size = int(picked or held or sizes[0])
    if size != (held or sizes[0]):
        work.memory[SIZE] = size
        st.rerun()  # the map rings their places
    st.html(set_html(plan, size if size in sizes else sizes[0], units))


def shown_set(work: Work) -> TrailerSet | None:
    """The set that the page shows; None for one trailer."""
    size = work.memory.get(SIZE, 1)
    return work.plan.sets.get(size) if work.plan is not None and size > 1 else None


def set_html(plan: Plan, size: int, units: Units) -> str:
    """The set in a sentence, a row a trailer, and what else there is to know."""
    one = plan.sets[size]
    rows = set_rows(one, units)
    lines = [required_sentence(one, units), missed_by_set(one, units), channel_sentence(one, units)]
    if size > 1:
        lines.append(AS_ALONE)
    if size == 2:
        beside = plan.beside_first
        apart = beside is not None and {r.spot.key for r in beside.spots} != {r.spot.key for r in one.spots}
        lines += [second_sentence(plan, units) if apart else "", runner_up_sentence(plan, units)]
    more = "".join(f'<p class="sp-small">{named(line)}</p>' for line in lines if line)
    return f'<p class="sp-over">{named(set_sentence(one, units))}</p>' + style.table(rows, COLUMNS) + more
