"""Names that the app and the command line ask for here."""

from __future__ import annotations

from siteplanner.planning.telling.aiming import both_bearings, compass_words, rain_words, sun_words
from siteplanner.planning.telling.trees import sky_sentences, tree_rows

__all__ = ["both_bearings", "compass_words", "rain_words", "sky_sentences", "sun_words", "tree_rows"]
