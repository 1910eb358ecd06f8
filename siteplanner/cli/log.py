"""`siteplanner log DIR "text"`: write an entry into the log of a plan's folder; without a text, print the log."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from siteplanner.cli.screen import print_json, safe, stderr, stdout


def keep_log(
    folder: Annotated[Path, typer.Argument(readable=False, metavar="DIR", help="Folder of a plan.")],
    text: Annotated[str | None, typer.Argument(help="What was decided or seen; left out: print the log.")] = None,
    who: Annotated[str, typer.Option("--who", help="Who decided or saw it.")] = "",
    role: Annotated[str, typer.Option("--role", help="Position at the incident, e.g. COML.")] = "",
    kind: Annotated[
        Literal["decided", "seen", "done", "question"], typer.Option("--kind", help="question: open until answered.")
    ] = "decided",
    spot: Annotated[str, typer.Option("--spot", help="Spot that it is about.")] = "",
    at: Annotated[str | None, typer.Option("--at", help="When it happened, with its offset; now if left out.")] = None,
    fuel: Annotated[float | None, typer.Option("--fuel", help="Fuel in the tank, percent.")] = None,
    answers: Annotated[int | None, typer.Option("--answers", help="Number of the question that this answers.")] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print the log as a table (CSV).")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the log as JSON on stdout.")] = False,
) -> None:
    """Write an entry into the log of a plan's folder, or print the log as text or table."""
    from siteplanner.errors import InputError
    from siteplanner.mission.log import LOG, entry_from_dict, read_log
    from siteplanner.outputs.log import add_entry, log_csv
    from siteplanner.planning.telling.log import log_lines, log_rows, written_words

    if not folder.is_dir():
        raise InputError("There is no such folder.", remedy="Name the folder of a plan.", file=folder)
    if text is not None:
        now = datetime.now().astimezone().replace(microsecond=0)
        happened = now if at is None else moment_of(at, "--at")
        held = {"at": happened, "logged_at": now, "who": who, "role": role, "kind": kind, "text": text, "spot": spot}
        entry = entry_from_dict({**held, "fuel_pct": fuel, "answers": answers})
        known = {line.number: line.entry for line in read_log(folder).lines}
        asked = None if answers is None else known.get(answers)
        if answers is not None and (asked is None or asked.kind != "question"):
            raise InputError(
                f"Entry {answers} of this log is no question.",
                remedy="Print the log and name the number of an open question.",
                file=folder / LOG,
                field="--answers",
            )
        number = add_entry(folder, entry)
        stderr.print(safe(written_words(number, str(folder / LOG))), soft_wrap=True, highlight=False)
        return
    log = read_log(folder)
    if as_csv:
        print(log_csv(log), end="")
    elif as_json:
        print_json({"entries": log_rows(log)})
    else:
        for line in log_lines(log):
            stdout.print(safe(line), highlight=False, soft_wrap=True)


def moment_of(text: str, field: str) -> datetime:
    """A moment as it was typed. Raises InputError: not one, or without its offset."""
    from siteplanner.errors import InputError

    try:
        found: datetime | None = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise InputError(
            f"{text[:40]!r} is not a time with its offset.",
            remedy="Write 2026-06-01T05:30:00-06:00 (or ...Z).",
            field=field,
        )
    return found
