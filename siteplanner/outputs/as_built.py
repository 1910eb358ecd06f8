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
    if _has_a_plan(folder / "plan.json"):
        raise OutputError(
            "A plan stands in this folder; it would be replaced.",
            remedy="Name another folder with --out, for what was planned is needed to read what was built.",
            file=folder,
        )
    return write_outputs(plan, folder, only=FILES, progress=progress)


def _has_a_plan(file: Path) -> bool:
    """Whether a file stands there that is not one of an earlier report."""
    if not os.path.lexists(file):
        return False
    try:
        return not json.loads(file.read_text("utf-8")).get("as_built")
    except (OSError, ValueError, AttributeError, RecursionError):
        return True
