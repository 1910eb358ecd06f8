"""What stands in a plan's folder and the folders just below: the last plan, report, readings, log, incident file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from siteplanner.data.plain_text import MOST_PLAN, parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.incident import INCIDENT, Incident, load_incident
from siteplanner.mission.log import Log, read_log
from siteplanner.planning.plan.compare import read_plan
from siteplanner.planning.plan.records import DEEPEST, deeper_than, of, text

MOST_FOLDERS = 60


@dataclass(frozen=True)
class Papers:
    """Records as they stand in the files. `as_built`: the last plan.json of a trailer that stands; `measured`: the last
    measured.json; `again`: the last again.json. `plan_is_newer`: than the report. `again_is_last`: newer than report
    and readings."""

    plan: Mapping[str, Any]
    as_built: Mapping[str, Any] | None
    measured: Mapping[str, Any] | None
    log: Log
    incident: Incident
    plan_is_newer: bool = False
    skipped: tuple[str, ...] = ()
    again: Mapping[str, Any] | None = None
    again_at: str = ""
    again_is_last: bool = False


def papers_of(folder: Path, incident_file: Path | None = None) -> Papers:
    """What a folder and those just below have. `incident_file`: in place of the folder's own `incident.toml`.

    Raises InputError: no plan there, or a file at the top of the folder that cannot be read. One below that cannot be
    read is named in `skipped`.
    """
    if not folder.is_dir():
        raise InputError("There is no such folder.", remedy="Name the folder of a plan.", file=folder)
    below = sorted(p for p in folder.iterdir() if p.is_dir() and not p.name.startswith("."))[:MOST_FOLDERS]
    plans: list[tuple[str, Mapping[str, Any]]] = []
    built: list[tuple[str, Mapping[str, Any]]] = []
    read: list[tuple[str, Mapping[str, Any]]] = []
    asked: list[tuple[str, Mapping[str, Any]]] = []
    skipped = []
    for place in (folder, *below):
        try:
            if not (place / "plan.json").is_file():
                continue
            record = read_plan(place / "plan.json")
            made = text(of(record, "software", "created"))
            (built if isinstance(of(record, "as_built"), dict) else plans).append((made, record))
            if (place / "measured.json").is_file():
                read.append((made, _of_a_run(place / "measured.json", "stands")))
            if (place / "again.json").is_file():
                asked.append((made, _of_a_run(place / "again.json", "stay")))
        except InputError:
            if place == folder:
                raise
            skipped.append(place.name)
    if not plans and not built:
        raise InputError(
            "There is no plan.json in this folder.", remedy="Name the folder that a run has written.", file=folder
        )
    last = _last(plans) or _last(built)
    assert last is not None
    stands = _last(built)
    file = incident_file if incident_file is not None else folder / INCIDENT
    incident = load_incident(file) if incident_file is not None or file.is_file() else Incident()
    newer = stands is not None and last[0] > stands[0]
    measured, again = _last(read), _last(asked)
    before = max(made for made, _ in (*built, *read, ("", {})))
    return Papers(
        last[1],
        None if stands is None else stands[1],
        None if measured is None else measured[1],
        read_log(folder),
        incident,
        newer,
        tuple(skipped),
        None if again is None else again[1],
        "" if again is None else again[0],
        again is not None and again[0] > before,
    )


def _last(held: list[tuple[str, Mapping[str, Any]]]) -> tuple[str, Mapping[str, Any]] | None:
    """The one made last: the times are ISO 8601 in UTC, so that text orders them."""
    return max(held, key=lambda pair: pair[0]) if held else None


def _of_a_run(file: Path, key: str) -> Mapping[str, Any]:
    """What a command has written beside its plan.json. `key`: the table that it cannot be without."""
    record = parsed(read_text(file, MOST_PLAN, f"The {file.name} of a run"), as_json=True, file=file)
    if not isinstance(record, dict) or deeper_than(record, DEEPEST) or not isinstance(record.get(key), dict):
        raise InputError(
            f"This is not the {file.name} of a run.", remedy=f"Run `siteplanner {file.stem}` again.", file=file
        )
    return record
