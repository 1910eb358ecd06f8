"""A score in words: the figure of each line, and why one spot stands above another."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.ranked import RankedSpot, ScoreLine
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units, rounded_text


def figure_words(line: ScoreLine, units: Units = METRIC) -> str:
    """The figure of a line with the sign of its unit."""
    value, figure = line.value, line.gauge.figure
    if not math.isfinite(value):
        return NOT_KNOWN
    if figure == "count":
        return rounded_text(value, 0)
    if figure == "percent":
        return units.share(value / 100)
    if figure == "percent_at_least":
        return units.share_at_least(value / 100)
    if figure == "minutes":
        return units.minutes(value)
    return units.angle(value) if figure == "degrees" else units.decibels(value)


def line_words(line: ScoreLine, units: Units = METRIC) -> str:
    """What a line measured, as a cell of a table: `71 %`, `Donor link 21 dB to spare`."""
    if not math.isfinite(line.value):
        return NOT_KNOWN
    return line.gauge.says.format(figure_words(line, units))


def points_words(line: ScoreLine, points: float, units: Units = METRIC) -> str:
    """What a line measured and the points that it is worth, as they are shown."""
    return f"{line_words(line, units)}, {points:.1f} points"


def difference_words(one: ScoreLine, other: ScoreLine, units: Units = METRIC) -> str:
    """Why `one` is better than `other` by this criterion, as a clause."""
    say = one.gauge.difference
    if say != other.gauge.difference:
        say = CRITERIA[one.name].across or say
    return say.format(line_words(one, units), line_words(other, units))


MOST_NAMES = 4
LIKELY_STEEP = "more likely than not too steep at the trailer's size"


def behind_words(spots: Sequence[RankedSpot], named: Callable[[str], str] = str) -> str:
    """Which of these ranked spots stand behind others with a lower score, and why; '' where the scores say it all.
    `named`: how a name from the data is written there."""
    back = [r for r in spots if stands_back(r.evaluation)]
    front = [r.score for r in spots if not stands_back(r.evaluation)]
    names = [named(r.spot.name) for r in back if front and r.score > min(front)]
    if not names:
        return ""
    more = len(names) - MOST_NAMES
    said = ", ".join(names) if more <= 1 else f"{', '.join(names[:MOST_NAMES])} and {more} more"
    return f"Ranked behind the others whatever the score: {said}. Reason: {LIKELY_STEEP}."


def behind_clause(name: str) -> str:
    """The same of one spot beside another."""
    return f"{name} ranks behind whatever the score: {LIKELY_STEEP}."


def rank_text(rank: int) -> str:
    """`rank 1`."""
    return f"rank {rank}"


def score_points(lines: Sequence[ScoreLine]) -> list[float]:
    """The points of each line as printed; they add up to the printed score."""
    return parts_that_add_up([line.contribution for line in lines])[0]


def score_text(lines: Sequence[ScoreLine]) -> str:
    """The score as every output prints it."""
    return f"{parts_that_add_up([line.contribution for line in lines])[1]:.1f}"


def parts_that_add_up(parts: list[float], digits: int = 1) -> tuple[list[float], float]:
    """Parts and their sum, rounded so that the printed parts add up to the printed sum exactly.

    Largest-remainder rounding: each part is off by less than one unit of its last digit.
    """
    unit = 10**digits
    total = round(math.fsum(parts) * unit)
    floors = [math.floor(part * unit) for part in parts]
    by_rest = sorted(range(len(parts)), key=lambda i: (floors[i] - parts[i] * unit, i))
    for i in by_rest[: total - sum(floors)]:
        floors[i] += 1
    return [value / unit for value in floors], total / unit
