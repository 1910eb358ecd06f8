"""Many areas in one go: each mission planned and written into a folder of its own, one table of them all.

A mission that fails is told in the table and the others go on. The table is written anew after every mission, so that
an interruption loses none that is finished; a finished mission whose files and parameters are still the same is not
planned again. What two missions share (elevation, roads) is read once by each process that plans.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from siteplanner.data.records import sha256_of
from siteplanner.errors import Cancelled, OutputError, SiteplannerError
from siteplanner.mission import Mission, layer_kinds, load_mission
from siteplanner.mission.layers import Layers
from siteplanner.outputs.words.text import csv_text
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.magnetic import day_of
from siteplanner.planning.study.fingerprint import fingerprint
from siteplanner.planning.study.layers import paths_of
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.study.reuse import Kept
from siteplanner.planning.telling.cost import cost_words
from siteplanner.planning.telling.units import reader_units
from siteplanner.planning.workers import Done, crew_of

SUMMARY = "summary.csv"
FINISHED = ".finished"  # folder of what says that a mission is done, and from what
State = Literal["planned", "no spot passes", "failed"]


@dataclass(frozen=True)
class Outcome:
    """What became of one mission. `folder` holds its outputs; empty when it failed. `before`: by an earlier run."""

    mission: Path
    state: State
    folder: str
    row: dict[str, Any]  # of the summary
    before: bool = False


@dataclass(frozen=True)
class Job:
    """One mission to plan: into the folder `name` below `out`. `again`: also where it is finished."""

    mission: Path
    name: str
    out: Path
    only: tuple[str, ...] | None
    again: bool
    version: str


def plan_many(
    missions: Sequence[Path],
    out: Path,
    *,
    only: Collection[str] | None = None,
    progress: Progress | None = None,
    told: Callable[[Outcome], None] = lambda outcome: None,
    scheduler: str | None = None,
    workers: int | None = 1,
    again: bool = False,
) -> list[Outcome]:
    """Plan missions into folders below `out`; `told` hears of each when it is done. The outcomes are in their order.

    `only` as in `write_outputs`. `workers`: processes of this machine, one after the other for 1, None one a core;
    `scheduler`: address of a running one instead, whose workers see the same files under the same names. `again`: plan
    also what an earlier run has finished. Raises Cancelled (what `progress` raises), OutputError when the table cannot
    be written, InputError or SiteplannerError for a scheduler that does not answer; whatever else goes wrong is an
    outcome.
    """
    from importlib.metadata import version

    kept_names = None if only is None else tuple(only)
    jobs = [
        Job(Path(mission).resolve() if scheduler or workers != 1 else Path(mission), name, out.resolve(), kept_names,
            again, version("siteplanner"))
        for mission, name in zip(missions, folder_names(missions), strict=True)
    ]  # fmt: skip
    outcomes: dict[int, Outcome] = {}
    told_progress = _Shared(progress or (lambda stage, share: None), jobs)
    try:
        with crew_of(scheduler, workers, len(jobs), out) as crew:
            for done in crew.results(finished_or_planned, jobs, told_progress.heard):
                outcomes[done.number] = outcome = _outcome(missions[done.number], done)
                told_progress.end(done.number)
                _write_summary([outcomes[n] for n in sorted(outcomes)], out)
                told(outcome)
    finally:
        _LENT.clear()
    return [outcomes[n] for n in sorted(outcomes)]


class _Shared:
    """One rising share for missions that are planned at once."""

    def __init__(self, report: Progress, jobs: Sequence[Job]) -> None:
        self._report, self._jobs = report, jobs
        self._shares = [0.0] * len(jobs)
        self._last, self._most = "", 0.0

    def heard(self, number: int, stage: str, share: float) -> None:
        if number >= 0:
            self._shares[number] = max(self._shares[number], share)
            self._last = f"{number + 1} of {len(self._jobs)}, {self._jobs[number].name}: {stage}"
        self._most = max(self._most, sum(self._shares) / max(len(self._jobs), 1))
        self._report(self._last or "Starting the workers", self._most)

    def end(self, number: int) -> None:
        self._shares[number] = 1.0


def _outcome(mission: Path, done: Done[Outcome]) -> Outcome:
    if done.value is not None:
        return Outcome(Path(mission), done.value.state, done.value.folder, done.value.row, done.value.before)
    if isinstance(done.error, (Cancelled, KeyboardInterrupt)):
        raise done.error
    row = {"mission_file": str(mission), "state": "failed", "problem": _problem(done.error)}
    return Outcome(Path(mission), "failed", "", row)


def _problem(error: BaseException | None) -> str:
    if isinstance(error, SiteplannerError):
        return str(error)
    return (
        f"The program failed ({type(error).__name__}: {error}). Remedy: Plan this mission alone. If it fails again, "
        "send its files to your administrator."
    )


_LENT: dict[str, Kept] = {}
"""What the mission before leaves to the next one of this process."""


def finished_or_planned(job: Job, step: Progress) -> Outcome:
    """One mission planned and written, or what an earlier run made of it where nothing has changed since."""
    from importlib.metadata import version

    from siteplanner.outputs.write import write_outputs
    from siteplanner.planning.plan.pipeline import plan

    start = time.monotonic()
    row: dict[str, Any] = {"mission_file": str(job.mission), "mission": None, "state": "failed", "folder": None}
    try:
        if job.version != version("siteplanner"):
            raise SiteplannerError(
                f"This worker has version {version('siteplanner')} of the program, not {job.version}.",
                remedy="Install the same version on every worker.",
            )
        loaded = load_mission(job.mission)
        row["mission"] = loaded.name
        key = key_of(loaded, job)
        held = None if job.again else _finished(job, key)
        if held is not None:
            row |= held | {"mission_file": str(job.mission)}
            return Outcome(job.mission, row["state"], row["folder"], row, before=True)
        units = reader_units(loaded).first
        made = plan(
            loaded,
            lambda stage, share: step(stage, 0.8 * share),
            _LENT.get("kept"),
            told=lambda fit: step(cost_words(fit, units), 0.0),
        )
        _LENT["kept"] = made.kept
        files = write_outputs(
            made, job.out / job.name, only=job.only, progress=lambda stage, share: step(stage, 0.8 + 0.2 * share)
        )
    except Cancelled:
        raise
    except SiteplannerError as error:
        row["problem"] = str(error)
    except MemoryError:
        row["problem"] = "This machine ran out of memory. Remedy: Set a larger search.cell_size_m or a smaller radius."
    except Exception as error:  # a fault of the program in one area must not keep the others from their plan
        row["problem"] = _problem(error)
    else:
        row |= {"state": "planned" if made.spots else "no spot passes", "folder": job.name, **_best(made)}
        row["seconds"] = round(time.monotonic() - start, 1)
        _finish(job, key, row, files)
    row["seconds"] = round(time.monotonic() - start, 1)
    return Outcome(job.mission, row["state"], row["folder"] or "", row)


def key_of(mission: Mission, job: Job) -> str:
    """What a finished mission was made from: parameters, files by what is in them, day, version, files asked for."""
    roles = [role for role in Layers.model_fields if layer_kinds(role)]
    files = [mission.path(path) for role in roles for path in paths_of(mission, role)]
    fonts = [mission.path(path) for path in mission.sheets.extra_fonts]
    return fingerprint((mission, files, fonts, day_of(mission), job.version, job.only))


def _finished(job: Job, key: str) -> dict[str, Any] | None:
    """The row of a mission that an earlier run has finished from the same, and whose files stand as it left them."""
    try:
        held = json.loads((job.out / FINISHED / f"{job.name}.json").read_text(encoding="utf-8"))
        if held["key"] != key:
            return None
        for name, digest in held["files"].items():
            if sha256_of(job.out / job.name / Path(name).name) != digest:
                return None
        row = held["row"]
        return row if isinstance(row, dict) and row["folder"] == job.name else None
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return None


def _finish(job: Job, key: str, row: Mapping[str, Any], files: Sequence[Path]) -> None:
    """Say that a mission is finished; where that cannot be written the next run plans it again."""
    try:
        digests = {path.name: sha256_of(path) for path in files}
        text = json.dumps({"key": key, "row": row, "files": digests})
        (job.out / FINISHED).mkdir(exist_ok=True)
        _replace(job.out / FINISHED / f"{job.name}.json", text.encode())
    except OSError:
        pass


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
        _replace(out / SUMMARY, table.encode("utf-8-sig", "replace"))
    except OSError as error:
        raise OutputError(
            f"The table of all missions cannot be written ({error.strerror or error}).",
            remedy="Choose a folder that you may write to, or close the program that has the file open.",
            file=out / SUMMARY,
        ) from error


def _replace(path: Path, content: bytes) -> None:
    """A file put in place in one step. Raises OSError."""
    handle, staged = tempfile.mkstemp(prefix=".writing-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        os.replace(staged, path)
    except BaseException:
        Path(staged).unlink(missing_ok=True)
        raise


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
