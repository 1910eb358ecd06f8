"""A plan as lines for a terminal, and the judgement of a place from its record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.ground import slope_cell
from siteplanner.planning.telling.sky import figure_with_doubt
from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.planning.telling.words import starts_sentence


def where_words(spot: Spot) -> str:
    """Where a spot stands, in degrees and by grid."""
    return f"It stands at {spot.latitude:.5f}, {spot.longitude:.5f}, grid {spot.grid_reference}."


def spot_cells(ranked: RankedSpot, backhaul: str, units: Units = METRIC) -> tuple[str, ...]:
    """A row of the ranking: rank, spot, score, served, backhaul, slope, drive, mast."""
    e = ranked.evaluation
    assert e.coverage is not None  # as of every spot that is ranked
    assert e.access is not None
    return (
        str(ranked.rank),
        ranked.spot.name,
        f"{ranked.score:.1f}",
        units.share(e.coverage.share),
        backhaul,
        slope_cell(e.ground, units),
        units.seconds(e.access.drive_time_s),
        units.stop(e.coverage.mast_height_m),
    )


def wrote_words(files: int, folder: str) -> str:
    """How many files were written, and where."""
    return f"Wrote {files} files into {folder}"


def verdict_words(result: dict[str, Any]) -> str:
    """Whether the place passes, and where it would rank."""
    verdict = f"passes; it would rank {result['would_rank']}" if result["passes"] else "is ruled out"
    return f"{_place(result)} {verdict}."


def explanation_lines(result: dict[str, Any], units: Units = METRIC) -> Iterator[str]:
    """What stands behind the verdict, a line each."""
    if not result["in_search_ground"]:
        yield f"{_place(result)} lies outside the search ground."
    for item in result["failed"]:
        yield f"- {item['reason']}"
    for name, line in result["criteria"].items():
        unit = "°" if line["unit"] == "deg" else line["unit"]
        value = units.figure(line["value"], unit, 1).rstrip()
        yield (
            f"{name:>11}: {value}; earned {line['utility']:.2f} x weight {line['weight']:.2f} = "
            f"{line['contribution']:.1f} points"
        )
    starts = [(s["name"], s["drive_time_s"]) for s in (result["access"] or {}).get("by_staging", ())]
    if starts:
        yield f"  {starts_sentence(starts, units)}"
    backhaul = result["backhaul"]
    if [b["kind"] for b in backhaul["wanted"]] not in ([], ["geostationary"]):
        yield f"  {backhaul['sentence']}"
    for look in result["sky"]:
        yield (
            f"  dish to {look['satellite_name']}: azimuth {units.angle(look['azimuth_deg'])} true, elevation "
            f"{units.angle(look['elevation_deg'])}, skyline "
            f"{figure_with_doubt(look['horizon_deg'], look['horizon_error_deg'], units)}, margin "
            f"{figure_with_doubt(look['margin_deg'], look['margin_error_deg'], units)}"
        )
    for sentence in result["sky_sentences"]:
        yield f"  {sentence}"


def _place(result: dict[str, Any]) -> str:
    return f"{result['latitude']:.6f}, {result['longitude']:.6f} ({result['grid_reference']})"
