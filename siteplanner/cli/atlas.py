"""`siteplanner atlas`: a region judged before the call comes, and incidents answered from it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from siteplanner.cli.screen import bar_of, named, print_json, safe, stderr, stdout
from siteplanner.errors import Cancelled, InputError

if TYPE_CHECKING:
    from siteplanner.planning.atlas.answer import Quick

atlas = typer.Typer(no_args_is_help=True, help="A region judged before the call comes; incidents answered from it.")


@atlas.command()
def build(
    region: Annotated[
        Path, typer.Argument(readable=False, help="The region's file (TOML or JSON): a mission's tables and [region].")
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder of the atlas; one that is there is gone on with.")],
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", help="Address of a running dask scheduler whose workers see the same files."),
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, max=512, help="Processes of this machine. Default: cores.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Judge the places of a region and keep them with their service; only what has changed is judged again."""
    from siteplanner.mission.region import load_region
    from siteplanner.outputs.atlas import write_region
    from siteplanner.planning.atlas.build import Pace, build_atlas
    from siteplanner.planning.atlas.folder import read_value
    from siteplanner.planning.atlas.ground import with_shared
    from siteplanner.planning.atlas.settlements import read_towns, region_service
    from siteplanner.planning.telling.atlas import built_words, pace_words, service_words, settlement_words
    from siteplanner.planning.telling.units import reader_units

    loaded = load_region(region)
    units = reader_units(loaded.mission).first
    try:
        with bar_of(quiet) as progress, named(region):

            def heard(pace: Pace) -> None:
                progress(pace_words(pace, units), 0.9 * pace.share)

            built = build_atlas(region, out, heard=heard, scheduler=scheduler, workers=workers)
            ground = with_shared(loaded, read_value(built.folder / "roads"))
            tiles = sorted(path.name for path in (built.folder / "tiles").iterdir())
            towns = read_towns(loaded, ground)
            service = region_service(
                ground, built.folder, tiles, towns, lambda share: progress("Who can be served", 0.9 + 0.1 * share)
            )
            files = write_region(built.folder, loaded.mission.name, ground.heights, service, units)
    except (KeyboardInterrupt, Cancelled):
        kept = f"What is finished is in {out.resolve()}; the same command goes on from there."
        raise Cancelled("Interrupted.", remedy=kept) from None
    if as_json:
        print_json(
            {
                "atlas": str(built.folder),
                "places": built.places,
                "tiles": built.tiles,
                "tiles_unchanged": built.tiles_before,
                "judged_now": built.judged,
                "served_share": service.share,
                "settlements": {
                    one.town.name: {"chance": one.chance, "place": None if one.place is None else one.place.name}
                    for one in service.settlements
                },
            }
        )
    else:
        stdout.print(safe(built_words(built, units)), highlight=False)
        stdout.print(safe(service_words(service, units)), highlight=False)
        for one in service.settlements:
            stdout.print(safe(f"{one.town.name}: {settlement_words(one, units)}"), highlight=False)
    page = next((f for f in files if f.suffix == ".html"), out)
    print(f"Map: {page.resolve()}", file=sys.stderr if as_json else sys.stdout)


@atlas.command("plan")
def plan_from(
    folder: Annotated[Path, typer.Argument(readable=False, metavar="ATLAS", help="The folder of a finished atlas.")],
    mission: Annotated[Path, typer.Argument(readable=False, help="The mission file of the day (TOML or JSON).")],
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out"
    ),
    only_quick: Annotated[
        bool, typer.Option("--quick", help="Only the answer from the atlas; no layer of the ground is opened.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Answer an incident from an atlas at once, then judge the best places exactly and write what `plan` writes."""
    from siteplanner.mission import load_mission
    from siteplanner.planning.atlas.answer import exact_plan, open_atlas, quick_answer
    from siteplanner.planning.telling.units import reader_units

    loaded = load_mission(mission)
    units = reader_units(loaded).first
    with bar_of(quiet) as progress, named(mission):
        quick = quick_answer(open_atlas(folder), loaded, progress)
    _say(quick, units, to_stderr=as_json or not only_quick)
    if only_quick or not quick.ranked:
        if as_json:
            print_json(_record(quick))
        raise typer.Exit(0 if quick.ranked else 1)
    with bar_of(quiet) as progress, named(mission):
        from siteplanner.cli.results import tell_run
        from siteplanner.outputs.write import write_outputs

        try:
            made = exact_plan(quick, loaded, progress)
        except InputError as error:
            raise error.placed(
                what=f"{error.what} The places above are the atlas's answer; they are not judged exactly yet."
            ) from error
        files = write_outputs(made, out, progress=progress)
    tell_run(made, files, out, as_json)


def _say(quick: Quick, units: Any, to_stderr: bool) -> None:
    from rich.table import Table

    from siteplanner.planning.telling.atlas import level_words, others_words, quick_row, quick_set_words, quick_words
    from siteplanner.planning.telling.score import behind_words

    screen = stderr if to_stderr else stdout
    if others := others_words(quick):
        stderr.print(safe(others), highlight=False)
    screen.print(safe(quick_words(quick, units)), style="bold", highlight=False)
    if not quick.ranked:
        return
    table = Table("rank", "spot", "score", "grid", "served", "slope", "drive", "mast")
    for ranked in quick.listed:
        table.add_row(*(safe(cell) for cell in quick_row(ranked, units)))
    screen.print(table)
    if behind := behind_words(quick.listed):
        screen.print(safe(behind), highlight=False)
    if level := level_words(quick):
        screen.print(safe(level), highlight=False)
    for size, one in quick.sets.items():
        if size > 1:
            names = tuple(r.spot.name for r in one.spots)
            screen.print(safe(quick_set_words(size, one.share, names, units)), highlight=False)


def _record(quick: Quick) -> dict[str, Any]:
    return {
        "from_atlas": True,
        "in_reach": quick.in_reach,
        "no_way": quick.no_way,
        "shut": quick.shut,
        "outside_share": quick.outside,
        "other_layers": list(quick.others),
        "spots": [
            {
                "rank": r.rank,
                "name": r.spot.name,
                "latitude": r.spot.latitude,
                "longitude": r.spot.longitude,
                "grid_reference": r.spot.grid_reference,
                "score": r.score,
                "share": None if r.evaluation.coverage is None else r.evaluation.coverage.share,
                "drive_time_s": None if r.evaluation.access is None else r.evaluation.access.drive_time_s,
            }
            for r in quick.ranked
        ],
        "sets": {str(k): {"share": s.share, "spots": [r.spot.name for r in s.spots]} for k, s in quick.sets.items()},
    }
