"""`siteplanner staged MISSION.toml`: operational periods as one sequence. 1: no spot or sequence for all of them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from siteplanner.cli.screen import bar_of, named, note_run, print_json, safe, stderr, stdout


def plan_staged(
    mission_file: Annotated[
        Path, typer.Argument(readable=False, metavar="MISSION.toml", help="A mission with [[periods]].")
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out/staged"
    ),
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Plan the operational periods of a mission as one: one spot for all of them, or moving, and what that costs."""
    from siteplanner.mission import load_mission

    mission = load_mission(mission_file)
    with bar_of(quiet) as progress:
        progress("Starting (the first run on a machine takes up to a minute more)", 0.0)
        from siteplanner.outputs.staged import write_staged
        from siteplanner.planning.plan.staged import staged

        with named(mission_file):
            found = staged(mission, progress)
        files = write_staged(found, mission, out, progress)
    from siteplanner.planning.telling.staged import headline, staged_lines, staged_record
    from siteplanner.planning.telling.terminal import wrote_words
    from siteplanner.planning.telling.units import reader_units

    units = reader_units(mission).first
    note_run(out, headline(found, units))
    if as_json:
        print_json(staged_record(found, units))
    else:
        for line in staged_lines(found, units):
            stdout.print(safe(line), highlight=False, soft_wrap=True)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    print(f"Page: {(out / 'staged.pdf').resolve()}", file=sys.stderr if as_json else sys.stdout)
    if found.single is None and found.moving is None:
        raise typer.Exit(1)
