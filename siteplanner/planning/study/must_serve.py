"""The named points that must be served: what they are called, and which of them a spot may not leave without."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from siteplanner.errors import InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_YES, _NO = ("yes", "true", "1", "y", "t"), ("no", "false", "0", "n", "f", "")


def point_names(points: GeoDataFrame | None) -> list[str]:
    """What each point is called: its `name`, or its number."""
    if points is None:
        return []
    names = points["name"] if "name" in points.columns else [None] * len(points)
    return [str(n) if isinstance(n, str) and n.strip() else f"Point {k}" for k, n in enumerate(names, 1)]


def required_points(points: GeoDataFrame | None, asked: Sequence[str], file: str) -> tuple[bool, ...]:
    """Which points are required: by the layer's column `required` (yes or no), or by their names in the mission.

    Raises InputError for a value that is neither yes nor no, and for a name that no point of the layer has.
    """
    names = [name.strip() for name in point_names(points)]
    missing = [name for name in asked if name.strip() not in names]
    if missing:
        there = f"Its points are {', '.join(names)}." if names else "It has none."
        raise InputError(
            f"site.required_points names {', '.join(repr(m) for m in missing)}, and no point of layers.must_serve near "
            f"the search ground is called so. {there}",
            remedy="Write the name as the layer has it, or add the point to the layer.",
            field="site.required_points",
        )
    said = [_said(value, file) for value in points["required"]] if points is not None and "required" in points else []
    by_name = [name in {a.strip() for a in asked} for name in names]
    return tuple(a or b for a, b in zip(by_name, said or [False] * len(names), strict=True))


def _said(value: object, file: str) -> bool:
    if value is None or value != value:
        return False
    text = str(value).strip().lower().removesuffix(".0")
    if text in _YES or text in _NO:
        return text in _YES
    raise InputError(
        f"The column `required` of the must-serve points has {str(value)[:40]!r}, which is neither yes nor no.",
        remedy="Write yes or no, or leave it empty for no.",
        file=file,
        field="layers.must_serve",
    )
