"""The command line. Exit codes: 0 done, 1 done but no spot passes, 2 bad input, 130 interrupted.

Messages go to stderr, results to stdout; `--json` prints machine-readable results.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape

from siteplanner.errors import Cancelled, Finding, SiteplannerError
from siteplanner.outputs.words.text import clean

if TYPE_CHECKING:
    from siteplanner.mission import Mission
    from siteplanner.planning.plan.model import Plan

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Where to park a towable communications trailer, how to get it there, how to raise and aim it.",
)


class _Screen(Console):
    """A console that lets whoever called know that nobody reads it any more."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


stderr = _Screen(stderr=True)
stdout = _Screen(soft_wrap=True)

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
    from siteplanner.outputs.sheets.fonts import extra_fonts

    mission = load_mission(mission_path)
    with _named(mission_path):
        extra_fonts(mission)
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
        _say_finding(finding, mission)
    from siteplanner.planning.telling.terminal import wrote_words

    shown = next((f for f in files if f.name == "map.html"), out)
    stderr.print(_safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
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
            clean(f"{outcome.mission}: {outcome.state}. {words}"),
            style=style,
            markup=False,
            highlight=False,
            soft_wrap=True,
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
        from siteplanner.outputs.sheets.fonts import extra_fonts
        from siteplanner.planning.plan.detail import forecast_of
        from siteplanner.planning.study.load import load_study
        from siteplanner.planning.study.progress import Stages
        from siteplanner.planning.telling.inputs import holds_words

        with _named(mission):
            extra_fonts(loaded)
            _, forecast = forecast_of(loaded)
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
        for i in (*study.inputs, *forecast)
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
                    _safe(str(v))
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
        _say_finding(finding, loaded)


# unknown options are let through so that a western longitude (-113.2) is read as a number
@app.command(context_settings={"ignore_unknown_options": True})
def explain(
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN.json", help="plan.json of an earlier run.")],
    latitude: Annotated[float, typer.Argument(help="WGS 84 degrees, north positive.")],
    longitude: Annotated[float, typer.Argument(help="WGS 84 degrees, east positive; west is negative.")],
    layers: Annotated[
        Path | None, typer.Option("--layers", help="Folder of the mission, where it is not found.")
    ] = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Say why a point is in or out, with every figure."""
    from siteplanner.data.plain_text import MOST_PLAN, parsed, read_text

    record = parsed(read_text(plan_file, MOST_PLAN, "The plan.json of a run"), as_json=True, file=plan_file)
    with _bar(quiet) as progress:
        from siteplanner.demo import sample_folders
        from siteplanner.planning.plan.explain import explain_record
        from siteplanner.planning.telling.limits import breach_words
        from siteplanner.planning.telling.record import evaluation_record
        from siteplanner.planning.telling.trees import sky_sentences

        found = explain_record(
            record, latitude, longitude, file=plan_file, layers_in=layers, samples=sample_folders(), progress=progress
        )
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
    from siteplanner.planning.telling.limits import breach_words, nearest_to_pass_words
    from siteplanner.planning.telling.sets import pair_line
    from siteplanner.planning.telling.terminal import spot_cells, where_words
    from siteplanner.planning.telling.units import reader_units
    from siteplanner.planning.telling.words import firmness_sentence, recommendation

    units = reader_units(made.mission).first
    stdout.print(_safe(recommendation(made, units)), style="bold", highlight=False)
    if record["spots"]:
        stdout.print(where_words(record["spots"][0]), highlight=False)
    if record["firmness"]["sentence"]:
        stdout.print(_safe(firmness_sentence(made, units)), highlight=False)
    if two := pair_line(made, units):
        stdout.print(_safe(two), highlight=False)
    if record["spots"]:
        backhaul = CRITERIA["backhaul"].words_of(made.mission).column.lower()
        table = Table("rank", "spot", "score", "served", backhaul, "slope", "drive", "mast")
        for spot, ranked in zip(record["spots"], made.spots, strict=True):
            table.add_row(*(_safe(cell) for cell in spot_cells(spot, backhaul_cell(ranked.evaluation, units), units)))
        stdout.print(table)
    for rejected in made.rejected:
        reasons = " ".join(breach_words(breach, units) for breach in rejected.failed)
        stdout.print(f"Not {_safe(rejected.spot.name)}: {_safe(reasons)}", highlight=False)
    ruled = Table("ruled out by", "% of ground", "alone %", "nearest to pass")
    for r in made.rulings:
        nearest = nearest_to_pass_words(r, units)
        ruled.add_row(r.label, f"{100 * r.share:.1f}", f"{100 * r.only_share:.1f}", nearest)
    stdout.print(ruled)


def _print_explanation(result: dict[str, Any]) -> None:
    from siteplanner.planning.telling.terminal import explanation_lines, verdict_words

    stdout.print(_safe(verdict_words(result)), style="bold", highlight=False)
    for line in explanation_lines(result):
        stdout.print(_safe(line), highlight=False)


def _print_json(value: Any) -> None:
    from siteplanner.outputs.write import json_text

    print(json_text(value))


def _say_finding(finding: Finding, mission: Mission | None = None) -> None:
    from siteplanner.planning.telling.findings import said
    from siteplanner.planning.telling.signal_words import signal_word
    from siteplanner.planning.telling.units import METRIC, reader_units

    units = reader_units(mission).first if mission is not None else METRIC
    words, severity = said(finding, units), finding.severity
    style = {"warning": "bold red", "note": "dim"}.get(severity, "yellow")
    where = f" [{Path(finding.file).name}]" if finding.file else ""
    text = f"{signal_word(severity)}{where}: {words.message} {words.remedy}"
    stderr.print(clean(text), style=style, markup=False, highlight=False, soft_wrap=True)


def _safe(text: str) -> str:
    """Text for the terminal: no escape sequence, forced direction or markup of a name gets through."""
    return escape(clean(text))


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
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # asked to end: tidy up as for Ctrl-C
    code = run(lambda: app(args=argv, standalone_mode=False))
    code = run(lambda: _flushed(code))
    _mute(sys.stdout)
    sys.exit(code)


def _flushed(code: int) -> int:
    sys.stdout.flush()
    return code


def _mute(stream: Any) -> None:
    """What cannot be written any more must not become a message of the interpreter when it ends."""
    try:
        stream.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def run(call: Callable[[], Any]) -> int:
    """Exit code of a command."""
    try:
        result = call()
        if result == 130:  # the command line library has turned Ctrl-C into a code, without a word
            raise KeyboardInterrupt
    except SiteplannerError as error:
        stderr.print(
            clean(f"{'Stopped' if isinstance(error, Cancelled) else 'Error'}: {error}"),
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
    except BrokenPipeError:  # nobody reads on, as in `siteplanner plan ... | head -1`: the work is done
        return 0
    except MemoryError:
        stderr.print(
            "Error: this machine ran out of memory. Remedy: Set a larger search.cell_size_m, or a smaller "
            "search.radius_m or radio.max_radius_m.",
            style="bold red",
        )
        return 2
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EIO):
            raise
        stderr.print(
            f"Printing the result failed ({error.strerror}); files named as written are whole.", style="bold red"
        )
        return 2
    except Exception as error:
        show = getattr(error, "show", None)  # a usage error of the command line library, whichever it rests on
        if show is None:
            raise
        show()
        return 2
    return int(result) if isinstance(result, int) else 0


if __name__ == "__main__":
    main()
