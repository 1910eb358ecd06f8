"""Staging points that come as a layer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from siteplanner.data.grid import WGS84
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError
from siteplanner.mission import Mission, Staging
from siteplanner.planning.study.layers import Loaded, shapes_of, told

if TYPE_CHECKING:
    from siteplanner.data.vectors import Layer

_NO = ("no", "false", "0", "f", "n")


def with_staging(mission: Mission) -> Loaded[Mission]:
    """The mission with the points of its staging layers as staging points, after those that it names itself.

    Raises InputError for a layer without a point, and for points of one name.
    """
    paths = mission.layers.staging
    if not paths:
        return Loaded(mission)
    layers = [read_layer(mission.path(path), "staging", target_crs=WGS84, kinds=shapes_of("staging")) for path in paths]
    points = [point for layer in layers for point in _points(layer)]
    several = len(points) + len(mission.staging) > 1
    made = list(mission.staging)
    for number, (name, available, longitude, latitude) in enumerate(points, len(made) + 1):
        called = name or (f"Staging {number}" if several else Staging.model_fields["name"].default)
        if called in (s.name for s in made):
            raise InputError(
                f"Two staging points are called {called!r}.",
                remedy="Give each its own name in the column `name`.",
                file=mission.path(paths[0]),
                field="layers.staging",
            )
        made.append(Staging(name=called, latitude=latitude, longitude=longitude, rig_available=available))
    if not any(s.rig_available for s in made):
        raise InputError(
            "No staging point has a rig.",
            remedy="Set `rig_available` to yes for one of them, or leave the column out.",
            file=mission.path(paths[0]),
            field="layers.staging",
        )
    changed = {"staging": tuple(made), "layers": mission.layers.model_copy(update={"staging": ()})}
    return told(mission.model_copy(update=changed), layers)


def _points(layer: Layer) -> list[tuple[str, bool, float, float]]:
    """(name or '', whether a rig is there, longitude, latitude) of each point."""
    frame = layer.frame
    out = []
    for row in range(len(frame)):
        name, available = (_cell(frame, column, row) for column in ("name", "rig_available"))
        parts = getattr(frame.geometry.iloc[row], "geoms", [frame.geometry.iloc[row]])
        out += [(name, available.lower() not in _NO, float(p.x), float(p.y)) for p in parts]
    return out


def _cell(frame: Any, column: str, row: int) -> str:
    if column not in frame.columns:
        return ""
    value = frame[column].iloc[row]
    return "" if value is None or value != value else str(value).strip()
