"""The hours that decide, and what the spot in hand carries: a panel each on the Decide page, by the sheet's words."""

from __future__ import annotations

import streamlit as st

from siteplanner.app import style
from siteplanner.app.labels import Units
from siteplanner.app.session import Work
from siteplanner.outputs.words.text import named
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.telling.answer import spoken
from siteplanner.planning.telling.capacity import ASSUMED, capacity_rows
from siteplanner.planning.telling.clock import go_rows


def section(work: Work, units: Units) -> None:
    """Both panels of the spot in hand, beside each other."""
    plan, chosen = work.plan, work.spot()
    if plan is None or chosen is None:
        return
    with st.container(key="hours"):
        left, right = st.columns(2, gap="medium")
    for place, text in ((left, hours_html(chosen, units)), (right, carries_html(plan, chosen, units))):
        if text:
            place.html(text)


def hours_html(ranked: RankedSpot, units: Units) -> str:
    """Go or no go: until when to dispatch, turn round, take down; '' where nothing of it was worked out."""
    rows = go_rows(ranked.on_site.clock, units)
    return style.head(f"Go or no go: {spoken(ranked.spot.name)}") + style.table(rows) if rows else ""


def carries_html(plan: Plan, ranked: RankedSpot, units: Units) -> str:
    """People and handsets at once, what they share, how late talk arrives, how far Wi-Fi reaches."""
    rows = capacity_rows(capacity_of(ranked.evaluation, plan.mission), units.first)
    head = style.head(f"What {spoken(ranked.spot.name)} carries")
    return head + style.table(rows) + f'<p class="sp-small">{named(ASSUMED)}</p>'
