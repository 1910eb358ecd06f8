"""The driver's part of the Spot page: the drive in figures, turn by turn, as texts to copy, and its profile."""

from __future__ import annotations

import streamlit as st

from siteplanner.app import coordinates, style
from siteplanner.app.copy_text import copy_text
from siteplanner.app.figure import drawing, put
from siteplanner.app.labels import Units
from siteplanner.outputs.sheets.figure_profile import profile_svg, profile_words
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Access, Evaluation, told_of
from siteplanner.planning.telling.directions import alternative_words, step_words
from siteplanner.planning.telling.lifeline import (
    hazards_beside_words,
    way_in_short,
    way_in_words,
    way_out_short,
    way_out_words,
)
from siteplanner.planning.telling.radio import radio_lines
from siteplanner.planning.telling.roads import not_these_words, unknown_along_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.screen import drive_lines, drive_words, hazards_words, last_leg_words
from siteplanner.planning.telling.words import TURN_BACK, starting_place
from siteplanner.roads.steps import Step


def driver(plan: Plan, ranked: RankedSpot, units: Units) -> None:
    """Everything for the drive."""
    e, s = ranked.evaluation, ranked.spot
    st.html(style.note("hurts", "WARNING.", TURN_BACK) + drive(e, units))
    put(turns(e, units))
    copies(ranked, units, coordinates.written(s.latitude, s.longitude, units.place))
    profile(plan, ranked, units)


def drive(e: Evaluation, units: Units) -> str:
    """The way there in figures."""
    a = e.access
    if a is None:
        return style.head("Drive") + style.note("out", "No way in.", "No road that the rig can use reaches this spot.")
    rows = [
        (f"From {clean(starting_place(e))}", drive_words(a.drive_distance_m, a.drive_time_s, units)),
        *(
            (
                f"From {clean(s.name)} instead",
                "no way for the rig"
                if s.drive_time_s is None
                else drive_words(s.drive_distance_m or 0.0, s.drive_time_s, units),
            )
            for s in a.by_staging[1:]
        ),
        ("Steepest", units.grade(a.worst_grade_pct, a.worst_grade_error_pct)),
        ("Last leg over ground", units.distance(a.last_leg_m)),
        ("Way in from staging", way_in_short(a, units)),
        ("Way out of the area", way_out_short(a, units)),
        ("Not known from the road data", "; ".join(unknown_along_words(a.unknown, units)) or "nothing"),
    ]
    return style.head("Drive") + style.table(rows)


def profile(plan: Plan, ranked: RankedSpot, units: Units) -> None:
    """Height, grades and hazards along the drive, and the same in words."""
    if drawing(profile_svg(plan, ranked, units), "Along the drive", "profile"):
        st.html(style.bullets("", [profile_words(plan, ranked, units)]))


def turns(e: Evaluation, units: Units) -> str:
    """The drive turn by turn."""
    if e.access is None:
        return ""
    rows = [
        (
            str(number),
            units.distance(step.running_m),
            step_words(step, units),
            hazards_words(step.hazards, units),
        )
        for number, step in enumerate(steps_of(e.access), 1)
    ]
    rows.append(("", units.distance(e.access.drive_distance_m), last_leg_words(e.access, units), ""))  # no step of it
    told = told_of(e.access)
    more = [
        (what, words)
        for what, words in (
            ("Other way", alternative_words(told.alternative, units)),
            ("Turning around", turning_words(told.turning, units)),
            ("One way in", way_in_words(e.access, units)),
            ("Way out", way_out_words(e.access, units)),
            ("Beside the drive", " ".join(hazards_beside_words(e.access, units))),
            ("Not these ways", not_these_words(told.not_these, units)),
        )
        if words
    ]
    return (
        style.head("Turn by turn")
        + style.table(rows, ("", "At", "Do", "Look out for"), figures=(1,))
        + (style.table(more) if more else "")
    )


def steps_of(access: Access) -> tuple[Step, ...]:
    """Decision points of the drive."""
    return told_of(access).steps


def directions_text(ranked: RankedSpot, units: Units, where: str) -> str:
    """The drive as plain lines, to be copied into a message or read over a radio."""
    access = ranked.evaluation.access
    if access is None:
        return ""
    return "\n".join(clean(line) for line in drive_lines(ranked, access, told_of(access), where, units))


def copies(ranked: RankedSpot, units: Units, where: str) -> None:
    """The same drive as two texts, each behind a button: plain lines for a message, words for a radio."""
    access = ranked.evaluation.access
    if access is None:
        return
    radio = radio_lines(ranked.spot, access, told_of(access), units=units.aloud)
    copy_text("Copy the directions", directions_text(ranked, units, where), "directions")
    copy_text("Copy the words for the radio", "\n".join(clean(line) for line in radio), "radio")
