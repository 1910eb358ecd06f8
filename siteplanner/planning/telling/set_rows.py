"""The trailers of a set as rows of a table, and the choice of how many."""

from __future__ import annotations

import math
from collections.abc import Callable

from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.choose.sets import TrailerAt, TrailerSet
from siteplanner.planning.telling.clock import minutes_range
from siteplanner.planning.telling.service import WHOLE
from siteplanner.planning.telling.sets import NUMBERS, added_words, place_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

Named = Callable[[str], str]
COLUMNS = ("Trailer", "Place", "Drive", "On air after dispatch", "What it adds")


def count_words(size: int) -> str:
    """`Two trailers`."""
    number = NUMBERS[size] if size < len(NUMBERS) else str(size)
    return f"{number[:1].upper()}{number[1:]} trailer{'' if size == 1 else 's'}"


def set_rows(one: TrailerSet, units: Units = METRIC, named: Named = str) -> list[tuple[str, str, str, str, str]]:
    """A row a trailer under `COLUMNS`, in the order in which they should go."""
    return [
        (place_words(t, named), grid_text(t.ranked.spot.grid_reference), _drive(t, units, named), _air(t, units), adds)
        for t, adds in zip(one.trailers, _adds(one, units, named), strict=True)
    ]


def _adds(one: TrailerSet, units: Units, named: Named) -> list[str]:
    first = one.trailers[0]
    alone = f"serves {units.share(first.share_after)} of the {WHOLE[one.weighted_by]}"
    if one.points:
        alone += f", {len(first.points_after)} of {len(one.points)} named points"
    return [alone, *(added_words(one, at, units, named) for at in range(1, len(one.trailers)))]


def _drive(t: TrailerAt, units: Units, named: Named) -> str:
    return f"{units.minutes(t.drive_min)} from {named(t.start)}" if math.isfinite(t.drive_min) else NOT_KNOWN


def _air(t: TrailerAt, units: Units) -> str:
    return minutes_range(t.early_min, t.late_min, units) if math.isfinite(t.late_min) else NOT_KNOWN


def missed_by_set(one: TrailerSet, units: Units = METRIC, named: Named = str) -> str:
    """Which wanted points even these trailers do not serve; '' for none. The required ones: `required_sentence`."""
    wanted = [p for p in one.points if not p.required]
    missed = [f"{named(p.name)} ({units.share(p.probability)})" for p in wanted if not p.served]
    return f"Not served by any of them: {', '.join(missed)}." if missed else ""
