"""The page of readings: what they say, what is served now, where to walk next, and the table behind it."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.sheets.fonts import extra_fonts, name_in_text, short
from siteplanner.outputs.sheets.printing import content_pdf, made_at, made_words
from siteplanner.outputs.sheets.sheet_words import named
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.planning.plan.measured import Measured
from siteplanner.planning.plan.redrawn import Redrawn
from siteplanner.planning.telling import measured as telling
from siteplanner.planning.telling.units import reader_units

MOST_POINTS, MOST_READINGS = 10, 14


def measured_content(found: Measured, again: Redrawn) -> dict[str, Any]:
    """Plain data for `measured.typ`."""
    units = reader_units(found.mission).first
    plan = again.plan
    return {
        "title": "Readings of the signal",
        "mission": short(plan.mission.name, 90),
        "note": short(plan.mission.note, 160),
        "aid": PLANNING_AID,
        "made": made_words(plan),
        "headline": telling.headline(found, units),
        "lines": [
            telling.share_words(found, units, named(40)),
            telling.turn_line(again, found, units),
            telling.rank_line(again, found, named(40)),
        ],
        "warnings": [["CAUTION", name_in_text(t, 300)] for t in telling.warning_lines(found, units)],
        "points": telling.point_rows(found.points[:MOST_POINTS], units, named(34)),
        "ranks": telling.rank_rows(again.ranks, units, named(16)),
        "walks": telling.walk_lines(found, units, named(40)),
        "figures": telling.figure_rows(found),
        "classes": telling.class_rows(found, units),
        "readings": telling.reading_rows(found, MOST_READINGS, named(40)),
        "more": telling.more_readings(len(found.rows) - MOST_READINGS),
        "taken": telling.taken_line(found),
    }


def measured_pdf(found: Measured, again: Redrawn) -> bytes:
    """The page as PDF/UA-1."""
    mission = again.plan.mission
    content = measured_content(found, again)
    at = made_at(again.plan)
    return content_pdf(content, "measured", paper=mission.sheets.paper, extra=extra_fonts(mission), at=at)
