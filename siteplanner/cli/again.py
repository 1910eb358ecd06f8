"""`siteplanner again PLAN.json MISSION.toml`: plan a changed mission while the trailer runs. 1: it must not stay."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from siteplanner.cli.screen import bar_of, named, note_run, print_json, safe, say_finding, stderr, stdout


def plan_again(
    plan_file: Annotated[
        Path, typer.Argument(readable=False, metavar="PLAN.json", help="plan.json in force, as planned or AS BUILT.")
    ],
    mission_file: Annotated[Path, typer.Argument(readable=False, metavar="MISSION.toml", help="The changed mission.")],
    report_file: Annotated[
        Path | None,
        typer.Option("--report", readable=False, help="How the trailer stands; as that plan says if left out."),
    ] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out/again"
    ),
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Say whether to stay or to move under a changed mission, and what a move costs; write its map and sheets."""
    from siteplanner.mission import load_mission
    from siteplanner.mission.report import load_report
    from siteplanner.outputs.as_built import refuse_a_plan
    from siteplanner.planning.plan.compare import read_plan

    record, mission = read_plan(plan_file), load_mission(mission_file)
    report = None if report_file is None else load_report(report_file)
    refuse_a_plan(out)
    with bar_of(quiet) as progress:
        progress("Starting (the first run on a machine takes up to a minute more)", 0.0)
        from siteplanner.outputs.again import write_again
        from siteplanner.planning.plan.again import planned_again

        with named(mission_file if report_file is None else report_file):
            made = planned_again(record, mission, report, plan_file, progress)
        files = write_again(made, record, out, progress)
    from siteplanner.outputs.log import log_folder
    from siteplanner.planning.telling.again import again_lines, again_record, headline
    from siteplanner.planning.telling.terminal import wrote_words
    from siteplanner.planning.telling.units import reader_units

    units = reader_units(mission).first
    note_run(log_folder(plan_file), headline(made, units), made.stay.evaluation.spot.name)
    if as_json:
        print_json(again_record(made, units))
    else:
        for line in again_lines(made, units):
            stdout.print(safe(line), highlight=False, soft_wrap=True)
    for finding in made.plan.findings:
        say_finding(finding, mission)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    print(f"Page: {(out / 'again.pdf').resolve()}", file=sys.stderr if as_json else sys.stdout)
    if made.must_act:
        raise typer.Exit(1)
