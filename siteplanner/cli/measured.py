"""`siteplanner measured PLAN.json READINGS.csv`: readings held against the plan, and the plan made again with them."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from siteplanner.cli.screen import bar_of, note_run, print_json, safe, stderr, stdout


def show_measured(
    plan_file: Annotated[
        Path, typer.Argument(readable=False, metavar="PLAN.json", help="plan.json of the run that you follow.")
    ],
    readings_file: Annotated[
        Path, typer.Argument(readable=False, metavar="READINGS", help="CSV, GPX with levels, or a report.")
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out/measured"
    ),
    mission_file: Annotated[
        Path | None,
        typer.Option("--mission", readable=False, help="The mission file, in place of the one in the plan."),
    ] = None,
    layers: Annotated[
        Path | None, typer.Option("--layers", readable=False, help="Folder of the mission, where it is not found.")
    ] = None,
    spot: Annotated[
        str | None, typer.Option("--spot", help="Where the trailer stands; the first spot if left out.")
    ] = (None),
    track: Annotated[
        Path | None, typer.Option("--track", readable=False, help="GPX of the walk, for a table without places.")
    ] = None,
    crs: Annotated[str | None, typer.Option("--crs", help="Of columns x and y, e.g. EPSG:32612.")] = None,
    cell: Annotated[list[str] | None, typer.Option("--cell", help="A cell of this trailer; may be repeated.")] = None,
    taken: Annotated[
        str, typer.Option("--taken", help="outdoors, vehicle, building_traditional or building_efficient.")
    ] = "outdoors",
    on_air: Annotated[str | None, typer.Option("--on-air", help="When the cell came on air, with its offset.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Hold readings of the signal against a plan; write map, ranking and sheets with what they say."""
    from siteplanner.data.readings import read_readings
    from siteplanner.demo import sample_folders
    from siteplanner.mission import load_mission
    from siteplanner.mission.report import load_report
    from siteplanner.outputs.log import log_folder
    from siteplanner.outputs.measured import write_measured
    from siteplanner.planning.plan.compare import read_plan
    from siteplanner.planning.plan.level_readings import level_readings, with_levels
    from siteplanner.planning.plan.measured import measured, standing_of
    from siteplanner.planning.plan.mission_place import mission_of_record
    from siteplanner.planning.plan.redrawn import redrawn
    from siteplanner.planning.study.load import load_study
    from siteplanner.planning.study.progress import Stages
    from siteplanner.planning.study.reuse import Reuse
    from siteplanner.planning.telling.measured import headline, measured_lines, measured_record, share_words
    from siteplanner.planning.telling.terminal import wrote_words
    from siteplanner.planning.telling.units import reader_units

    record = read_plan(plan_file)
    mission = (
        load_mission(mission_file)
        if mission_file is not None
        else mission_of_record(record, plan_file, layers, sample_folders())
    )
    earliest = _moment(on_air) or mission.times.dispatch
    of_report = readings_file.suffix.lower() in (".toml", ".json")
    levels = load_report(readings_file).levels if of_report else ()
    readings = (
        None
        if of_report
        else read_readings(readings_file, track=track, crs=crs, cells=cell or (), taken=taken, earliest=earliest)
    )
    with bar_of(quiet) as progress:
        reuse = Reuse()
        study = load_study(mission, Stages(progress), reuse)
        readings = level_readings(levels, study, str(readings_file)) if readings is None else readings
        readings = with_levels(readings, record, study)
        found = measured(study, standing_of(record, study, spot, plan_file), readings)
        again = redrawn(found, record, progress, reuse.kept)
        files = write_measured(found, again, out, progress)
    units = reader_units(mission).first
    words = f"{headline(found, units)} {share_words(found, units)}"
    note_run(log_folder(plan_file), words, found.standing.spot.name, kind="seen")
    result: dict[str, Any] = measured_record(found, again, units)
    if as_json:
        print_json(result)
    else:
        for line in measured_lines(found, again, units):
            stdout.print(safe(line), highlight=False)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    page = next((f for f in files if f.name == "measured.pdf"), out)
    print(f"Page: {page.resolve()}", file=sys.stderr if as_json else sys.stdout)


def _moment(text: str | None) -> datetime | None:
    from siteplanner.errors import InputError

    if text is None:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise InputError(
            f"{text[:40]!r} is not a time with its offset.",
            remedy="Write 2026-06-01T05:30:00-06:00 (or ...Z).",
            field="--on-air",
        )
    return found
