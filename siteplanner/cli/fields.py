"""`siteplanner fields`: every field of a mission file, with default, range, unit, meaning and source."""

from __future__ import annotations

from typing import Annotated

import typer

from siteplanner.cli.screen import print_json, safe, stdout


def show_fields(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[WORD]...", help="Only fields that contain them.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
) -> None:
    """List every field of a mission file: default, range, unit, meaning, source; or those that hold a word."""
    from siteplanner.errors import InputError
    from siteplanner.mission.fields import found
    from siteplanner.planning.telling.fields import field_lines, field_record

    held = found(words or [])
    if not held:
        raise InputError(
            f"No field of a mission contains {' and '.join(map(repr, words or []))}.",
            remedy="Try a shorter word; `siteplanner fields` lists all of them.",
            field="WORD",
        )
    if as_json:
        print_json([field_record(f) for f in held])
        return
    table = None
    for field in held:
        if field.table != table:
            table = field.table
            head = f"[[{table[:-2]}]]" if table.endswith("[]") else f"[{table}]" if table else "at the top of the file"
            stdout.print(f"\n{safe(head)}", style="bold", highlight=False)
        first, *more = field_lines(field)
        stdout.print(safe(first), highlight=False)
        for line in more:
            stdout.print(f"    {safe(line)}", highlight=False)
