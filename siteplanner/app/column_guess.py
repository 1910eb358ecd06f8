"""Which column of a road layer holds what, by its values and then its name; for layers without OpenStreetMap's keys."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from siteplanner.planning.telling.first_mission import Clue
from siteplanner.roads.attributes import CLASSES

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

SURFACES = ("asphalt", "concrete", "paved", "unpaved", "gravel", "fine_gravel", "compacted", "dirt", "ground", "earth")
"""The commonest values of `surface` (OpenStreetMap, tag statistics, from memory)."""
LEAST_SHARE = 0.6  # of a column's values that must be such values: common practice, no source
NAME = re.compile(r"(^|_)(rd|road|st|street|full)?_?(name|nm)$", re.IGNORECASE)


def road_columns(frame: GeoDataFrame) -> tuple[tuple[str, str, Clue], ...]:
    """(OpenStreetMap key, column, by what) of the columns that can be told; limits never, for their unit is not known.

    Nothing for a layer that has the column `highway`.
    """
    columns = [str(c) for c in frame.columns if c != frame.geometry.name]
    if "highway" in (c.lower() for c in columns):
        return ()
    found: dict[str, tuple[str, Clue]] = {}
    for column in columns:
        values = {str(v).strip().lower() for v in frame[column].dropna().unique()[:200]} - {""}
        for key, known in (("highway", _is_class), ("surface", _is_surface), ("tracktype", _is_grade)):
            told = sorted(v for v in values if known(v))
            if key not in found and told and len(told) >= LEAST_SHARE * len(values):
                found[key] = column, Clue("values", ", ".join(told[:3]))
        if "name" not in found and NAME.search(column):
            found["name"] = column, Clue("name", "name")
    return tuple((key, column, clue) for key, (column, clue) in found.items())


def _is_class(value: str) -> Any:
    return value in CLASSES or value.removesuffix("_link") in CLASSES


def _is_surface(value: str) -> Any:
    return value in SURFACES


def _is_grade(value: str) -> Any:
    return re.fullmatch(r"grade[1-5]", value)
