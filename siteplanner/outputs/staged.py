"""A staged mission: the outputs of each period in a folder of its own, and the page of the sequence above them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from siteplanner.mission import Mission
from siteplanner.outputs.sheets.fonts import extra_fonts, name_in_text, short
from siteplanner.outputs.sheets.printing import content_pdf, made_at, made_words
from siteplanner.outputs.sheets.sheet_words import named
from siteplanner.outputs.switch import put
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from siteplanner.outputs.write import json_text, write_outputs
from siteplanner.planning.plan.staged import Staged
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.telling import staged as telling
from siteplanner.planning.telling.units import reader_units


def staged_content(found: Staged, mission: Mission) -> dict[str, Any]:
    """Plain data for `staged.typ`."""
    units = reader_units(mission).first
    return {
        "title": "Operational periods in sequence",
        "mission": short(mission.name, 90),
        "note": short(mission.note, 160),
        "aid": PLANNING_AID,
        "made": made_words(found.plans[0]),
        "headline": name_in_text(telling.headline(found, units, named(40)), 600),
        "periods": telling.period_rows(found, units, named(40)),
        "totals": telling.total_lines(found),
    }


def staged_pdf(found: Staged, mission: Mission) -> bytes:
    """The page of the sequence."""
    content, extra = staged_content(found, mission), extra_fonts(mission)
    return content_pdf(content, "staged", paper=mission.sheets.paper, extra=extra, at=made_at(found.plans[0]))


def write_staged(found: Staged, mission: Mission, folder: Path, progress: Progress | None = None) -> list[Path]:
    """`period_1` and so on with each period's outputs, then `staged.pdf`, `staged.txt`, `staged.json`.

    Raises OutputError for a folder that cannot be written.
    """
    units = reader_units(mission).first
    for number, plan in enumerate(found.plans, 1):
        write_outputs(plan, folder / f"period_{number}", progress=progress)
    files = {
        "staged.pdf": staged_pdf(found, mission),
        "staged.txt": "".join(f"{clean(line)}\n" for line in telling.staged_lines(found, units)).encode(),
        "staged.json": json_text(telling.staged_record(found, units)).encode(),
    }
    return put(folder, files)
