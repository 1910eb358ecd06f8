"""Two plans of the earlier work held against each other: the lines of `siteplanner compare`, and its drawing."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from siteplanner.app import style
from siteplanner.app.earlier import Earlier, record_of
from siteplanner.app.figure import drawing
from siteplanner.app.frame import say_error, units_now
from siteplanner.app.labels import Units, plain
from siteplanner.errors import InputError
from siteplanner.outputs.pictures.two_plans import two_plans_svg
from siteplanner.outputs.words.text import shown
from siteplanner.planning.plan.compare import compare
from siteplanner.planning.plan.comparison import Comparison
from siteplanner.planning.telling.compare import comparison_lines


def compare_two(rows: Sequence[Earlier], when: Sequence[str]) -> None:
    """Choose two kept plans and see what changed from one to the other. `when`: when each was made, in words."""
    if len(rows) < 2:
        return
    called = [f"{plain(item.name)}, {plain(made)}" for item, made in zip(rows, when, strict=True)]
    st.html(style.head("What changed between two plans"))
    left, right = st.columns(2)
    places = range(len(rows))
    old = left.selectbox("Before", places, index=1, format_func=lambda k: called[k], key="compared_before")
    new = right.selectbox("After", places, index=0, format_func=lambda k: called[k], key="compared_after")
    if not st.button("Compare them", key="compare_plans"):
        return
    try:
        found = compare(record_of(rows[old]), record_of(rows[new]))
    except InputError as error:
        say_error(error)
        return
    units = units_now()
    st.html(lines_html(found, units))
    drawing(two_plans_svg(found, units.first), "Before and after", "two_plans")


def lines_html(found: Comparison, units: Units) -> str:
    """The lines, each an item."""
    return "<ul>" + "".join(f"<li>{shown(line)}</li>" for line in comparison_lines(found, units.first)) + "</ul>"
