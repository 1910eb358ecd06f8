"""The commands, one function each; heavy imports inside them, so that `siteplanner --help` stays fast."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from siteplanner.cli.again import plan_again
from siteplanner.cli.arrived import judge_arrival
from siteplanner.cli.atlas import atlas
from siteplanner.cli.compare import show_comparison
from siteplanner.cli.fields import show_fields
from siteplanner.cli.guide import show_guide
from siteplanner.cli.handover import make_hand_over
from siteplanner.cli.log import keep_log
from siteplanner.cli.measured import show_measured
from siteplanner.cli.new import start_mission
from siteplanner.cli.ready import show_ready
from siteplanner.cli.results import print_explanation, print_layers, tell_run
from siteplanner.cli.screen import bar_of, named, print_json, say_cost, say_finding, stderr
from siteplanner.cli.staged import plan_staged
from siteplanner.demo import SAMPLES
from siteplanner.errors import Cancelled
from siteplanner.outputs.words.text import message

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

OutOption = Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")]
QuietOption = Annotated[bool, typer.Option("--quiet", help="No progress bar.")]
SchedulerOption = Annotated[
    str | None,
    typer.Option("--scheduler", help="Address of a running dask scheduler whose workers see the same files."),
]
WorkersOption = Annotated[
    int | None,
    typer.Option(
        "--workers", min=1, max=512, help="Processes of this machine; 1: one after the other. Default: cores."
    ),
]


def _say_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        print(f"siteplanner {version('siteplanner')}")
        raise typer.Exit


@app.callback()
def _before_all(
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """Where to park a towable communications trailer, how to get it there, how to raise and aim it."""


@app.command()
def demo(
    out: OutOption = Path("siteplanner_out/demo"),
    sample: Annotated[
        str, typer.Option(help=" ".join(f"{name}: {what}" for name, what in SAMPLES.items()))
    ] = "dunmarrow_county",
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Plan an invented sample mission and write everything."""
    from siteplanner.demo import sample_mission
    from siteplanner.errors import InputError

    if sample not in SAMPLES:
        raise InputError(
            f"There is no sample called {sample!r}.", remedy=f"Name one of {', '.join(SAMPLES)}.", field="--sample"
        )
    _plan(sample_mission(sample), out, as_json, quiet)


@app.command()
def plan(
    mission: Annotated[Path, typer.Argument(readable=False, help="The mission file (TOML or JSON).")],
    out: OutOption = Path("siteplanner_out"),
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Plan a mission: rule ground out, rank spots, write map, routes and sheets."""
    _plan(mission, out, as_json, quiet)


def _plan(mission_path: Path, out: Path, as_json: bool, quiet: bool) -> None:
    from siteplanner.mission import load_mission
    from siteplanner.outputs.sheets.fonts import extra_fonts

    mission = load_mission(mission_path)
    with named(mission_path):
        extra_fonts(mission)
    with bar_of(quiet) as progress:
        progress("Starting (the first run on a machine takes up to a minute more)", 0.0)
        from siteplanner.outputs.write import write_outputs
        from siteplanner.planning.plan.pipeline import plan as make_plan

        with named(mission_path):
            made = make_plan(mission, progress, told=lambda fit: say_cost(fit, mission))
        files = write_outputs(made, out, progress=progress)
    tell_run(made, files, out, as_json)


@app.command()
def batch(
    missions: Annotated[
        list[Path], typer.Argument(readable=False, help="Mission files (TOML or JSON), or folders with them.")
    ],
    out: OutOption = Path("siteplanner_out/batch"),
    scheduler: SchedulerOption = None,
    workers: WorkersOption = None,
    again: Annotated[bool, typer.Option("--again", help="Plan also what an earlier run has finished.")] = False,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Plan many missions, each into a folder of its own; one that fails does not stop the others."""
    from siteplanner.outputs.batch import SUMMARY, Outcome, plan_many

    done: list[Outcome] = []

    def told(outcome: Outcome) -> None:
        done.append(outcome)
        style = {"planned": "green", "failed": "bold red"}.get(outcome.state, "yellow")
        words = outcome.row.get("recommendation") or outcome.row.get("problem") or ""
        state = f"{outcome.state} before, nothing has changed" if outcome.before else outcome.state
        stderr.print(
            message(f"{outcome.mission}: {state}. {words}"),
            style=style,
            markup=False,
            highlight=False,
            soft_wrap=True,
        )

    files = _mission_files(missions)
    try:
        with bar_of(quiet) as progress:
            plan_many(files, out, progress=progress, told=told, scheduler=scheduler, workers=workers, again=again)
    except (KeyboardInterrupt, Cancelled):
        kept = f"What is finished is in {out.resolve()}; run the others again."
        raise Cancelled(f"Interrupted after {len(done)} of {len(files)} missions.", remedy=kept) from None
    if as_json:
        print_json([outcome.row for outcome in sorted(done, key=lambda outcome: files.index(outcome.mission))])
    print(f"Table: {(out / SUMMARY).resolve()}", file=sys.stderr if as_json else sys.stdout)
    states = {outcome.state for outcome in done}
    raise typer.Exit(2 if "failed" in states else 1 if "no spot passes" in states else 0)


def _mission_files(given: list[Path]) -> list[Path]:
    """Files as given; a folder stands for the mission files in it and in the folders just below."""
    from siteplanner.errors import InputError

    out: list[Path] = []
    for path in given:
        if not path.is_dir():
            out.append(path)
            continue
        found = sorted({*path.glob("*.toml"), *path.glob("*/mission.toml")})
        if not found:
            raise InputError(
                "There is no mission file in this folder.",
                remedy="Name a folder with a .toml file in it, or with folders that have a mission.toml in them.",
                file=path,
            )
        out += found
    return out


@app.command()
def check(
    mission: Annotated[Path, typer.Argument(readable=False, help="The mission file (TOML or JSON).")],
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Vet a mission's layers only: how each is used, findings and remedies."""
    from siteplanner.mission import load_mission

    loaded = load_mission(mission)
    with bar_of(quiet) as progress:
        from siteplanner.outputs.sheets.fonts import extra_fonts
        from siteplanner.planning.plan.detail import forecast_of
        from siteplanner.planning.study.cost import fit_of
        from siteplanner.planning.study.load import load_study
        from siteplanner.planning.study.progress import Stages
        from siteplanner.planning.telling.cost import cost_record
        from siteplanner.planning.telling.inputs import holds_words

        with named(mission):
            extra_fonts(loaded)
            _, forecast = forecast_of(loaded)
            study = load_study(loaded, Stages(progress))
            fit = fit_of(study)
    rows: list[dict[str, Any]] = [
        {
            "layer": i.role,
            "file": i.file,
            "crs": i.crs,
            "unit": i.unit,
            "extent_lonlat": i.extent_lonlat,
            "count": i.count,
            "detail": holds_words(i.held),
        }
        for i in (*study.inputs, *forecast)
    ]
    if as_json:
        from siteplanner.planning.telling.findings import finding_record

        found = [finding_record(f) for f in study.findings]
        print_json({"layers": rows, "findings": found, "estimate": cost_record(fit)})
    else:
        print_layers(rows)
    say_cost(fit, loaded)
    for finding in study.findings:
        say_finding(finding, loaded)


# unknown options are let through so that a western longitude (-113.2) is read as a number
@app.command(context_settings={"ignore_unknown_options": True})
def explain(
    plan_file: Annotated[
        Path, typer.Argument(readable=False, metavar="PLAN.json", help="plan.json of an earlier run.")
    ],
    latitude: Annotated[float, typer.Argument(help="WGS 84 degrees, north positive.")],
    longitude: Annotated[float, typer.Argument(help="WGS 84 degrees, east positive; west is negative.")],
    layers: Annotated[
        Path | None, typer.Option("--layers", readable=False, help="Folder of the mission, where it is not found.")
    ] = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Say why a point is in or out, with every figure."""
    from siteplanner.data.plain_text import MOST_PLAN, parsed, read_text
    from siteplanner.demo import sample_folders
    from siteplanner.planning.plan.two_runs import check_one_run

    check_one_run(plan_file)
    record = parsed(read_text(plan_file, MOST_PLAN, "The plan.json of a run"), as_json=True, file=plan_file)
    with bar_of(quiet) as progress:
        from siteplanner.planning.plan.explain import explain_record
        from siteplanner.planning.telling.compare import units_of
        from siteplanner.planning.telling.limits import breach_words
        from siteplanner.planning.telling.record import evaluation_record
        from siteplanner.planning.telling.trees import sky_sentences

        found = explain_record(
            record, latitude, longitude, file=plan_file, layers_in=layers, samples=sample_folders(), progress=progress
        )
    units = units_of(record)
    result = {
        **evaluation_record(found.evaluation),
        "passes": found.passes,
        "in_search_ground": found.in_search_ground,
        "failed": [{"limit": b.code, "reason": breach_words(b)} for b in found.evaluation.failed],
        "score": found.score,
        "would_rank": found.would_rank,
        "sky_sentences": sky_sentences(found.evaluation),
        "criteria": {
            c.name: {
                "value": c.value,
                "unit": c.unit,
                "utility": c.utility,
                "weight": c.weight,
                "contribution": c.contribution,
            }
            for c in found.criteria
        },
    }
    if as_json:
        print_json(result)
    else:
        print_explanation(result, found.evaluation, units)
    for finding in (*found.findings, *found.evaluation.findings):
        say_finding(finding, units=units)
    if not found.passes:
        raise typer.Exit(1)


@app.command("app")
def open_app(
    port: Annotated[int, typer.Option(help="Port on the loopback address; 0 picks a free one.")] = 8501,
) -> None:
    """Open the app in a browser; it serves this machine only."""
    from siteplanner.app.serve import serve

    raise typer.Exit(serve(port))


app.command("fields")(show_fields)
app.command("compare")(show_comparison)
app.command("measured")(show_measured)
app.command("ready")(show_ready)
app.command("arrived")(judge_arrival)
app.command("again")(plan_again)
app.command("staged")(plan_staged)
app.command("log")(keep_log)
app.command("handover")(make_hand_over)
app.command("new")(start_mission)
app.command("guide")(show_guide)
app.add_typer(atlas, name="atlas")
