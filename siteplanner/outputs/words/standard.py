"""What every output says in the same words: the caution, the score."""

from __future__ import annotations

from siteplanner.planning.telling.score import score_points, score_text

__all__ = ["CAUTION", "score_points", "score_text"]
CAUTION = (
    "A planning aid made from map data: check ground, wires, road limits and weather on site. "
    "The unit's manual, local codes, the landowner and licensed practice come first."
)
