"""Two plans of the earlier work held against each other: the lines of `siteplanner compare`, and its drawing."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from siteplanner.app import style
from siteplanner.app.earlier import Earlier, record_of
from siteplanner.app.figure import drawing
from siteplanner.app.frame import say_error, units_now
from siteplanner.app.labels import Units, plain
from siteplanner.app.pressing import press
from siteplanner.app.session import Work
from siteplanner.errors import InputError
from siteplanner.outputs.pictures.two_plans import two_plans_svg
from siteplanner.outputs.words.text import shown
from siteplanner.planning.plan.compare import compare
from siteplanner.planning.plan.comparison import Comparison
from siteplanner.planning.telling.compare import comparison_lines

COMPARED = "compared_plans"  # in the work's memory: the two that are held against each other


def compare_two(work: Work, rows: Sequence[Earlier], when: Sequence[str]) -> None:
    """Choose two kept plans and see what changed from one to the other. `when`: when each was made, in words.

    A plan is known by its folder: its place in the list changes with every plan that is made."""
    if len(rows) < 2:
        return
    held = {item.folder.name: item for item in rows}
    called = dict(
        zip(
            held,
            labels([f"{plain(item.name)}, {plain(made)}" for item, made in zip(rows, when, strict=True)]),
            strict=True,
        )
    )
    names, edition = list(held), rows[0].folder.name  # a plan that is new is offered as what came after
    st.html(style.head("What changed between two plans"))
    left, right = st.columns(2)
    old = left.selectbox("Before", names, index=1, format_func=called.__getitem__, key=f"before_{edition}")
    new = right.selectbox("After", names, index=0, format_func=called.__getitem__, key=f"after_{edition}")
    press(st, "Compare them", _compare, work, edition, key="compare_plans")
    if work.memory.get(COMPARED) != (old, new):
        return
    try:
        found = compare(record_of(held[old]), record_of(held[new]))
    except InputError as error:
        say_error(error)
        return
    units = units_now()
    st.html(lines_html(found, units))
    drawing(two_plans_svg(found, units.first), "Before and after", "two_plans")


def labels(words: Sequence[str]) -> list[str]:
    """The same, each once: a choice comes back by its words, and of two alike it would be the first."""
    out: list[str] = []
    for text in words:
        again = sum(1 for other in out if other == text or other.startswith(f"{text} (no. "))
        out.append(f"{text} (no. {again + 1})" if again else text)
    return out


def _compare(work: Work, edition: str) -> None:
    # what is chosen at the press, not what was when the button was drawn
    work.memory[COMPARED] = (st.session_state[f"before_{edition}"], st.session_state[f"after_{edition}"])


def lines_html(found: Comparison, units: Units) -> str:
    """The lines, each an item."""
    return "<ul>" + "".join(f"<li>{shown(line)}</li>" for line in comparison_lines(found, units.first)) + "</ul>"
