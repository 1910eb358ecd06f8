"""The command line. Exit codes: 0 done, 1 done but no spot passes, 2 bad input, 130 interrupted.

Messages go to stderr, results to stdout; `--json` prints machine-readable results.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape

from siteplanner.errors import Cancelled, Finding, SiteplannerError

if TYPE_CHECKING:
    from siteplanner.planning.plan.model import Plan

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Where to park a towable communications trailer, how to get it there, how to raise and aim it.",
)
stderr = Console(stderr=True)
stdout = Console(soft_wrap=True)

OutOption = Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")]
QuietOption = Annotated[bool, typer.Option("--quiet", help="No progress bar.")]


@app.command()
def demo(
    out: OutOption = Path("siteplanner_out/demo"),
    sample: Annotated[str, typer.Option(help="Which sample to plan.")] = "dunmarrow_county",
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Plan an invented sample mission and write everything."""
    from siteplanner.demo import SAMPLES, sample_mission
    from siteplanner.errors import InputError

    if sample not in SAMPLES:
        raise InputError(
            f"There is no sample called {sample!r}.", remedy=f"Name one of {', '.join(SAMPLES)}.", field="--sample"
        )
    _plan(sample_mission(sample), out, as_json, quiet)


@app.command()
def plan(
    mission: Annotated[Path, typer.Argument(help="The mission file (TOML or JSON).")],
    out: OutOption = Path("siteplanner_out"),
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Plan a mission: rule ground out, rank spots, write map, routes and sheets."""
    _plan(mission, out, as_json, quiet)


def _plan(mission_path: Path, out: Path, as_json: bool, quiet: bool) -> None:
    from siteplanner.mission import load_mission

    mission = load_mission(mission_path)
    with _bar(quiet) as progress:
        progress("Starting (the first run on a machine compiles once, up to a minute)", 0.0)
        from siteplanner.outputs.write import write_outputs
        from siteplanner.planning.plan.pipeline import plan as make_plan
        from siteplanner.planning.telling.record import plan_record

        with _named(mission_path):
            made = make_plan(mission, progress)
        files = write_outputs(made, out, progress=progress)
    record = plan_record(made)
    if as_json:
        _print_json(record)
    else:
        _print_plan(record, made)
    for finding in made.findings:
        _say_finding(finding)
    from siteplanner.planning.telling.terminal import wrote_words

    shown = next((f for f in files if f.name == "map.html"), out)
    stderr.print(escape(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    print(f"Map: {shown.resolve()}", file=sys.stderr if as_json else sys.stdout)
    if not made.spots:
        raise typer.Exit(1)


@app.command()
def batch(
    missions: Annotated[list[Path], typer.Argument(help="Mission files (TOML or JSON), or folders that hold them.")],
    out: OutOption = Path("siteplanner_out/batch"),
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
        stderr.print(
            f"{outcome.mission}: {outcome.state}. {words}", style=style, markup=False, highlight=False, soft_wrap=True
        )

    files = _mission_files(missions)
    try:
        with _bar(quiet) as progress:
            plan_many(files, out, progress=progress, told=told)
    except (KeyboardInterrupt, Cancelled):
        kept = f"What is finished stands in {out.resolve()}; run the others again."
        raise Cancelled(f"Interrupted after {len(done)} of {len(files)} missions.", remedy=kept) from None
    if as_json:
        _print_json([outcome.row for outcome in done])
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
                remedy="Name a folder with a .toml file in it, or with folders that hold a mission.toml.",
                file=path,
            )
        out += found
    return out


@app.command()
def check(
    mission: Annotated[Path, typer.Argument(help="The mission file (TOML or JSON).")],
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Vet a mission's layers only: what each was taken for, findings and remedies."""
    from siteplanner.mission import load_mission

    loaded = load_mission(mission)
    with _bar(quiet) as progress:
        from siteplanner.planning.study.load import load_study
        from siteplanner.planning.study.progress import Stages
        from siteplanner.planning.telling.inputs import holds_words

        with _named(mission):
            study = load_study(loaded, Stages(progress))
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
        for i in study.inputs
    ]
    if as_json:
        from siteplanner.planning.telling.findings import finding_record

        _print_json({"layers": rows, "findings": [finding_record(f) for f in study.findings]})
    else:
        from rich.table import Table

        table = Table("layer", "file", "CRS", "unit", "extent (W, S, E, N)", "holds")
        for row in rows:
            extent = ", ".join(f"{v:.4f}" for v in row["extent_lonlat"] or ())
            table.add_row(
                *(
                    escape(str(v))
                    for v in (
                        row["layer"],
                        Path(str(row["file"])).name,
                        row["crs"],
                        row["unit"] or "-",
                        extent,
                        row["detail"] or row["count"],
                    )
                )
            )
        stdout.print(table)
    for finding in study.findings:
        _say_finding(finding)


# unknown options are let through so that a western longitude (-113.2) is read as a number
@app.command(context_settings={"ignore_unknown_options": True})
def explain(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.json", help="plan.json of an earlier run.")],
    latitude: Annotated[float, typer.Argument(help="WGS 84 degrees, north positive.")],
    longitude: Annotated[float, typer.Argument(help="WGS 84 degrees, east positive; west is negative.")],
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Say why a point is in or out, with every figure."""
    from siteplanner.errors import InputError

    try:
        record = json.loads(plan_file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            f"The plan cannot be read ({error}).", remedy="Give the plan.json of a run.", file=plan_file
        ) from None
    with _bar(quiet) as progress:
        from siteplanner.planning.plan.explain import explain_record
        from siteplanner.planning.telling.limits import breach_words
        from siteplanner.planning.telling.record import evaluation_record
        from siteplanner.planning.telling.trees import sky_sentences

        found = explain_record(record, latitude, longitude, file=plan_file, progress=progress)
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
        _print_json(result)
    else:
        _print_explanation(result)
    for finding in (*found.findings, *found.evaluation.findings):
        _say_finding(finding)
    if not found.passes:
        raise typer.Exit(1)


@app.command("app")
def open_app(
    port: Annotated[int, typer.Option(help="Port on the loopback address; 0 picks a free one.")] = 8501,
) -> None:
    """Open the app in a browser; it serves this machine only."""
    from siteplanner.app.serve import serve

    raise typer.Exit(serve(port))


@contextmanager
def _named(mission: Path) -> Iterator[None]:
    """A field of the mission that is at fault is told with the mission's file."""
    from siteplanner.errors import InputError

    try:
        yield
    except InputError as error:
        if error.file is not None or error.field is None:
            raise
        raise error.placed(file=mission) from error


def _print_plan(record: dict[str, Any], made: Plan) -> None:
    from rich.table import Table

    from siteplanner.mission.criteria import CRITERIA
    from siteplanner.planning.telling.backhaul_rows import backhaul_cell
    from siteplanner.planning.telling.sets import pair_line
    from siteplanner.planning.telling.terminal import spot_cells, where_words

    stdout.print(escape(record["recommendation"]), style="bold", highlight=False)
    if record["spots"]:
        stdout.print(where_words(record["spots"][0]), highlight=False)
    if record["firmness"]["sentence"]:
        stdout.print(escape(record["firmness"]["sentence"]), highlight=False)
    if two := pair_line(made):
        stdout.print(escape(two), highlight=False)
    if record["spots"]:
        backhaul = CRITERIA["backhaul"].words_of(made.mission).column.lower()
        table = Table("rank", "spot", "score", "served", backhaul, "slope", "drive", "mast")
        for spot, ranked in zip(record["spots"], made.spots, strict=True):
            table.add_row(*(escape(cell) for cell in spot_cells(spot, backhaul_cell(ranked.evaluation))))
        stdout.print(table)
    for item in record["rejected"]:
        reasons = " ".join(f["reason"] for f in item["failed"])
        stdout.print(f"Not {escape(item['name'])}: {escape(reasons)}", highlight=False)
    ruled = Table("ruled out by", "% of ground", "alone %", "nearest to pass")
    for r in record["rulings"]:
        ruled.add_row(r["label"], f"{100 * r['share']:.1f}", f"{100 * r['only_share']:.1f}", r["nearest_to_pass"])
    stdout.print(ruled)


def _print_explanation(result: dict[str, Any]) -> None:
    from siteplanner.planning.telling.terminal import explanation_lines, verdict_words

    stdout.print(escape(verdict_words(result)), style="bold", highlight=False)
    for line in explanation_lines(result):
        stdout.print(escape(line), highlight=False)


def _print_json(value: Any) -> None:
    from siteplanner.outputs.write import json_text

    print(json_text(value))


def _say_finding(finding: Finding) -> None:
    from siteplanner.planning.telling.findings import said

    words, severity = said(finding), finding.severity
    style = {"caution": "bold red", "warning": "yellow"}.get(severity, "dim")
    where = f" [{Path(finding.file).name}]" if finding.file else ""
    text = f"{severity.upper()}{where}: {words.message} {words.remedy}"
    stderr.print(text, style=style, markup=False, highlight=False, soft_wrap=True)


@contextmanager
def _bar(quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """A progress callable shown as a bar on stderr; silent when asked or when stderr is not a terminal."""
    if quiet or not stderr.is_terminal:
        yield lambda stage, share: None
        return
    from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    with Bar(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        console=stderr,
        transient=True,
    ) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda stage, share: bar.update(task, description=stage, completed=share)


def main(argv: list[str] | None = None) -> None:
    """Entry point: errors become one sentence and an exit code, never a traceback."""
    sys.exit(run(lambda: app(args=argv, standalone_mode=False)))


def run(call: Callable[[], Any]) -> int:
    """Exit code of a command."""
    try:
        result = call()
        if result == 130:  # the command line library has turned Ctrl-C into a code, without a word
            raise KeyboardInterrupt
    except SiteplannerError as error:
        stderr.print(
            f"{'Stopped' if isinstance(error, Cancelled) else 'Error'}: {error}",
            style="bold red",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )
        return 130 if isinstance(error, Cancelled) else 2
    except (KeyboardInterrupt, typer.Abort):
        stderr.print("Interrupted; nothing was written.", style="yellow")
        return 130
    except typer.Exit as error:
        return error.exit_code
    except BrokenPipeError:
        return 0
    except Exception as error:
        show = getattr(error, "show", None)  # a usage error of the command line library, whichever it rests on
        if show is None:
            raise
        show()
        return 2
    return int(result) if isinstance(result, int) else 0


if __name__ == "__main__":
    main()
