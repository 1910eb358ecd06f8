"""Many areas in one go: each mission planned and written into a folder of its own, one table of them all.

A mission that fails is told in the table and the next one goes on. The table is written anew after every mission, so
that an interruption loses none that is finished. What two missions share (elevation, roads) is read once.
"""

from __future__ import annotations

import os
import re
import tempfile
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from siteplanner.errors import Cancelled, OutputError, SiteplannerError
from siteplanner.mission import load_mission
from siteplanner.outputs.words.text import csv_text
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.telling.units import reader_units

SUMMARY = "summary.csv"
State = Literal["planned", "no spot passes", "failed"]


@dataclass(frozen=True)
class Outcome:
    """What became of one mission. `folder` holds its outputs; empty when it failed."""

    mission: Path
    state: State
    folder: str
    row: dict[str, Any]  # of the summary


def plan_many(
    missions: Sequence[Path],
    out: Path,
    *,
    only: Collection[str] | None = None,
    progress: Progress | None = None,
    told: Callable[[Outcome], None] = lambda outcome: None,
) -> list[Outcome]:
    """Plan missions one after the other into folders below `out`; `told` hears of each when it is done.

    `only` as in `write_outputs`. Raises Cancelled (what `progress` raises) and OutputError when the table cannot be
    written; whatever else goes wrong is an outcome.
    """
    report = progress or (lambda stage, share: None)
    outcomes: list[Outcome] = []
    kept: Any = None
    for number, (mission, name) in enumerate(zip(missions, folder_names(missions), strict=True)):

        def step(stage: str, share: float, number: int = number, name: str = name) -> None:
            report(f"{number + 1} of {len(missions)}, {name}: {stage}", (number + share) / len(missions))

        outcome, kept = _one(Path(mission), out, name, kept, only, step)
        outcomes.append(outcome)
        _write_summary(outcomes, out)
        told(outcome)
    return outcomes


def _one(
    mission: Path, out: Path, name: str, kept: Any, only: Collection[str] | None, step: Progress
) -> tuple[Outcome, Any]:
    from siteplanner.outputs.write import write_outputs
    from siteplanner.planning.plan.pipeline import plan

    start = time.monotonic()
    row: dict[str, Any] = {"mission_file": str(mission), "mission": None, "state": "failed", "folder": None}
    try:
        loaded = load_mission(mission)
        row["mission"] = loaded.name
        made = plan(loaded, lambda stage, share: step(stage, 0.8 * share), kept)
        kept = made.kept
        write_outputs(made, out / name, only=only, progress=lambda stage, share: step(stage, 0.8 + 0.2 * share))
    except Cancelled:
        raise
    except SiteplannerError as error:
        row["problem"] = str(error)
    except MemoryError:
        row["problem"] = "This machine ran out of memory. Remedy: Set a larger search.cell_size_m or a smaller radius."
    except Exception as error:  # a fault of the program in one area must not keep the others from their plan
        row["problem"] = (
            f"The program failed ({type(error).__name__}: {error}). Remedy: Plan this mission alone. If it fails "
            "again, send its files to your administrator."
        )
    else:
        row |= {"state": "planned" if made.spots else "no spot passes", "folder": name, **_best(made)}
    row["seconds"] = round(time.monotonic() - start, 1)
    return Outcome(mission, row["state"], row["folder"] or "", row), kept


def _best(plan: Plan) -> dict[str, Any]:
    units = reader_units(plan.mission)
    from siteplanner.planning.telling.words import recommendation

    row: dict[str, Any] = {"recommendation": recommendation(plan, units.first)}
    row["warnings"] = sum(f.severity == "warning" for f in plan.findings)
    if plan.best is None:
        return row
    e = plan.best.evaluation
    return row | {
        "spot": e.spot.name,
        "latitude": round(e.spot.latitude, 6),
        "longitude": round(e.spot.longitude, 6),
        "grid_reference": e.spot.grid_reference,
        "score_of_100": round(plan.best.score, 2),
        "area_served_pct": round(100 * e.coverage.share, 1) if e.coverage else None,
        "drive_min": round(e.access.drive_time_s / 60, 1) if e.access else None,
        "on_air_likely_min": round(e.on_air.likely_min, 0) if e.on_air else None,
        "on_air_mean_min": round(e.on_air.mean_min, 0) if e.on_air else None,
    }


COLUMNS = (
    "mission_file", "mission", "state", "folder", "spot", "latitude", "longitude", "grid_reference", "score_of_100",
    "area_served_pct", "drive_min", "on_air_likely_min", "on_air_mean_min", "warnings", "recommendation",
    "problem", "seconds",
)  # fmt: skip


def _write_summary(outcomes: Sequence[Outcome], out: Path) -> None:
    table = csv_text(COLUMNS, [outcome.row for outcome in outcomes])
    try:
        out.mkdir(parents=True, exist_ok=True)
        handle, staged = tempfile.mkstemp(prefix=".writing-", dir=out)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(table.encode("utf-8-sig", "replace"))
            os.replace(staged, out / SUMMARY)
        except BaseException:
            Path(staged).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OutputError(
            f"The table of all missions cannot be written ({error.strerror or error}).",
            remedy="Choose a folder that you may write to, or close the program that has the file open.",
            file=out / SUMMARY,
        ) from error


def folder_names(missions: Sequence[Path]) -> list[str]:
    """One folder name a mission: the file's name, or its folder's where the file is just called mission; told apart by
    a number where two would be the same. Only letters, digits, dot, dash and underscore of any script."""
    out: list[str] = []
    taken: set[str] = set()
    for mission in missions:
        path = Path(mission).resolve()
        word = path.parent.name if path.stem.lower() == "mission" else path.stem
        name = base = re.sub(r"[^\w.-]+", "_", word).strip("._") or "mission"
        number = 1
        while name.casefold() in taken:
            number += 1
            name = f"{base}-{number}"
        taken.add(name.casefold())
        out.append(name)
    return out
