"""What is written of a trailer that stands: map, sheets, record and report, in a folder of their own."""

from __future__ import annotations

import json
import os
from pathlib import Path

from siteplanner.errors import OutputError
from siteplanner.outputs.write import write_outputs
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.study.progress import Progress

FILES = (
    "plan.json", "coverage.tif", "commander.pdf", "driver.pdf", "crew.pdf", "print_map.pdf",
    "briefing.txt", "map.html", "as_built_report.toml", "package.zip",
)  # fmt: skip
"""Those of WRITERS that are of one place; `package.zip` has them all."""


def write_as_built(plan: Plan, folder: Path, progress: Progress | None = None) -> list[Path]:
    """Write FILES into a folder. Raises OutputError where it holds a plan already: that is what the report is held
    against, and it would be gone."""
    refuse_a_plan(folder, again="as_built")
    return write_outputs(plan, folder, only=FILES, progress=progress)


def refuse_a_plan(folder: Path, again: str = "") -> None:
    """Raises OutputError where a plan stands in a folder; one with that key in its record may be replaced."""
    if _has_a_plan(folder / "plan.json", again):
        raise OutputError(
            "A plan stands in this folder; it would be replaced.",
            remedy="Name another folder with --out, for what was planned is needed to read what was built.",
            file=folder,
        )


def _has_a_plan(file: Path, again: str) -> bool:
    """Whether a file stands there that is not one of an earlier run of the same kind."""
    if not os.path.lexists(file):
        return False
    if not again:
        return not (file.parent / "again.json").is_file()
    try:
        return not json.loads(file.read_text("utf-8")).get(again)
    except (OSError, ValueError, AttributeError, RecursionError):
        return True
