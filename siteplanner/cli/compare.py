"""`siteplanner compare OLD.json NEW.json`: what changed between two plans. 0 done, whether they differ or not."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from siteplanner.cli.screen import print_json, safe, stdout


def show_comparison(
    old: Annotated[Path, typer.Argument(readable=False, metavar="OLD.json", help="plan.json of the earlier run.")],
    new: Annotated[Path, typer.Argument(readable=False, metavar="NEW.json", help="plan.json of the later run.")],
    picture: Annotated[Path | None, typer.Option(readable=False, help="Draw it into this file, .html or .svg.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
) -> None:
    """Say what changed between two plans: files, settings, roads, spots, figures, and why."""
    from siteplanner.planning.plan.compare import compare as held_against
    from siteplanner.planning.plan.compare import read_plan
    from siteplanner.planning.telling.compare import comparison_lines, comparison_record, units_of

    was, now = read_plan(old), read_plan(new)
    found = held_against(was, now)
    units = units_of(now)
    if picture is not None:
        from siteplanner.outputs.pictures.two_plans import write_two_plans

        write_two_plans(found, picture, units)
    if as_json:
        print_json(comparison_record(found, units))
        return
    for line in comparison_lines(found, units):
        stdout.print(safe(line), highlight=False)
