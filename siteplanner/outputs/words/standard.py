"""What every output says in the same words: the caution, the score."""

from __future__ import annotations

from siteplanner.outputs.words.text import parts_that_add_up
from siteplanner.planning.choose.ranked import RankedSpot

CAUTION = (
    "A planning aid made from map data: check ground, wires, road limits and weather on site. "
    "Local codes, the landowner and licensed practice come first."
)


def score_text(ranked: RankedSpot) -> str:
    """The score as every output prints it."""
    return f"{parts_that_add_up([c.contribution for c in ranked.criteria])[1]:.1f}"
