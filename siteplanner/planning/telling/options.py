"""What is said of the options: what each is best at, what it costs, when to choose it; who serves which named point."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.choose.dominance import FAR_M, HIGH_M, Figure
from siteplanner.planning.choose.options import BestAt, Option, Trigger
from siteplanner.planning.choose.points import PointAnswer
from siteplanner.planning.choose.price import Difference, Price
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.spots.lifelines import Section
from siteplanner.planning.telling.clock import minutes_range
from siteplanner.planning.telling.lifeline import along_words, section_name
from siteplanner.planning.telling.score import LIKELY_STEEP
from siteplanner.planning.telling.service import WHOLE
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

Named = Callable[[str], str]
MOST_TOLD = 4  # figures of a price in one sentence, the first ones in the order of a commander's questions
MOST_ROADS = 3
NO_OTHER = "No other judged spot differs in kind from the first."

LABELS = {
    "score": "score",
    "people": "people served",
    "on_air": "average time to on air",
    "drive": "drive",
    "way_in_cut": "way in without a way round",
    "way_in_bridges": "bridges on it",
    "ways_out": "ways out of the area",
    "steepest": "steepest grade",
    "last_leg": "last leg over ground",
    "hazard": "distance from a hazard area",
    "water": "distance from water",
    "above_channel": "height above the channel",
    "backhaul": "backhaul to spare, of what counts",
    "slope": "slope of the ground",
}


def label(figure: Figure, whole: str, named: Named = str) -> str:
    """What a figure is of: `weighted area served`, the polygon's or the point's name."""
    if figure.name == "share":
        return f"{whole} served"
    return named(figure.about) if figure.about else LABELS[figure.name]


def value_words(figure: Figure, value: float, units: Units = METRIC) -> str:
    """A figure with its unit; what is farther than counts is told as `500 m or more`."""
    if value != value:
        return NOT_KNOWN
    if figure.name == "score":
        return f"{100 * value:.1f}"
    if figure.kind in ("share", "chance", "utility"):
        return units.share(value)
    if figure.kind == "people":
        return f"about {METRIC.people(value)}"
    if figure.kind == "minutes":
        return units.minutes(value)
    if figure.name == "ways_out":
        return ("none", "one", "two or more")[min(int(value), 2)]
    if figure.kind == "count":
        return f"{value:.0f}"
    if figure.kind == "percent":
        return units.figure(value, "%")
    if figure.kind == "degrees":
        return units.angle(value)
    if value == float("inf"):
        return "all of it"
    most = {"hazard": FAR_M, "water": FAR_M, "above_channel": HIGH_M}.get(figure.name)
    if most is not None and value >= most:
        return f"{units.length(most)} or more"
    return units.there(value) if most is not None else units.distance(value)


def whole_of(ranked: RankedSpot) -> str:
    """What the share is a share of: `weighted area`."""
    coverage = ranked.evaluation.coverage
    return "area" if coverage is None or coverage.service is None else WHOLE[coverage.service.weighted_by]


def best_at_words(option: Option, units: Units = METRIC, named: Named = str, most: int = MOST_TOLD) -> str:
    """`best of all judged: score 77.3, weighted area served 82 %; best of the options: ...`; '' for nothing."""
    heads = {"judged": "best of all judged", "options": "best of the options", "first": "better than the first"}
    parts, left = [], most
    for among, head in heads.items():
        told = [b for b in option.best_at if b.among == among][:left]
        left -= len(told)
        if told:
            parts.append(f"{head}{units.colon}{', '.join(_one_best(b, option, units, named) for b in told)}")
    return "; ".join(parts)


def _one_best(best: BestAt, option: Option, units: Units, named: Named) -> str:
    return f"{label(best.figure, whole_of(option.ranked), named)} {value_words(best.figure, best.value, units)}"


def differences_words(
    told: Sequence[Difference], whole: str, units: Units = METRIC, named: Named = str, most: int = MOST_TOLD
) -> str:
    """`Search base 88 %, not 6 %; drive 15 min, not 18 min; and 2 more`: here, not as at the first spot."""
    parts = [
        f"{label(d.figure, whole, named)} {value_words(d.figure, d.here, units)}, not "
        f"{value_words(d.figure, d.first, units)}"
        for d in told[:most]
    ]
    left = len(told) - most
    return "; ".join([*parts, *([f"and {left} more"] if left > 0 else [])])


def price_words(price: Price, whole: str, units: Units = METRIC, named: Named = str) -> str:
    """What a spot gives and what it costs against the first, a sentence each; '' where nothing differs."""
    out = []
    for head, told in (("It gives", price.gains), ("It costs", price.costs)):
        if told:
            out.append(f"{head}{units.colon}{differences_words(told, whole, units, named)}.")
    return " ".join(out)


def trigger_words(
    trigger: Trigger, whole: str, dispatch: datetime | None = None, units: Units = METRIC, named: Named = str
) -> str:
    """`Choose it if Search base must be served, or if Chapel Bench Road (1.3 km) is shut. ...`: why, then by when."""
    whys = _whys(trigger, whole, units, named)
    why = " or if ".join(whys) or "the first spot turns out unfit on arrival"
    return f"Choose it if {why}.{_by_when(trigger, dispatch, units)}"


def _whys(trigger: Trigger, whole: str, units: Units, named: Named) -> list[str]:
    whys = []
    if trigger.points:
        whys.append(f"{' and '.join(named(p) for p in trigger.points)} must be served")
    if trigger.steepest is not None:
        grade = units.grade(trigger.steepest.grade_pct, trigger.steepest.error_pct)
        whys.append(
            f"a scout finds the drive to the first spot too steep ({grade}; the rig's limit is "
            f"{units.figure(trigger.steepest.limit_pct, '%')})"
        )
    if trigger.roads:
        whys.append(f"{_roads(trigger.roads, units, named)} is shut")
    if trigger.counts is not None:
        whys.append(f"one thing counts most{units.colon}{differences_words([trigger.counts], whole, units, named)}")
    return whys


def option_whys(trigger: Trigger, units: Units = METRIC, named: Named = str) -> str:
    """`Search base must be served, or Chapel Bench Road (1.3 km) is shut`: what makes one change to an option."""
    return ", or ".join(_whys(replace(trigger, counts=None), "", units, named))


def _roads(roads: Sequence[Section], units: Units, named: Named) -> str:
    """Roads by name, pieces of one together, the longest first."""
    metres: dict[str, float] = {}
    for section in roads:
        name = section_name(section) if section.bridge else section.name
        metres[name] = metres.get(name, 0.0) + section.length_m
    told = sorted(metres.items(), key=lambda road: -road[1])
    names = [f"{named(name)} ({along_words(length, units)})" for name, length in told[:MOST_ROADS]]
    left = len(told) - MOST_ROADS
    return " or ".join([*names, *([f"one of {left} more"] if left > 0 else [])])


def _by_when(trigger: Trigger, dispatch: datetime | None, units: Units) -> str:
    """Until when a change of mind costs nothing: where the two drives part."""
    if trigger.parts is None or trigger.decide_by_min != trigger.decide_by_min:
        return ""
    at = dispatch + timedelta(minutes=trigger.decide_by_min) if dispatch is not None else None
    clock = "" if at is None else f", {at:%H:%M}"
    air = ""
    if trigger.on_air_late_min == trigger.on_air_late_min:
        late = units.figure(trigger.on_air_late_min, "min")
        air = f" Decided by then, it is on air {late} after dispatch at the latest."
    if trigger.parts.distance_m < 1:
        return f" Decide before the rig leaves.{air}"
    where = units.figure(trigger.parts.distance_m / 1000, "km", 1)
    when = units.figure(trigger.decide_by_min, "min", 0, "down")
    there = f"{when} after dispatch at the earliest{clock}"
    return f" Decide before the rig is {where} out, where the two drives part ({there}).{air}"


def option_sentences(
    option: Option, dispatch: datetime | None = None, units: Units = METRIC, named: Named = str
) -> dict[str, str]:
    """What is said of one option: `best_at`, `price`, `trigger`; '' where there is nothing to say."""
    whole, best = whole_of(option.ranked), best_at_words(option, units, named)
    return {
        "best_at": f"{best[:1].upper()}{best[1:]}." if best else "",
        "price": price_words(option.price, whole, units, named),
        "trigger": "" if option.trigger is None else trigger_words(option.trigger, whole, dispatch, units, named),
    }


def tied_words(tied: Sequence[RankedSpot]) -> str:
    """That nobody can part some spots; '' for none."""
    if len(tied) < 2:
        return ""
    names = [r.spot.name for r in tied]
    return (
        f"Too close to call: the scores of spots {', '.join(names[:-1])} and {names[-1]} differ by less than the "
        "doubt of their figures."
    )


def missed_words(point: PointAnswer, units: Units = METRIC, named: Named = str) -> str:
    """`Search base is not served from the first spot (6 %). Spot E serves it (88 %), 16 min by road; there ...`."""
    missed = f"{named(point.name)} is not served from the first spot ({units.share(point.first)})"
    if point.best is None:
        return f"{missed}, nor from any other judged spot."
    e = point.best.evaluation
    drive = "" if e.access is None else f", {units.seconds(e.access.drive_time_s)} by road"
    steep = f", {LIKELY_STEEP}" if stands_back(e) else ""
    share = (
        [] if point.price is None else [d for d in (*point.price.costs, *point.price.gains) if d.figure.name == "share"]
    )
    cost = ""
    if share:
        here_share, first_share = (units.share(v) for v in (share[0].here, share[0].first))
        cost = f", but then {here_share} of the {whole_of(point.best)} is served, not {first_share}"
    name, reference = _spot(point.best.spot.name), grid_text(point.best.spot.grid_reference)
    where = f"{name} ({reference})" if reference else name
    return f"{missed}. {where[:1].upper()}{where[1:]} serves it ({units.share(point.chance)}){drive}{steep}{cost}."


def missed_lines(points: Sequence[PointAnswer], units: Units = METRIC, named: Named = str, most: int = 2) -> list[str]:
    """A line for each named point that the first spot does not serve and another does; the rest in one line."""
    served = [p for p in points if p.missed and p.best is not None]
    none = [named(p.name) for p in points if p.missed and p.best is None]
    lines = [missed_words(p, units, named) for p in served[:most]]
    left = len(served) - most
    if left > 0:
        lines.append(f"And {left} more points that another spot serves: see the table of points in plan.json.")
    if none:
        lines.append(f"Served by no judged spot: {', '.join(none)}.")
    return lines


def option_cells(
    option: Option, units: Units = METRIC, named: Named = str, *, plain: bool = False
) -> tuple[str, str, str, str]:
    """One row of a small table: what it is best at, area served, on air, when to choose it. `plain`: no score."""
    e, trigger = option.ranked.evaluation, option.trigger
    named_points = () if trigger is None else trigger.points
    shown = [b for b in option.best_at if not (plain and b.figure.name == "score")]
    best = next((b for b in shown if b.figure.about in named_points), next(iter(shown), None))
    lead = "" if best is None else _one_best(best, option, units, named)
    if best is not None and best.among == "first":
        lead = f"better than the first{units.colon}{lead}"
    counts = NOT_KNOWN if best is None else f"{label(best.figure, whole_of(option.ranked), named)} counts most"
    if trigger is None:
        why = "nothing below holds"
    else:
        held = trigger.points or ([section_name(s) for s in trigger.roads[:1]] if trigger.roads else ())
        why = f"{named(held[0])} {'must be served' if trigger.points else 'is shut'}" if held else counts
        if trigger.steepest is not None and not trigger.points:
            why = "the drive to the first is too steep"
    share = NOT_KNOWN if e.coverage is None else units.share(e.coverage.share)
    air = NOT_KNOWN if e.on_air is None else minutes_range(e.on_air.early_min, e.on_air.late_min, units)
    return lead, share, air, why


def _spot(name: str) -> str:
    return name if " " in name else f"spot {name}"
