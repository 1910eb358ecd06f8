"""An atlas in words: how far its building is, what it holds, what it answers, whom no place serves."""

from __future__ import annotations

from siteplanner.planning.atlas.answer import Quick
from siteplanner.planning.atlas.build import Built, Pace
from siteplanner.planning.atlas.settlements import RegionService, Settlement
from siteplanner.planning.choose.price import price
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.telling.answer import COLUMNS, spoken, spot_cells
from siteplanner.planning.telling.ground import slope_cell
from siteplanner.planning.telling.options import Named, differences_words, whole_of
from siteplanner.planning.telling.score import LIKELY_STEEP
from siteplanner.planning.telling.units import NOT_KNOWN, Units

_MB = 1 << 20
PLACE_COLUMNS = ("Spot", *COLUMNS, "Ways in", "Against the first")
FIGURES = COLUMNS  # of those the columns that hold figures
MOST_REASONS = 2  # figures to each side
LEAST_OUTSIDE = 0.005  # of the search ground, to be told


def pace_words(pace: Pace, units: Units) -> str:
    """Where a building stands: tiles, places a second, time left."""
    if not pace.tiles:
        return "Reading the region and its roads"
    if pace.tiles_done == pace.tiles:
        return "Writing the tables"
    speed = f", {pace.places_a_second:.1f} places a second" if pace.places else ""
    left = "" if pace.left_s is None else f", about {units.seconds(pace.left_s)} left"
    return f"{pace.tiles_done} of {pace.tiles} tiles, {pace.places:,} places{speed}{left}"


def built_words(built: Built, units: Units) -> str:
    """What was built, and what stood there before."""
    kept = f"; {built.tiles_before} of them unchanged since the last building" if built.tiles_before else ""
    size = max(round(built.bytes / _MB), 1)
    return (
        f"{built.places:,} places in {built.tiles} tiles{kept}. {built.judged:,} places judged now, in "
        f"{units.seconds(built.seconds)}. The atlas takes {size:,} MB."
    )


def service_words(service: RegionService, units: Units) -> str:
    """How much of the region some place serves."""
    return (
        f"{units.share(service.share)} of the region's ground can be served from one place or another, with a sector "
        "aimed at it."
    )


def settlement_words(one: Settlement, units: Units) -> str:
    """The best place for a settlement, or that none serves it. The name stands before it."""
    if one.place is None:
        return "no place is within the radius of service"
    where = f"place {one.place.evaluation.spot.grid_reference}, {units.distance(one.distance_m)} away"
    if stands_back(one.place.evaluation):
        where += f", {LIKELY_STEEP}"
    chance = f"{units.share_at_least(one.chance)} chance of service"
    if not one.served:
        return f"not served: the best is {where}, with {chance}"
    drive = f", {units.seconds(one.drive_s)} of drive" if one.drive_s == one.drive_s else ""
    return f"{where}: {chance}, sector at {units.bearing(one.bearing_deg)}, mast {units.stop(one.mast_height_m)}{drive}"


def quick_words(quick: Quick, units: Units) -> str:
    """How many places were asked, and what keeps the others out."""
    out = f"{len(quick.ranked):,} of {quick.in_reach:,} places in reach answered from the atlas."
    if quick.no_way:
        out += f" No road leads to {quick.no_way:,} today."
    if quick.shut:
        out += f" {quick.shut:,} stand where nobody may stand today."
    if quick.outside >= LEAST_OUTSIDE:
        out += (
            f" {units.share(quick.outside)} of the search ground lies outside the region: no place there was checked."
        )
    return out


def others_words(quick: Quick) -> str:
    """That the mission's layers are not what the atlas was built from; '' where they are."""
    if not quick.others:
        return ""
    named = [role.replace("_", " ") for role in quick.others]
    said = " and ".join([", ".join(named[:-1]), named[-1]] if len(named) > 1 else named)
    return (
        f"This atlas was built from other files than the mission names: {said}. The answer is of the atlas's files. "
        "Build the atlas again, or act on the exact pass alone, which reads the mission's own."
    )


def reason_words(quick: Quick, ranked: RankedSpot, units: Units, named: Named = str) -> str:
    """Why a place stands where it does: what is better and worse than at the first; of the first, than at the second.
    The first figures that differ, in the order of a commander's questions."""
    first = quick.ranked[0]
    other = first if ranked is not first else next(iter(quick.ranked[1:]), None)
    if other is None:
        return "The only place that passes."
    rows = (quick.fixed.row_of[r.spot.key] for r in (ranked, other))
    paid, whole = price(quick.fixed.figures, *rows), whole_of(ranked)
    parts = [
        f"{word}{units.colon}{differences_words(side, whole, units, named, most=MOST_REASONS)}."
        for word, side in (("Better", paid.gains), ("Worse", paid.costs))
        if side
    ]
    head = f"Against {spoken(named(other.spot.name))}. " if ranked is first else ""
    return head + (" ".join(parts) or "Alike in every figure.")


def level_words(quick: Quick) -> str:
    """Which places the atlas does not tell apart; '' where it tells all."""
    groups = [[r.spot.name for r in group] for group in quick.level]
    if not groups:
        return ""
    told = "; ".join(f"{', '.join(names[:-1])} and {names[-1]}" for names in groups)
    return f"Too close to call from the atlas alone: {told}."


def judged_exactly_words(quick: Quick) -> str:
    """What the exact pass will judge."""
    return (
        f"These figures are the atlas's: service on coarser cells, and no ranges yet. The exact pass judges the best "
        f"{len(quick.to_be_judged)} places, those of the sets among them, from the mission's own layers."
    )


def no_place_words() -> str:
    """That the atlas has no place for this area."""
    return "The atlas holds no place from which this area could be served today. Plan the mission without it."


def place_row(quick: Quick, ranked: RankedSpot, units: Units, named: Named = str) -> tuple[str, ...]:
    """A row of the list under `PLACE_COLUMNS`."""
    e = ranked.evaluation
    line = None if e.access is None else e.access.lifeline
    ways = NOT_KNOWN if line is None else ("none", "one", "two or more")[min(line.staging.ways, 2)]
    return (ranked.spot.name, *spot_cells(e, units), ways, reason_words(quick, ranked, units, named))


def quick_row(ranked: RankedSpot, units: Units) -> tuple[str, ...]:
    """A row of the quick ranking: rank, spot, score, grid, served, slope, drive, mast."""
    e = ranked.evaluation
    return (
        str(ranked.rank),
        e.spot.name,
        f"{ranked.score:.1f}",
        e.spot.grid_reference,
        units.share(None if e.coverage is None else e.coverage.share),
        slope_cell(e.ground, units),
        units.seconds(None if e.access is None else e.access.drive_time_s),
        units.stop(None if e.coverage is None else e.coverage.mast_height_m),
    )


def quick_set_words(size: int, share: float, names: tuple[str, ...], units: Units) -> str:
    """The best places of several trailers together."""
    return f"Best {size} together: {', '.join(names)}, {units.share(share)} served."
