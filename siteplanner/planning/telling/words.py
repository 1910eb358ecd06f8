"""The plan in words: short sentences that can be read over a radio. Numbers carry their unit."""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation, Ground
from siteplanner.planning.spots.lines import Look

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def compass_point(bearing_deg: float) -> str:
    """One of sixteen points for a bearing, e.g. 225 -> SW."""
    return COMPASS[round(bearing_deg % 360 / 22.5) % 16]


def best_look(evaluation: Evaluation) -> Look | None:
    """The satellite with the widest known margin, or None."""
    known = [look for look in evaluation.sky if look.margin_deg == look.margin_deg]
    return max(known, key=lambda look: look.margin_deg, default=None)


def backhaul_clause(e: Evaluation) -> list[str]:
    """What carries the traffic where it is not the dish, as a clause of `because`; nothing where none works."""
    if e.donor is not None:
        return [f"links to {e.donor.name} {e.donor.distance_m / 1000:.1f} km away, {e.donor.margin_db:.0f} dB to spare"]
    used = e.backhaul
    return [] if used is None else [f"has {math.floor(100 * used.margin + 1e-9)} % of open sky for the terminal"]


def starting_place(e: Evaluation) -> str:
    """Where the rig comes from: `staging`, or the name of the chosen one among several."""
    return e.access.by_staging[0].name if e.access is not None and e.access.by_staging else "staging"


def starts_sentence(starts: Sequence[tuple[str, float | None]]) -> str:
    """`The drive starts at West yard, 14 min. Not from East yard, 20 min; Camp, no way for the rig.`

    `starts`: (name, seconds of the drive, None for no way) of several staging points, the chosen one first; '' for
    fewer than two.
    """
    if len(starts) < 2:
        return ""
    first, *others = (
        f"{name}, {'no way for the rig' if seconds is None else f'{seconds / 60:.0f} min'}" for name, seconds in starts
    )
    return f"The drive starts at {first}. Not from {'; '.join(others)}."


def because(spot: RankedSpot) -> str:
    """Why this spot, in one clause a criterion."""
    e = spot.evaluation
    parts = []
    if e.coverage is not None:
        parts.append(
            f"serves {_share(e.coverage.share)} of the incident area with the mast at {e.coverage.mast_height_m:g} m"
        )
    look = best_look(e)
    if not e.dish_used:
        parts += backhaul_clause(e)
    elif look is not None:
        parts.append(f"sees {look.satellite_name} {look.margin_deg:.0f} deg above the skyline")
    if e.access is not None:
        parts.append(f"is {e.access.drive_time_s / 60:.0f} min by road from {starting_place(e)}")
    parts.append(f"stands on {e.ground.slope_deg:.1f} deg of slope")
    return ", ".join(parts[:-1]) + " and " + parts[-1] if len(parts) > 1 else parts[0]


def recommendation(plan: Plan) -> str:
    """The commander's sentence."""
    best = plan.best
    if best is None:
        worst = sorted(plan.rulings, key=lambda r: -r.share)[:2]
        reasons = "; ".join(
            f"{r.label.lower()} ({100 * r.share:.0f} % of the search ground"
            + (f", {r.nearest_to_pass}" if r.nearest_to_pass else "")
            + ")"
            for r in worst
        )
        return f"No spot passes every limit. What rules out most ground: {reasons}.{without_backhaul(plan)}"
    text = f"Park at {_spoken(best.spot.name)}: it {because(best)}."
    if best.evaluation.on_air is not None:
        air = best.evaluation.on_air
        text += f" On air {air.early_min:.0f} to {air.late_min:.0f} min after dispatch, {air.mean_min:.0f} on average."
    return text + watch(best)


def without_backhaul(plan: Plan) -> str:
    """How many spots have no backhaul that works, as a sentence to stand behind another; empty for none."""
    count, of = (plan.extra.get("search", {}).get(name, 0) for name in ("no_backhaul", "judged"))
    return f" No wanted backhaul works at {count} of {of} spots judged." if count else ""


def watch(spot: RankedSpot) -> str:
    """What could go wrong at the spot, as a sentence to stand behind the recommendation; empty when nothing."""
    e = spot.evaluation
    parts = ["there is one way in and out"] if e.access is not None and e.access.ways_out == 1 else []
    missed = [p for p in e.coverage.must_serve if p.probability < 0.5] if e.coverage is not None else []
    if missed:
        names = [p.name if len(p.name) <= 40 else p.name[:39] + "\u2026" for p in missed[:2]]
        more = f" and {len(missed) - 2} more" if len(missed) > 2 else ""
        parts.append(f"service is less likely than not at {', '.join(names)}{more}")
    return f" Watch out: {'; '.join(parts)}." if parts else ""


def firmness_sentence(plan: Plan) -> str:
    """How firm the first place is, and what would flip it."""
    firm = plan.extra.get("firmness")
    if len(plan.spots) < 2 or not firm:
        return ""
    stays, second = firm["first_stays_first"], plan.spots[1]
    text = f"Runner-up: {_spoken(second.spot.name)}, {firm['lead_points']:.1f} points behind; it {because(second)}. "
    if stays >= 0.95:
        text += "The first place holds when the weights change by up to half."
    else:
        better = firm["runner_up_better_on"]
        why = f" Weighing {better.replace('_', '-')} higher would favour the runner-up." if better else ""
        text += f"A close call: the first place holds in {100 * stays:.0f} % of weight changes by up to half.{why}"
    return text


def raise_first_words(ground: Ground) -> str:
    """Which corner the crew lifts first, in a sentence; '' where the stand is not known."""
    if not ground.jack_differences_m or any(v != v for v in ground.jack_differences_m.values()):
        return ""
    if not ground.raise_first:
        return "Level as it stands, to a centimetre."
    return f"Raise the {ground.raise_first.replace('_', ' ')} corner first: it is the lowest."


def lift_doubt_words(ground: Ground) -> str:
    """`Lifts give or take 0.22 m; bumps that the elevation does not show come on top.`; '' where not known."""
    doubt = ground.lift_uncertainty_m
    if doubt != doubt:
        return ""
    text = f"Lifts give or take {max(0.01, doubt):.2f} m"
    if ground.bumps_m == ground.bumps_m:
        return f"{text}: the ground under the trailer leaves the plane by up to {ground.bumps_m:.2f} m."
    return f"{text}; bumps that the elevation does not show come on top."


def drainage_words(ground: Ground) -> str:
    """How high the spot stands above the water's way."""
    above = ground.above_drainage_m
    return "not known" if above != above else f"{above:.1f} m above the channel that it drains to"


CAUTIONS: tuple[str, ...] = (
    "Overhead lines: stay outside the marked distance, look up before raising the mast, and treat every line as "
    "energised. The line's owner and local rules decide.",
    "Map and elevation data miss single trees, banks, ditches and new wires: walk the spot before setting up.",
    "The route uses posted limits where the data have them. Unknown is not safe: the driver turns back when in doubt.",
    "Generator exhaust, radio-frequency field, wind and guying: follow the unit's own manual and local codes.",
)


def _spoken(name: str) -> str:
    return name if " " in name else f"spot {name}"


def _share(share: float) -> str:
    """A share 0..1 as per cent; nearly all is never told as all, a little never as nothing."""
    percent = 100 * share
    return "above 99 %" if 99 < percent < 100 else "below 1 %" if 0 < percent < 1 else f"{percent:.0f} %"
