"""Several trailers in words: what a second and a third add, where they stand, who goes first, one channel or more."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from typing import Any

from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.choose.sets import TrailerAt, TrailerSet
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.score import LIKELY_STEEP
from siteplanner.planning.telling.service import WHOLE
from siteplanner.planning.telling.units import METRIC, Units

NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
ORDINALS = ("none", "first", "second", "third", "fourth", "fifth", "sixth")
# aimed again for what the others leave, the sample county's best two serve 0.4 points more, its best three 0.1
AS_ALONE = (
    "Each trailer's sectors are aimed as they would be if it stood alone, not at the ground that the others leave."
)
LITTLE = 0.01  # of the weighted area: what adds less is said to add next to nothing

Named = Callable[[str], str]


def _plain(name: str) -> str:
    return name


def served_by_words(one: TrailerSet, units: Units = METRIC) -> str:
    """`90 % of the weighted area, about 610 of 665 people, 5 of 5 named points`."""
    return ", ".join([f"{units.share(one.share)} of the {WHOLE[one.weighted_by]}", *_counted(one, units)])


def _counted(one: TrailerSet, units: Units) -> list[str]:
    """People and named points, where there are any."""
    parts = []
    if one.people is not None and one.people_served is not None:
        parts.append(f"about {units.people(one.people_served)} of {one.people:,.0f} people")
    if one.points:
        parts.append(f"{one.points_served} of {len(one.points)} named points")
    return parts


def place_words(t: TrailerAt, named: Named = _plain) -> str:
    """`Spot DG`, or `Ridge unit at Spot DG` where units have names."""
    spot = f"Spot {named(t.ranked.spot.name)}"
    return f"{named(t.unit)} at {spot}" if t.unit else spot


def turn_words(one: TrailerSet, at: int) -> str:
    """`the second of two trailers`, by its place in the order from 0; the unit's name where it has one."""
    t = one.trailers[at]
    return t.unit or f"the {ORDINALS[at + 1]} of {NUMBERS[len(one.trailers)]} trailers"


def arrival_clause(t: TrailerAt, units: Units = METRIC, named: Named = _plain) -> str:
    """`drive 18 min from County road yard, on air 86 min after dispatch`; the time it has to wait for before both."""
    parts = [f"ready {units.minutes(t.ready_min)} after dispatch"] if t.ready_min else []
    if math.isfinite(t.drive_min):
        parts.append(f"drive {units.minutes(t.drive_min)} from {named(t.start)}")
    if math.isfinite(t.likely_min):
        parts.append(f"on air {units.minutes(t.likely_min)} after dispatch, at the latest {units.minutes(t.late_min)}")
    return ", ".join(parts) if parts else "no way there is known"


def added_words(one: TrailerSet, at: int, units: Units = METRIC, named: Named = _plain) -> str:
    """What the trailer at a place of the order (from 0) adds to those before it."""
    now, before = one.trailers[at], one.trailers[at - 1]
    new = [named(p) for p in now.points_after if p not in before.points_after]
    gained = now.share_after - before.share_after
    points = f"serves {' and '.join(new)}" if new else ""
    if gained < LITTLE:
        return f"adds next to nothing to the {WHOLE[one.weighted_by]}" + (f" but {points}" if points else "")
    parts = [
        f"lifts service from {units.share(before.share_after)} to {units.share(now.share_after)} of the "
        f"{WHOLE[one.weighted_by]}"
    ]
    if now.people_after is not None and before.people_after is not None:
        more = now.people_after - before.people_after
        parts.append(f"reaches about {more:,.0f} people more")
    return ", ".join([*parts, *([points] if points else [])])


def pair_line(plan: Plan, units: Units = METRIC) -> str:
    """One line for a terminal: where two trailers should stand and what they serve; '' without a pair."""
    one = plan.sets.get(2)
    if one is None:
        return ""
    places = " and ".join(place_words(t) for t in one.trailers)
    return f"Two trailers: {places} serve {served_by_words(one, units)}.{_not_proven(one, units)}{steep_sentence(one)}"


def second_sentence(plan: Plan, units: Units = METRIC, named: Named = _plain) -> str:
    """Where a second trailer goes when the first stands at the best spot; '' where there is no second."""
    one = plan.beside_first
    if one is None:
        return ""
    second = one.trailers[1]
    grid, counted = grid_text(second.ranked.spot.grid_reference), ", ".join(_counted(one, units))
    return (
        f"A second trailer: {place_words(second, named)} ({grid}). It {added_words(one, 1, units, named)}"
        f"{f'; together {counted}' if counted else ''}. {_capital(arrival_clause(second, units, named))}."
        f"{steep_sentence(replace(one, trailers=one.trailers[1:]), named)}"
    )


def runner_up_sentence(plan: Plan, units: Units = METRIC, named: Named = _plain) -> str:
    """That the runner-up is no place for the second trailer, by how much; '' where it is as good."""
    one, best = plan.with_runner_up, plan.beside_first
    if one is None or best is None or best.share - one.share < LITTLE:
        return ""
    return (
        f"At the runner-up, Spot {named(one.trailers[1].ranked.spot.name)}, a second trailer would serve "
        f"{units.share(one.share)} in all, not {units.share(best.share)}."
    )


def steep_sentence(one: TrailerSet, named: Named = _plain) -> str:
    """Which of its spots are likely too steep, in a sentence; '' for none."""
    names = [f"Spot {named(t.ranked.spot.name)}" for t in one.trailers if stands_back(t.ranked.evaluation)]
    return f" {_listed(names)} {'is' if len(names) == 1 else 'are'} {LIKELY_STEEP}." if names else ""


def set_sentence(one: TrailerSet, units: Units = METRIC, named: Named = _plain) -> str:
    """A set in one sentence, in the order in which its trailers should go."""
    count, first = len(one.trailers), one.trailers[0]
    if count == 1:
        told = f"One trailer: {place_words(first, named)} serves {served_by_words(one, units)}."
        return told + steep_sentence(one, named)
    places = ", then ".join(place_words(t, named) for t in one.trailers)
    return (
        f"{_capital(NUMBERS[count])} trailers: first {places}. Together {served_by_words(one, units)}."
        f"{_not_proven(one, units)}{steep_sentence(one, named)}"
    )


def required_sentence(one: TrailerSet, units: Units = METRIC, named: Named = _plain) -> str:
    """Whether the set serves what is required, and what that costs; '' where nothing is required."""
    must = [p for p in one.points if p.required]
    if not must:
        return ""
    who, missed = _trailers(one), [f"{named(p.name)} ({units.share(p.probability)})" for p in one.required_missed]
    if missed:
        text = f"No {who} at judged spots serve more of the required points: {', '.join(missed)} stays without service."
        if len(one.trailers) == 1:
            text = f"No single spot serves every required point: {', '.join(missed)} stays without service."
    else:
        text = "Every required point is served."
    free = one.free
    if free is None:
        return text
    places = _listed([f"spot {named(name)}" for name in free.spots])
    left = f" and leave {_listed([named(name) for name in free.missed])} without service" if free.missed else ""
    return (
        f"{text} What that costs: if nothing were required, {who} at {places} would serve {units.share(free.share)} "
        f"of the {WHOLE[one.weighted_by]}, not {units.share(one.share)}{left}."
    )


def _trailers(one: TrailerSet) -> str:
    count = len(one.trailers)
    return f"{NUMBERS[count] if count < len(NUMBERS) else count} {'trailer' if count == 1 else 'trailers'}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def last_sentence(one: TrailerSet, units: Units = METRIC, named: Named = _plain) -> str:
    """What the last trailer of a set adds: `The third trailer, at Spot BD, ...`; '' for one trailer."""
    if len(one.trailers) < 2:
        return ""
    last = one.trailers[-1]
    who = f"The {ORDINALS[len(one.trailers)]} trailer, {'' if last.unit else 'at '}{place_words(last, named)},"
    return f"{who} {added_words(one, len(one.trailers) - 1, units, named)}."


def channel_sentence(one: TrailerSet, units: Units = METRIC) -> str:
    """What one channel for all costs against a channel each; '' for one trailer, or where it is not worked out."""
    if len(one.trailers) < 2 or not math.isfinite(one.share_one_channel):
        return ""
    apart, together = units.share(one.share_own_channels), units.share(one.share_one_channel)
    if one.share_own_channels - one.share_one_channel < LITTLE:
        return "On one channel for all or each on its own: it makes next to no difference at these places."
    if one.one_channel:
        return f"All on one channel; with a channel each these places would serve {apart}, not {together}."
    return f"Each on its own channel; on one channel for all they would disturb each other: {together}, not {apart}."


def objective_sentence(plan: Plan) -> str:
    """What was made as large as it can be, for whoever checks it."""
    w, points = plan.mission.weights, bool(plan.sets and next(iter(plan.sets.values())).points)
    kept = f"Spots of a set are at least {METRIC.keep(plan.set_spacing_m)} apart. {AS_ALONE}"
    if any(stands_back(r.evaluation) for r in plan.judged):
        kept += f" Spots that are {LIKELY_STEEP} are left out, unless no other passes or serves a required point."
    if plan.sets and any(p.required for p in next(iter(plan.sets.values())).points):
        kept += " Only sets that serve most of the required points count."
    if not points or w.coverage + w.must_serve <= 0:
        return f"The share of the weighted area is as large as any set of so many serves, each cell by its best. {kept}"
    return (
        f"As large as any set of so many has it: (weights.coverage {w.coverage:g} x share of the weighted area + "
        f"weights.must_serve {w.must_serve:g} x mean probability at the named points) / {w.coverage + w.must_serve:g}, "
        f"each cell and point by its best server. {kept}"
    )


def _not_proven(one: TrailerSet, units: Units) -> str:
    """'' where nothing can be better; otherwise how much better another set may be at most."""
    if one.optimal:
        return ""
    return f" Another set may serve up to {units.share(max(one.bound - one.value, 0.0), 1)} more by the same measure."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def sheet_lines(plan: Plan, units: Units = METRIC, named: Named = _plain) -> list[str]:
    """A few lines for the commander: the second trailer, the runner-up, the third, the channel; none for one."""
    if not plan.sets or 2 not in plan.sets:
        return []
    pair, beside = plan.sets[2], plan.beside_first
    lines = [second_sentence(plan, units, named), required_sentence(pair, units, named)]
    lines.append(runner_up_sentence(plan, units, named))
    if beside is None or _better(pair, beside):
        lines.append(f"If none stands yet: {set_sentence(pair, units, named)}")
    if 3 in plan.sets:
        three = plan.sets[3]
        free = "" if plan.best in three.spots else "If none stands yet: "
        lines.append(f"{free}{set_sentence(three, units, named)} {last_sentence(three, units, named)}")
    if plan.mission.units:
        lines += [f"{place_words(t, named)}: {arrival_clause(t, units, named)}." for t in pair.trailers]
    lines.append(channel_sentence(pair, units))
    return [line for line in lines if line]


def _better(one: TrailerSet, other: TrailerSet) -> bool:
    """By so much that it is worth telling."""
    return one.share - other.share >= LITTLE or one.points_served > other.points_served


def names_of_sets(plan: Plan) -> list[str]:
    """Names from files that stand in the sentences here."""
    told = [*plan.sets.values(), *(one for one in (plan.beside_first, plan.with_runner_up) if one is not None)]
    trailers = [t for one in told for t in one.trailers]
    names = [t.ranked.spot.name for t in trailers] + [t.unit for t in trailers] + [t.start for t in trailers]
    return [name for name in dict.fromkeys(names + [p.name for one in told for p in one.points]) if name]


def sets_record(plan: Plan) -> dict[str, Any]:
    """What `plan.json` holds of sets: by their size, the second beside the best spot, what was made largest."""
    return {
        "sets": {str(size): set_record(one) for size, one in plan.sets.items()},
        "second_trailer": {
            "beside_first": None if plan.beside_first is None else set_record(plan.beside_first),
            "with_runner_up": None if plan.with_runner_up is None else set_record(plan.with_runner_up),
            "sentences": sheet_lines(plan),
        },
        "sets_measure": {"spacing_m": plan.set_spacing_m, "sentence": objective_sentence(plan)},
    }


def set_record(one: TrailerSet) -> dict[str, Any]:
    """One set as plain data."""
    return {
        "spots": [t.ranked.spot.name for t in one.trailers],
        "share": one.share,
        "area_share": one.area_share,
        "people": one.people,
        "people_served": one.people_served,
        "polygons": [asdict(p) for p in one.polygons],
        "points": [{**asdict(p), "served": p.served} for p in one.points],
        "points_served": one.points_served,
        "value": one.value,
        "bound": one.bound,
        "optimal": one.optimal,
        "one_channel": one.one_channel,
        "share_own_channels": one.share_own_channels,
        "share_one_channel": one.share_one_channel,
        "trailers": [_trailer_record(t) for t in one.trailers],
        "if_nothing_required": None if one.free is None else asdict(one.free),
        "sentence": set_sentence(one),
        "required_sentence": required_sentence(one),
    }


def _trailer_record(t: TrailerAt) -> dict[str, Any]:
    spot = t.ranked.spot
    return {
        "unit": t.unit or None,
        "spot": spot.name,
        "rank": t.ranked.rank,
        "latitude": spot.latitude,
        "longitude": spot.longitude,
        "grid_reference": spot.grid_reference,
        "start": t.start,
        "ready_min": t.ready_min,
        "drive_min": t.drive_min,
        "on_air_early_min": t.early_min,
        "on_air_likely_min": t.likely_min,
        "on_air_late_min": t.late_min,
        "share_after": t.share_after,
        "area_share_after": t.area_after,
        "people_after": t.people_after,
        "points_after": list(t.points_after),
    }
