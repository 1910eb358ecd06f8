"""Planned again: every output of the changed plan, with the page of stay or move and its record, into one folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from siteplanner.outputs.as_built import refuse_a_plan
from siteplanner.outputs.sheets.fonts import extra_fonts, name_in_text, short
from siteplanner.outputs.sheets.printing import content_pdf, made_at, made_words
from siteplanner.outputs.sheets.sheet_words import named
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.write import json_text, write_outputs
from siteplanner.planning.plan.again import Again
from siteplanner.planning.plan.compare import compare
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.telling import again as telling
from siteplanner.planning.telling.compare import comparison_lines, comparison_record
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import reader_units

MOST_CHANGES = 10


def again_content(again: Again, changes: list[str]) -> dict[str, Any]:
    """Plain data for `again.typ`. `changes`: between the two plans, a line each."""
    plan, units = again.plan, reader_units(again.plan.mission).first
    return {
        "title": "Stay or move",
        "mission": short(plan.mission.name, 90),
        "note": telling.TALKS[again.verdict],
        "aid": PLANNING_AID,
        "made": made_words(plan),
        "headline": name_in_text(telling.headline(again, units, named(40)), 600),
        "area": telling.area_words(again, units),
        "breaks": [name_in_text(line, 300) for line in telling.breaks_lines(again, units, named(60))],
        "moves": telling.move_rows(again, units, named(40)),
        "parts": telling.part_rows(again, units),
        "points": telling.point_rows(again, units, named(40))[:20],
        "changes": [name_in_text(line, 300) for line in changes[:MOST_CHANGES]],
    }


def again_pdf(again: Again, record: Mapping[str, Any]) -> bytes:
    """The page alone. `record`: of the plan before."""
    return _pdf(
        again, comparison_lines(compare(record, plan_record(again.plan)), reader_units(again.plan.mission).first)
    )


def _pdf(again: Again, changes: list[str]) -> bytes:
    mission = again.plan.mission
    content, extra = again_content(again, changes), extra_fonts(mission)
    return content_pdf(content, "again", paper=mission.sheets.paper, extra=extra, at=made_at(again.plan))


def write_again(again: Again, record: Mapping[str, Any], folder: Path, progress: Progress | None = None) -> list[Path]:
    """Outputs of the changed plan with `again.json` and `again.pdf`. `record`: of the plan before.

    Raises OutputError where another plan stands in the folder: what was planned would be gone.
    """
    refuse_a_plan(folder)
    mission = again.plan.mission
    units = reader_units(mission).first
    found = compare(record, plan_record(again.plan))
    changes = comparison_lines(found, units)

    def saved(plan: Plan, path: Path) -> None:
        held = telling.again_record(again, units) | {"changes": comparison_record(found, units)}
        path.write_bytes(json_text(held).encode())

    def page(plan: Plan, path: Path) -> None:
        path.write_bytes(_pdf(again, changes))

    return write_outputs(again.plan, folder, progress=progress, more={"again.json": saved, "again.pdf": page})
