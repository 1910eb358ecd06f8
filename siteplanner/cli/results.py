"""A plan, a judged place and the layers of a mission as they are printed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from siteplanner.cli.screen import note_run, print_json, safe, say_finding, stderr, stdout

if TYPE_CHECKING:
    from siteplanner.planning.plan.model import Plan
    from siteplanner.planning.spots.evaluation import Evaluation
    from siteplanner.planning.telling.units import Units


def print_plan(made: Plan) -> None:
    from rich.table import Table

    from siteplanner.mission.criteria import CRITERIA
    from siteplanner.planning.telling.backhaul_rows import backhaul_cell
    from siteplanner.planning.telling.limits import breach_words, nearest_to_pass_words
    from siteplanner.planning.telling.score import behind_words
    from siteplanner.planning.telling.sets import pair_line
    from siteplanner.planning.telling.terminal import spot_cells, where_words
    from siteplanner.planning.telling.units import reader_units
    from siteplanner.planning.telling.words import firmness_sentence, recommendation

    units = reader_units(made.mission).first
    stdout.print(safe(recommendation(made, units)), style="bold", highlight=False)
    if made.spots:
        stdout.print(where_words(made.spots[0].spot), highlight=False)
    if firm := firmness_sentence(made, units):
        stdout.print(safe(firm), highlight=False)
    if two := pair_line(made, units):
        stdout.print(safe(two), highlight=False)
    if made.spots:
        backhaul = CRITERIA["backhaul"].words_of(made.mission).column.lower()
        table = Table("rank", "spot", "score", "served", backhaul, "slope", "drive", "mast")
        for ranked in made.spots:
            table.add_row(*(safe(cell) for cell in spot_cells(ranked, backhaul_cell(ranked.evaluation, units), units)))
        stdout.print(table)
        if behind := behind_words(made.spots):
            stdout.print(safe(behind), highlight=False)
    for rejected in made.rejected:
        reasons = " ".join(breach_words(breach, units) for breach in rejected.failed)
        stdout.print(f"Not {safe(rejected.spot.name)}: {safe(reasons)}", highlight=False)
    ruled = Table("ruled out by", "% of ground", "only this %", "smallest change")
    for r in made.rulings:
        nearest = nearest_to_pass_words(r, units)
        ruled.add_row(r.label, f"{100 * r.share:.1f}", f"{100 * r.only_share:.1f}", nearest)
    stdout.print(ruled)


def tell_run(made: Plan, files: list[Path], out: Path, as_json: bool) -> None:
    """The end of every run that made a plan: log, record or tables, findings, where the map is.

    Raises typer.Exit(1) where no spot passes.
    """
    from siteplanner.planning.telling.record import plan_record
    from siteplanner.planning.telling.terminal import wrote_words
    from siteplanner.planning.telling.units import reader_units
    from siteplanner.planning.telling.words import recommendation

    best = made.spots[0].spot.name if made.spots else ""
    note_run(out, recommendation(made, reader_units(made.mission).first), best)
    if as_json:
        print_json(plan_record(made))
    else:
        print_plan(made)
    for finding in made.findings:
        say_finding(finding, made.mission)
    shown = next((f for f in files if f.name == "map.html"), out)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    print(f"Map: {shown.resolve()}", file=sys.stderr if as_json else sys.stdout)
    if not made.spots:
        raise typer.Exit(1)


def print_explanation(result: dict[str, Any], evaluation: Evaluation, units: Units) -> None:
    """The answer in the reader's units; what `--json` prints is metric."""
    from siteplanner.planning.telling.backhaul import backhaul_sentence
    from siteplanner.planning.telling.limits import breach_words
    from siteplanner.planning.telling.terminal import explanation_lines, verdict_words
    from siteplanner.planning.telling.trees import sky_sentences

    told = {
        **result,
        "failed": [{"limit": b.code, "reason": breach_words(b, units)} for b in evaluation.failed],
        "sky_sentences": sky_sentences(evaluation, units),
        "backhaul": {**result["backhaul"], "sentence": backhaul_sentence(evaluation, units)},
    }
    stdout.print(safe(verdict_words(result)), style="bold", highlight=False)
    for line in explanation_lines(told, units):
        stdout.print(safe(line), highlight=False)


def print_layers(rows: list[dict[str, Any]]) -> None:
    """A row for each layer: how its file is read."""
    from rich.table import Table

    table = Table("layer", "file", "CRS", "unit", "extent (W, S, E, N)", "contents")
    for row in rows:
        extent = ", ".join(f"{v:.4f}" for v in row["extent_lonlat"] or ())
        table.add_row(
            *(
                safe(str(v))
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
