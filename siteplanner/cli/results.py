"""A plan, a judged place and the layers of a mission as they are printed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from siteplanner.cli.screen import safe, stdout

if TYPE_CHECKING:
    from siteplanner.planning.plan.model import Plan


def print_plan(record: dict[str, Any], made: Plan) -> None:
    from rich.table import Table

    from siteplanner.mission.criteria import CRITERIA
    from siteplanner.planning.telling.backhaul_rows import backhaul_cell
    from siteplanner.planning.telling.limits import breach_words, nearest_to_pass_words
    from siteplanner.planning.telling.sets import pair_line
    from siteplanner.planning.telling.terminal import spot_cells, where_words
    from siteplanner.planning.telling.units import reader_units
    from siteplanner.planning.telling.words import firmness_sentence, recommendation

    units = reader_units(made.mission).first
    stdout.print(safe(recommendation(made, units)), style="bold", highlight=False)
    if record["spots"]:
        stdout.print(where_words(record["spots"][0]), highlight=False)
    if record["firmness"]["sentence"]:
        stdout.print(safe(firmness_sentence(made, units)), highlight=False)
    if two := pair_line(made, units):
        stdout.print(safe(two), highlight=False)
    if record["spots"]:
        backhaul = CRITERIA["backhaul"].words_of(made.mission).column.lower()
        table = Table("rank", "spot", "score", "served", backhaul, "slope", "drive", "mast")
        for spot, ranked in zip(record["spots"], made.spots, strict=True):
            table.add_row(*(safe(cell) for cell in spot_cells(spot, backhaul_cell(ranked.evaluation, units), units)))
        stdout.print(table)
    for rejected in made.rejected:
        reasons = " ".join(breach_words(breach, units) for breach in rejected.failed)
        stdout.print(f"Not {safe(rejected.spot.name)}: {safe(reasons)}", highlight=False)
    ruled = Table("ruled out by", "% of ground", "only this %", "smallest change")
    for r in made.rulings:
        nearest = nearest_to_pass_words(r, units)
        ruled.add_row(r.label, f"{100 * r.share:.1f}", f"{100 * r.only_share:.1f}", nearest)
    stdout.print(ruled)


def print_explanation(result: dict[str, Any]) -> None:
    from siteplanner.planning.telling.terminal import explanation_lines, verdict_words

    stdout.print(safe(verdict_words(result)), style="bold", highlight=False)
    for line in explanation_lines(result):
        stdout.print(safe(line), highlight=False)


def print_layers(rows: list[dict[str, Any]]) -> None:
    """A row for each layer: how its file is read."""
    from rich.table import Table

    table = Table("layer", "file", "CRS", "unit", "extent (W, S, E, N)", "holds")
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
