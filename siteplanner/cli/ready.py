"""`siteplanner ready FLEET.toml`: which unit can go, what is due, what is overdue. 1: none can go."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import typer

from siteplanner.cli.screen import print_json, safe, stderr, stdout


def show_ready(
    fleet_file: Annotated[Path, typer.Argument(readable=False, metavar="FLEET.toml", help="The fleet file.")],
    on: Annotated[str | None, typer.Option("--on", help="The day, e.g. 2026-06-01; today if left out.")] = None,
    closed_by: Annotated[
        Path | None,
        typer.Option("--closed", readable=False, metavar="TAKEDOWN.toml", help="A take-down to enter first."),
    ] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out/ready"
    ),
    units: Annotated[Literal["us", "metric", "both"], typer.Option("--units", help="Of the page.")] = "both",
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
) -> None:
    """Say which unit of a fleet can go; enter a take-down into a new fleet file."""
    from siteplanner.mission.fleet import load_fleet, load_take_down
    from siteplanner.mission.readiness import closed, ready
    from siteplanner.outputs.ready import write_ready
    from siteplanner.planning.telling.readiness import closed_words, ready_lines, ready_record
    from siteplanner.planning.telling.terminal import wrote_words
    from siteplanner.planning.telling.units import units_named

    day = _day(on)
    fleet, new = load_fleet(fleet_file), None
    if closed_by is not None:
        record = load_take_down(closed_by)
        fleet = closed(fleet, record, str(closed_by))
        new = fleet_file.name, fleet
    found = ready(fleet, day)
    files = write_ready(found, out, units, new)
    if as_json:
        print_json(ready_record(found))
    else:
        for line in ready_lines(found, units_named(units).first):
            stdout.print(safe(line), highlight=False)
    if new is not None:
        words = closed_words(record.unit, str((out / new[0]).resolve()))
        stderr.print(safe(words), soft_wrap=True, highlight=False)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    print(f"Page: {(out / 'ready.pdf').resolve()}", file=sys.stderr if as_json else sys.stdout)
    if all(u.verdict == "cannot_go" for u in found.units):
        raise typer.Exit(1)


def _day(text: str | None) -> date:
    from siteplanner.errors import InputError

    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text[:40]!r} is not a day.", remedy="Write it as 2026-06-01.", field="--on") from None
