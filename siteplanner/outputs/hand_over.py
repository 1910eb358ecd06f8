"""The page for the next shift as PDF and text, its record, and the log as text and table, into one folder."""

from __future__ import annotations

import calendar
from datetime import UTC
from pathlib import Path
from typing import Any

from siteplanner.outputs.log import log_csv
from siteplanner.outputs.sheets.fonts import name_in_text, short
from siteplanner.outputs.sheets.printing import content_pdf
from siteplanner.outputs.sheets.sheet_words import named
from siteplanner.outputs.switch import put
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from siteplanner.outputs.write import json_text
from siteplanner.planning.plan.hand_over import HandOver
from siteplanner.planning.telling import hand_over as telling
from siteplanner.planning.telling.clock import clock_text
from siteplanner.planning.telling.log import activity_log_lines, moment, period_words, prepared_words
from siteplanner.planning.telling.units import NOT_KNOWN, Units

MOST_QUESTIONS, MOST_DECISIONS, MOST_POINTS, MOST_CHANNELS, MOST_COMING = 8, 6, 12, 12, 10
FILES = ("handover.pdf", "handover.txt", "handover.json", "log.txt", "log.csv")


def hand_over_content(h: HandOver, units: Units) -> dict[str, Any]:
    """Plain data for `hand_over.typ`."""
    i = h.incident
    questions, decisions = telling.question_lines(h, named(200), units), telling.decision_lines(h)
    left = max(len(questions) - MOST_QUESTIONS, 0) + max(len(decisions) - MOST_DECISIONS, 0)
    left += max(len(h.points) - MOST_POINTS, 0) + max(len(h.channels) + 1 - MOST_CHANNELS, 0)
    left += max(len(h.coming) - MOST_COMING, 0)
    return {
        "title": "Hand-over to the next shift",
        "mission": short(i.name or h.mission_name, 90),
        "note": clock_text(h.prepared_at),
        "aid": PLANNING_AID,
        "made": clock_text(h.prepared_at),
        "headline": name_in_text(telling.headline(h, units, named(40)), 400),
        "lines": telling.service_words(h, units),
        "stands": telling.stand_rows(h, units, named(60)),
        "fuel": telling.fuel_rows(h.fuel, units),
        "points": telling.point_rows(h.points[:MOST_POINTS], units, named(34)),
        "coming": telling.coming_rows(h, named(40))[:MOST_COMING],
        "questions": questions[:MOST_QUESTIONS],
        "decisions": [name_in_text(line, 220) for line in decisions[:MOST_DECISIONS]],
        "more": telling.left_words(left),
        "channel-head": list(telling.CHANNEL_HEAD),
        "channels": telling.channel_rows(h, named(60))[:MOST_CHANNELS],
        "form": [
            ["Incident number", short(i.number, 60) or NOT_KNOWN],
            ["Initiated", moment(i.initiated_at)],
            ["Operational period", period_words(i)],
            ["Objectives", name_in_text("; ".join(i.objectives), 300) or NOT_KNOWN],
            ["Special instructions", name_in_text(i.special_instructions, 300) or NOT_KNOWN],
            ["Prepared by", name_in_text(prepared_words(i), 120)],
        ],
    }


def hand_over_pdf(h: HandOver, units: Units, paper: str) -> bytes:
    """The page as PDF/UA-1."""
    at = calendar.timegm(h.prepared_at.astimezone(UTC).timetuple())
    return content_pdf(hand_over_content(h, units), "hand_over", paper="a4" if paper == "a4" else "letter", at=at)


def write_hand_over(h: HandOver, folder: Path, units: Units, paper: str = "letter") -> list[Path]:
    """FILES into a folder, all or nothing; what else stands there stays. Raises OutputError."""
    form = [clean_line(line) for line in telling.form_lines(h, units)]
    name = h.incident.name or h.mission_name
    activity = [clean_line(line) for line in activity_log_lines(h.log, h.incident, name, h.prepared_at)]
    files = {
        "handover.pdf": hand_over_pdf(h, units, paper),
        "handover.txt": ("\n".join(form) + "\n").encode(),
        "handover.json": json_text(telling.hand_over_record(h, units)).encode(),
        "log.txt": ("\n".join(activity) + "\n").encode(),
        "log.csv": log_csv(h.log).encode("utf-8-sig"),
    }
    return put(folder, files)


def clean_line(line: str) -> str:
    """A line without what a terminal would obey; its indent stays."""
    return line[: len(line) - len(line.lstrip(" "))] + clean(line)
