"""The plan in words: short sentences that can be read over a radio. Numbers carry their unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from siteplanner.errors import Finding
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.ruling import RulingShare
from siteplanner.planning.plan.as_built import AsBuilt
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.shut_roads import opening
from siteplanner.planning.site.timeline import Moments
from siteplanner.planning.spots.evaluation import Evaluation, Ground
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.as_built import as_built_head, limits_sentence
from siteplanner.planning.telling.certainty import figures_words, flips_words, ties_words, weights_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import channel_words, stands_on_words
from siteplanner.planning.telling.limits import nearest_to_pass_words
from siteplanner.planning.telling.roads import opening_words
from siteplanner.planning.telling.service import served_words, without_words
from siteplanner.planning.telling.signal_words import SignalWord
from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.roads.openings import Opening

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def compass_point(bearing_deg: float) -> str:
    """One of sixteen points for a bearing, e.g. 225 -> SW."""
    return COMPASS[round(bearing_deg % 360 / 22.5) % 16]


def best_look(evaluation: Evaluation) -> Look | None:
    """The satellite that decides at a spot (`Evaluation.look`), or None where its margin is not known."""
    look = evaluation.look
    return None if look is None or look.margin_deg != look.margin_deg else look


def backhaul_clause(e: Evaluation, units: Units = METRIC) -> list[str]:
    """What carries the traffic where it is not the dish, as a clause of `because`; nothing where none works."""
    if e.donor is not None:
        far, spare = units.figure(e.donor.distance_m / 1000, "km", 1), units.decibels(e.donor.margin_db)
        return [f"links to {e.donor.name} {far} away, {spare} to spare"]
    used = e.backhaul
    return [] if used is None else [f"has {units.share_at_least(used.margin)} of open sky for the terminal"]


def starting_place(e: Evaluation) -> str:
    """Where the rig comes from: `staging`, or the name of the chosen one among several."""
    return e.access.by_staging[0].name if e.access is not None and e.access.by_staging else "staging"


def starts_sentence(starts: Sequence[tuple[str, float | None]], units: Units = METRIC) -> str:
    """`The drive starts at West yard, 14 min. Not from East yard, 20 min; Camp, no way for the rig.`

    `starts`: (name, seconds of the drive, None for no way) of several staging points, the chosen one first; '' for
    fewer than two.
    """
    if len(starts) < 2:
        return ""
    first, *others = (
        f"{name}, {'no way for the rig' if seconds is None else units.seconds(seconds)}" for name, seconds in starts
    )
    return f"The drive starts at {first}. Not from {'; '.join(others)}."


def because(spot: RankedSpot, units: Units = METRIC) -> str:
    """Why this spot, in one clause a criterion."""
    e = spot.evaluation
    parts = []
    if e.coverage is not None:
        parts.append(
            f"serves {served_words(e.coverage, units)} with the mast at {units.stop(e.coverage.mast_height_m)}"
        )
    look = best_look(e)
    if not e.dish_used:
        parts += backhaul_clause(e, units)
    elif look is not None:
        parts.append(f"sees {look.satellite_name} with {units.angle(look.margin_deg, 0)} to spare over the skyline")
    if e.access is not None:
        gap = f", the first {units.length(e.access.gap_m)} of it off the road" if e.access.gap_m else ""
        parts.append(f"is {units.seconds(e.access.drive_time_s)} by road from {starting_place(e)}{gap}")
    parts.append(stands_on_words(e.ground, units))
    return ", ".join(parts[:-1]) + " and " + parts[-1] if len(parts) > 1 else parts[0]


@dataclass(frozen=True)
class Risks:
    """What could go wrong at a spot."""

    one_way: bool  # one way in from staging
    missed: tuple[tuple[str, float], ...]  # (name, chance) of must-serve points below 50 %


def risks_of(spot: RankedSpot) -> Risks:
    """What could go wrong at a spot."""
    e = spot.evaluation
    points = e.coverage.must_serve if e.coverage is not None else ()
    missed = tuple((p.name, p.probability) for p in points if p.probability < SERVED)
    return Risks(e.access is not None and e.access.one_way_in is True, missed)


@dataclass(frozen=True, eq=False)
class Recommendation:
    """What the commander is told first. `best` None: no spot passes, and `hardest` are the limits that rule out most
    ground, the hardest first."""

    best: RankedSpot | None
    hardest: tuple[RulingShare, ...]
    risks: Risks | None  # of the best spot
    no_backhaul: int  # spots judged at which no wanted backhaul works
    judged: int
    no_start: tuple[Finding, ...] = ()  # where no rig leaves a staging point
    opening: Opening | None = None  # without a best spot: the shut road that would lead to most ground
    as_built: AsBuilt | None = None  # it stands already: nothing is recommended any more


def recommend(plan: Plan) -> Recommendation:
    """What is recommended, and what stands behind it."""
    best, search = plan.best, plan.search
    return Recommendation(
        best,
        () if best is not None else tuple(sorted(plan.rulings, key=lambda r: -r.share)[:2]),
        None if best is None else risks_of(best),
        0 if search is None else search.no_backhaul,
        0 if search is None else search.judged,
        tuple(f for f in plan.findings if f.code == "staging_no_way"),
        opening(plan) if best is None else None,
        plan.as_built,
    )


def recommendation(plan: Plan, units: Units = METRIC) -> str:
    """The commander's sentence: what, why, when, what to watch out for."""
    told = recommend(plan)
    if told.best is None:
        return head_words(told, units)
    watch = watch_words(told)
    if told.as_built is not None:
        watch = " ".join(filter(None, (limits_sentence(told.as_built, units), watch)))
    return f"{head_words(told, units)}: it {because(told.best, units)}.{_on_air(told.best, units)}" + (
        f" {watch}" if watch else ""
    )


def head_words(told: Recommendation, units: Units = METRIC) -> str:
    """`Park at spot A`, without a stop; or a whole sentence where there is no spot."""
    if told.as_built is not None:
        return as_built_head(told.as_built, units)
    if told.best is not None:
        return f"Park at {_spoken(told.best.spot.name)}"
    reasons = "; ".join(
        f"{r.label.lower()} ({units.share(r.share)} of the search ground"
        + (f", {nearest}" if (nearest := nearest_to_pass_words(r, units)) else "")
        + ")"
        for r in told.hardest
    )
    more = (
        f" No requested backhaul works at {told.no_backhaul} of {told.judged} spots judged." if told.no_backhaul else ""
    )
    starts = "".join(f" {said(f, units).message}" for f in told.no_start)
    opens = f" {opening_words(told.opening, units)}" if told.opening is not None else ""
    return f"No spot passes every limit.{starts} What rules out most ground: {reasons}.{more}{opens}"


def why_words(told: Recommendation, units: Units = METRIC) -> str:
    """Why there and when on air, as sentences of their own; '' where there is no spot."""
    return "" if told.best is None else f"It {because(told.best, units)}.{_on_air(told.best, units)}"


def watch_words(told: Recommendation) -> str:
    """What could go wrong at the spot, as sentences of their own; '' for nothing."""
    return risk_words(told.risks)


def risk_words(risks: Risks | None, units: Units = METRIC) -> str:
    """`No service expected at Search base (6 %). There is one way in from staging.`; '' for nothing."""
    if risks is None:
        return ""
    short = [(name if len(name) <= 40 else name[:39] + "\u2026", chance) for name, chance in risks.missed]
    without = without_words(short, units)
    parts = [f"{without[:1].upper()}{without[1:]}."] if without else []
    return " ".join([*parts, *(["There is one way in from staging."] if risks.one_way else [])])


def on_air_words(air: Moments, units: Units = METRIC) -> str:
    """`31 to 44 min after dispatch, 37 on average`: when service starts."""
    return f"{air.early_min:.0f} to {units.figure(air.late_min, 'min')} after dispatch, {air.mean_min:.0f} on average"


def _on_air(best: RankedSpot, units: Units) -> str:
    air = best.evaluation.on_air
    return "" if air is None else f" On air {on_air_words(air, units)}."


def firmness_sentence(plan: Plan, units: Units = METRIC) -> str:
    """How firm the first place is, and what would flip it."""
    firm = plan.firmness
    second = plan.runner_up
    if second is None or firm is None:
        return ""
    text = f"Runner-up: {_spoken(second.spot.name)}, {firm.lead_points:.1f} points behind; it {because(second, units)}."
    told = figures_words(firm, units), ties_words(firm, units), flips_words(firm, units)
    return " ".join(filter(None, (text, *told, weights_words(firm, plan.mission, units))))


def drainage_words(ground: Ground, units: Units = METRIC) -> str:
    """How high the spot stands above the water's way."""
    above = ground.above_drainage_m
    return "not known" if above != above else channel_words(above, units)


WIRES = (
    "Overhead lines: stay outside the marked distance, look up before raising the mast, and treat every line as "
    "energized. The line's owner and local rules decide."
)
WALK_IT = "Map and elevation data miss single trees, banks, ditches and new wires: walk the spot before setting up."
TURN_BACK = "The route uses the limits that the data state. Unknown is not safe: the driver turns back when in doubt."
MANUAL_FIRST = (
    "Generator exhaust, radio-frequency field, wind and guying: follow the unit's own manual and local codes."
)
BEFORE_ACTING: tuple[tuple[SignalWord, str], ...] = (
    ("DANGER", WIRES),
    ("WARNING", WALK_IT),
    ("WARNING", TURN_BACK),
    ("WARNING", MANUAL_FIRST),
)
"""(signal word, text): what holds for every plan."""


def _spoken(name: str) -> str:
    return name if " " in name else f"spot {name}"
