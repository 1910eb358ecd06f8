"""Shapes whose work would grow with the square of their size, found before anything is worked out from them.

A layer of a few hundred kilobytes can cost gigabytes: lines on top of each other, outlines that cross themselves at
every step. How often edges or shapes lie over each other is estimated from a sample, at the cost of looking at each
once. What real data hold stays far below these ceilings; equal lines are taken once, a line that is a tangle is left
out, anything else beyond them is refused with the reason.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

MOST_FEATURES = 2_000_000  # of one layer, as read
MOST = {
    "incident area": 5_000,
    "spots": 500,
    "must serve": 500,
    "staging": 200,
    "donor sites": 20_000,
    "hazards": 20_000,
    "closures": 20_000,
    "exits": 5_000,
    "parcels": 50_000,
    "landing zones": 2_000,
    "known cells": 5_000,
    "license area": 5_000,
}
"""Features near the mission, by role: each of these costs work of its own."""
LONGEST_LINE_M = 5e6  # a quarter of the way to the other side of the Earth
_FEW = 200  # edges: less than this is not worth a look
_SAMPLE = 300
_MOST_CROSSINGS = 100_000  # pairs of edges of one shape whose boxes meet, neighbours apart
_MOST_MENDED = 5_000  # the same of an outline that crosses itself
_MANY_PAIRS, _MOST_PAIRS = 1_000_000, 40_000_000  # pairs of shapes of one layer whose boxes meet
_MOST_AREAS = 5_000_000  # the same of areas, each of which may be asked of each road and spot
_SAME_M = 1e-3
_M_PER_DEG = 111_320.0  # of latitude: closed form, a degree of the equator


def bounded(frame: GeoDataFrame, path: Path) -> tuple[GeoDataFrame, list[Finding]]:
    """A layer without what only costs: vertices that stand still, and of equal lines all but one.

    Findings: `equal_lines`, `tangled_lines`. Raises InputError for an outline that crosses itself without end, and for
    shapes that lie on top of each other by the thousands.
    """
    import shapely

    shapes = np.asarray(frame.geometry.array, dtype=object)
    kinds = shapely.get_type_id(shapes)
    lines = np.isin(kinds, (1, 5))
    if not len(shapes) or not np.isin(kinds, (1, 3, 5, 6, 7)).any():
        return frame, []
    if frame.crs is not None and frame.crs.is_projected:
        _not_round_the_world(shapes, lines, path)
    findings: list[Finding] = []
    still = shapely.get_num_coordinates(shapes) > _FEW
    if still.any():
        shapes = shapes.copy()
        near = _SAME_M / _M_PER_DEG if frame.crs is not None and frame.crs.is_geographic else _SAME_M
        shapes[still] = [_without_repeats(shape, near) for shape in shapes[still]]
        frame = frame.set_geometry(shapes, crs=frame.crs)
    crossed = lines | ~shapely.is_valid(shapes)  # a valid outline crosses nothing, however long
    tangled = np.array([bool(c) and _is_tangle(shape) for c, shape in zip(crossed, shapes, strict=True)], bool)
    if (tangled & ~lines).any():
        raise InputError(
            f"The outline of feature {int(np.flatnonzero(tangled & ~lines)[0]) + 1} crosses itself too often to be "
            "repaired.",
            remedy="Draw it again, or export it again from where it is right.",
            file=path,
        )
    if tangled.any():
        findings.append(Finding("tangled_lines", "check", file=path.name, facts={"count": int(tangled.sum())}))
        frame, shapes, lines = frame[~tangled], shapes[~tangled], lines[~tangled]
    pairs = _pairs(shapes)
    if pairs > _MANY_PAIRS and lines.any():
        again = lines & _again(frame)
        if again.any():
            findings.append(Finding("equal_lines", "check", file=path.name, facts={"count": int(again.sum())}))
            frame, shapes = frame[~again], shapes[~again]
            pairs = _pairs(shapes)
    if pairs > (_MOST_PAIRS if lines.any() else _MOST_AREAS):
        raise InputError(
            f"Its shapes lie on top of each other: about {pairs / 1e6:,.0f} million pairs of them overlap.",
            remedy="Merge what is the same, or leave out what does not matter here.",
            file=path,
        )
    return frame, findings


def _without_repeats(shape: Any, near: float) -> Any:
    """A shape without vertices that stand still; as it is where a ring of it is no larger than that."""
    import shapely

    try:
        return shapely.remove_repeated_points(shape, near)
    except shapely.errors.GEOSException:
        return shape


def _not_round_the_world(shapes: np.ndarray, lines: np.ndarray, path: Path) -> None:
    """Raises InputError for a line with a corner far from where it can be: it is measured every few metres."""
    import shapely

    far = np.flatnonzero(lines & ~(shapely.length(shapes) <= LONGEST_LINE_M))
    if len(far):
        raise InputError(
            f"The line of feature {int(far[0]) + 1} is longer than {LONGEST_LINE_M / 1000:,.0f} km: one of its corners "
            "is put wrong.",
            remedy="Correct or delete that line.",
            file=path,
        )


def counted(frame: GeoDataFrame, path: Path, role: str) -> None:
    """Raises InputError where more features lie near the mission than its role can have."""
    most = MOST.get(role)
    if most is not None and len(frame) > most:
        raise InputError(
            f"{len(frame):,} features lie near the mission; as {role} at most {most:,} are possible.",
            remedy="Keep those that matter for this mission.",
            file=path,
        )


def _is_tangle(shape: Any) -> bool:
    """Whether the edges of one shape lie over each other far more often than those of a road or a shore."""
    import shapely

    count = int(shapely.get_num_coordinates(shape))
    area = shapely.get_dimensions(shape) == 2  # mending an outline costs far more than cutting a line
    most = _MOST_MENDED + 2 * count if area else _MOST_CROSSINGS
    if shapely.is_missing(shape) or count <= (_FEW // 4 if area else _FEW):
        return False
    xy, part = shapely.get_coordinates(_linework(shape), return_index=True)
    same = part[1:] == part[:-1]
    edges = np.asarray(shapely.linestrings(np.stack([xy[:-1][same], xy[1:][same]], axis=1)), object)
    beyond_neighbours = max(_overlaps(edges) - 3.0, 0.0)  # itself, and one on either side
    return beyond_neighbours * len(edges) / 2 > most


def _linework(shape: Any) -> np.ndarray:
    import shapely

    flat = shapely.get_parts(shape)
    rings = shapely.get_rings(flat[shapely.get_type_id(flat) == 3])
    return np.concatenate([rings, flat[np.isin(shapely.get_type_id(flat), (1, 2))]])


def _overlaps(shapes: np.ndarray) -> float:
    """With how many shapes the box of one meets, itself included, on average over a sample."""
    import shapely

    tree = shapely.STRtree(shapes)
    step = max(len(shapes) // _SAMPLE, 1)
    found = met = 0
    for shape in shapes[::step]:
        met += len(tree.query(shape))
        found += 1
        if met > 100 * _MOST_PAIRS / max(len(shapes), 1) * found and met > 1_000_000:
            break  # far beyond every ceiling already
    return met / max(found, 1)


def _pairs(shapes: np.ndarray) -> float:
    return (max(_overlaps(shapes) - 1.0, 0.0)) * len(shapes) / 2 if len(shapes) > _FEW else 0.0


def _again(frame: GeoDataFrame) -> np.ndarray:
    """Whether a feature has the same shape and the same attributes as an earlier one."""
    import pandas as pd
    import shapely

    table = pd.DataFrame(frame.drop(columns=frame.geometry.name)).astype(str)
    table["_shape"] = shapely.to_wkb(np.asarray(frame.geometry.array, object), hex=True)
    return table.duplicated().to_numpy()
