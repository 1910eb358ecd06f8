"""What every output says in the same words: the caution, the score."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.outputs.words.text import parts_that_add_up
from siteplanner.planning.choose.ranked import ScoreLine

CAUTION = (
    "A planning aid made from map data: check ground, wires, road limits and weather on site. "
    "The unit's manual, local codes, the landowner and licensed practice come first."
)


def score_points(lines: Sequence[ScoreLine]) -> list[float]:
    """The points of each line as printed; they add up to the printed score."""
    return parts_that_add_up([line.contribution for line in lines])[0]


def score_text(lines: Sequence[ScoreLine]) -> str:
    """The score as every output prints it."""
    return f"{parts_that_add_up([line.contribution for line in lines])[1]:.1f}"
