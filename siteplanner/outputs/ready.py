"""The page of readiness, its table and record, and the fleet file with a take-down in it, into one folder."""

from __future__ import annotations

import calendar
from pathlib import Path
from typing import Any, Literal

from siteplanner.mission.fleet import Fleet
from siteplanner.mission.readiness import Ready
from siteplanner.outputs.sheets.fonts import short
from siteplanner.outputs.sheets.printing import content_pdf
from siteplanner.outputs.sheets.sheet_words import named
from siteplanner.outputs.switch import put
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import csv_text
from siteplanner.outputs.write import json_text
from siteplanner.planning.telling import readiness as telling
from siteplanner.planning.telling.units import units_named

HEAD = ("unit", "can_go", "what", "state", "value", "limit", "by", "words")


def ready_content(found: Ready, units: Literal["us", "metric", "both"]) -> dict[str, Any]:
    """Plain data for `ready.typ`."""
    reader = units_named(units).first
    return {
        "title": "Which unit can go",
        "mission": short(found.fleet.name, 90),
        "note": found.on.isoformat(),
        "aid": PLANNING_AID,
        "made": found.on.isoformat(),
        "headline": telling.headline(found),
        "units": telling.unit_rows(found, named(34)),
        "duties": [[short(u.unit.name, 40), telling.duty_rows(u, reader, named(60))] for u in found.units],
    }


def ready_pdf(found: Ready, units: Literal["us", "metric", "both"]) -> bytes:
    """The page of readiness."""
    at = calendar.timegm(found.on.timetuple())
    return content_pdf(ready_content(found, units), "ready", paper="letter", at=at)


def write_ready(
    found: Ready, folder: Path, units: Literal["us", "metric", "both"] = "both", new: tuple[str, Fleet] | None = None
) -> list[Path]:
    """`ready.pdf`, `ready.csv`, `ready.json`, and the new fleet file (its name, the fleet); all or nothing.

    Raises OutputError for a folder that cannot be written.
    """
    record = telling.ready_record(found)
    rows = [
        {"unit": u["name"], "can_go": telling.VERDICTS[u["verdict"]], **{k: d[k] for k in HEAD[2:]}}
        for u in record["units"]
        for d in u["duties"]
    ]
    files = {
        "ready.json": json_text(record).encode(),
        "ready.csv": csv_text(HEAD, rows).encode("utf-8-sig"),
        "ready.pdf": ready_pdf(found, units),
    }
    if new is not None:
        files[new[0]] = fleet_text(new[1], as_json=new[0].endswith(".json")).encode()
    return put(folder, files)


def fleet_text(fleet: Fleet, *, as_json: bool) -> str:
    """A fleet as the text of a fleet file; what is not stated is left out."""
    import tomli_w

    held = fleet.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return json_text(held) if as_json else tomli_w.dumps(held)
