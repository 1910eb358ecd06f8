"""`siteplanner arrived PLAN.json REPORT.toml`: the place as it stands against its plan. 0 done, 1 a limit is broken."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from siteplanner.cli.screen import bar_of, named, note_run, print_json, safe, say_finding, stderr, stdout


def judge_arrival(
    plan_file: Annotated[
        Path, typer.Argument(readable=False, metavar="PLAN.json", help="plan.json by which the crew was sent.")
    ],
    report_file: Annotated[Path, typer.Argument(readable=False, metavar="REPORT.toml", help="What the crew reported.")],
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out/as_built"
    ),
    mission_file: Annotated[
        Path | None, typer.Option("--mission", readable=False, help="The mission file, where the layers are not found.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Say how the trailer stands against its plan and whether a limit is broken; write map and sheets AS BUILT."""
    from siteplanner.demo import sample_folders
    from siteplanner.errors import Finding
    from siteplanner.mission import load_mission
    from siteplanner.mission.report import load_report
    from siteplanner.planning.plan.compare import read_plan

    report = load_report(report_file)
    record = read_plan(plan_file)
    changed = []
    if mission_file is not None:
        from siteplanner.planning.plan.arrived import changed_settings

        names = changed_settings(record, load_mission(mission_file))
        facts = {"names": tuple(names[:5]), "more": max(len(names) - 5, 0)}
        changed = [Finding("mission_changed", "check", str(mission_file), facts)] if names else []
    with bar_of(quiet) as progress:
        progress("Starting (the first run on a machine takes up to a minute more)", 0.0)
        from siteplanner.outputs.as_built import write_as_built
        from siteplanner.planning.plan.arrived import arrived, spot_row
        from siteplanner.planning.plan.judged_again import judged_again
        from siteplanner.planning.study.progress import Stages

        with named(report_file):
            spot_row(record, report.spot, str(plan_file))
        stages, folder = Stages(progress), None if mission_file is None else mission_file.parent
        again = judged_again(record, plan_file, folder, sample_folders(), stages)
        again = replace(again, changed=(*changed, *again.changed))
        with named(report_file):
            made = arrived(again, record, report, stages, plan_file)
        files = write_as_built(made, out, progress=progress)
    from siteplanner.outputs.log import log_folder
    from siteplanner.planning.telling.as_built import run_words
    from siteplanner.planning.telling.as_built_rows import as_built_lines, as_built_record
    from siteplanner.planning.telling.terminal import wrote_words
    from siteplanner.planning.telling.units import reader_units

    as_built, e = made.as_built, made.spots[0].evaluation
    assert as_built is not None
    words = run_words(as_built, reader_units(made.mission).first)
    note_run(log_folder(plan_file), words, as_built.planned.name, who=report.reported_by[:120], kind="seen")
    if as_json:
        print_json(as_built_record(as_built, e))
    else:
        for line in as_built_lines(as_built, e, reader_units(made.mission).first):
            stdout.print(safe(line), highlight=False, soft_wrap=True)
    for finding in (*made.findings, *e.findings):
        say_finding(finding, made.mission)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    shown = next((f for f in files if f.name == "map.html"), out)
    print(f"Map: {shown.resolve()}", file=sys.stderr if as_json else sys.stdout)
    if as_built.broken:
        raise typer.Exit(1)
