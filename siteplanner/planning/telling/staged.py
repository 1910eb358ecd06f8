"""A sequence of operational periods in words: one spot for all, or moving, and what each costs."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from siteplanner.planning.plan.staged import InOrder, Staged
from siteplanner.planning.telling.clock import clock_range, minutes_range
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

Named = Callable[[str], str]


def headline(found: Staged, units: Units = METRIC, named: Named = str) -> str:
    """The answer in a sentence or two."""
    single, moving = found.single, found.moving
    if single is None and moving is None:
        return "No spot passes in every period, and no sequence of spots can be driven."
    if single is None:
        assert moving is not None
        return f"No spot passes in every period. Move: {_way(moving, named)}; {off_words(moving, units)}."
    where = named(single.places[0].name)
    if moving is not None and found.move_pays:
        more = moving.served_h - single.served_h
        return (
            f"Move: {_way(moving, named)}. Against staying at spot {where} that is {_hours(more)} more service, "
            f"{off_words(moving, units)}."
        )
    return f"Stay at spot {where} through all {len(found.periods)} periods: moving does not serve enough more."


def _way(order: InOrder, named: Named) -> str:
    return ", then ".join(f"spot {named(spot.name)}" for spot in order.places)


def off_words(order: InOrder, units: Units = METRIC) -> str:
    """What the moves of a sequence cost off the air."""
    told = [minutes_range(off.early_min, off.late_min, units) for off in order.offs if off is not None]
    return f"off the air {', then '.join(told)}" if told else "never off the air to move"


def _hours(served_h: float) -> str:
    return f"{served_h:.1f} h of the whole area"


def period_rows(found: Staged, units: Units = METRIC, named: Named = str) -> list[list[str]]:
    """Period, when, one spot for all with its share, the sequence's spot with its share, off the air before it, and the
    best spot of the period alone."""
    out = []
    for k, (period, plan) in enumerate(zip(found.periods, found.plans, strict=True)):
        off = None if found.moving is None or k == 0 else found.moving.offs[k - 1]
        best = plan.best
        alone = NOT_KNOWN if best is None or best.evaluation.coverage is None else best.evaluation.coverage.share
        out.append(
            [
                named(period.name),
                clock_range(period.starts, period.until),
                _cell(found.single, k, units, named),
                _cell(found.moving, k, units, named),
                "-" if off is None else minutes_range(off.early_min, off.late_min, units),
                "none passes" if best is None or isinstance(alone, str)
                else f"{named(best.spot.name)}, {units.share(alone)}",
            ]
        )  # fmt: skip
    return out


def _cell(order: InOrder | None, k: int, units: Units, named: Named) -> str:
    if order is None:
        return "none"
    share = order.shares[k]
    return f"{named(order.places[k].name)}, {units.share(share) if math.isfinite(share) else NOT_KNOWN}"


def total_lines(found: Staged) -> list[str]:
    """Service in hours of each way, and how many places were held against each other."""
    out = [f"{found.places} places were held against each other, the best of each period."]
    for what, order in (("One spot for all", found.single), ("Best sequence", found.moving)):
        if order is not None:
            out.append(f"{what}: {_hours(order.served_h)} in {found.hours:.1f} h, moves: {order.moves}.")
    return out


def staged_lines(found: Staged, units: Units = METRIC) -> list[str]:
    """For the terminal and the text file."""
    out = [headline(found, units), *total_lines(found)]
    for name, when, single, moving, off, alone in period_rows(found, units):
        out.append(
            f"{name}, {when}: one spot for all {single}; in the sequence {moving}; off the air before it {off}; "
            f"best of this period alone {alone}."
        )
    return out


def staged_record(found: Staged, units: Units = METRIC) -> dict[str, Any]:
    """For machines; shares 0..1, hours, minutes; null where there is none."""
    return {
        "format": 1,
        "headline": headline(found, units),
        "move_pays": found.move_pays,
        "places": found.places,
        "hours": found.hours,
        "periods": [{**p.model_dump(mode="json"), "hours": p.hours} for p in found.periods],
        "single": _order_record(found.single),
        "moving": _order_record(found.moving),
        "lines": staged_lines(found, units),
    }


def _order_record(order: InOrder | None) -> dict[str, Any] | None:
    if order is None:
        return None
    offs = [None if off is None else [off.early_min, off.mean_min, off.late_min] for off in order.offs]
    places = [{"spot": s.name, "latitude": s.latitude, "longitude": s.longitude} for s in order.places]
    return {"places": places, "shares": list(order.shares), "off_air_min": offs, "served_h": order.served_h}
