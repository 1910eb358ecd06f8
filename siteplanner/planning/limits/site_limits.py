"""What stands, flows and grows on the ground as limits: structures, water, trees and soft ground under the trailer."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import Point

from siteplanner.data.burn import burn
from siteplanner.mission import Trailer
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def footprint_reach_m(trailer: Trailer) -> float:
    """Radius of the circle that holds the trailer with its outriggers, whatever way it is parked; closed form."""
    return math.hypot(trailer.length_m / 2, trailer.width_m / 2 + trailer.outrigger_reach_m)


def structure_room_m(study: Study) -> float:
    """Distance that a spot keeps from every structure: footprint and clearance."""
    return footprint_reach_m(study.mission.trailer) + study.mission.site.structure_clearance_m


def tall_trees(study: Study) -> np.ndarray | None:
    """Cells whose surface stands tall above the ground; None without a surface. Roofs count too: they are as hard."""
    canopy = study.canopy_m
    return None if canopy is None else canopy >= study.mission.site.tree_height_m


def site_hits(study: Study) -> dict[str, np.ndarray]:
    """Limit code -> True where it rules out; only limits whose layer was given."""
    grid, site = study.elevation, study.mission.site
    hits: dict[str, np.ndarray] = {}
    for code, role, room in (
        ("structure", "structures", structure_room_m(study)),
        ("water", "water", site.water_setback_m),
    ):
        frame = study.overlay(role)
        if frame is not None:
            hits[code] = burn([shape.buffer(room) for shape in frame.geometry], grid)
    trees = tall_trees(study)
    if trees is not None:
        hits["trees_on_spot"] = _dilated(trees, footprint_reach_m(study.mission.trailer) / grid.cell_size_m)
    soft = study.overlay("soft_ground")
    if soft is not None and site.soft_ground_rules_out:
        hits["soft_ground"] = burn([s.buffer(footprint_reach_m(study.mission.trailer)) for s in soft.geometry], grid)
    return hits


def _dilated(flags: np.ndarray, reach_cells: float) -> np.ndarray:
    """True where a flagged cell comes nearer than the reach to the cell's centre."""
    from scipy.ndimage import binary_dilation

    far = math.ceil(reach_cells + 0.5)
    rows, cols = np.indices((2 * far + 1, 2 * far + 1)) - far
    near = np.hypot(np.maximum(np.abs(rows) - 0.5, 0), np.maximum(np.abs(cols) - 0.5, 0)) < reach_cells
    near[far, far] = True
    return flags if near.sum() == 1 else binary_dilation(flags, near)


def in_the_way(study: Study) -> np.ndarray:
    """Cells that the last leg must not cross: structures, fences, water. A gate in a fence is not known."""
    closed = np.zeros(study.elevation.shape, bool)
    for role in ("structures", "water"):
        frame = study.overlay(role)
        if frame is not None:
            closed |= burn(
                [s for s in frame.geometry if s.geom_type not in ("Point", "MultiPoint")],
                study.elevation,
                all_touched=True,
            )
    return closed


def nearest(frame: GeoDataFrame | None, spot: Spot, within_m: float) -> tuple[float, str] | None:
    """Distance and name ('' without one) of the nearest shape of a layer; None where none is that near."""
    if frame is None:
        return None
    place = Point(spot.x, spot.y)
    found = frame.sindex.query(place, predicate="dwithin", distance=within_m)
    if not len(found):
        return None
    distance = frame.geometry.iloc[found].distance(place).to_numpy()
    first = int(np.argmin(distance))
    name = frame["name"].iloc[found[first]] if "name" in frame.columns else None
    return float(distance[first]), name.strip() if isinstance(name, str) else ""


def site_breaks(study: Study, spot: Spot, cell: tuple[int, int], codes: list[str]) -> list[Breach]:
    """The limits of this module that a spot breaks; `codes` are those of its cell."""
    site = study.mission.site
    out = []
    room = structure_room_m(study)
    near = nearest(study.overlay("structures"), spot, room)
    if near is not None and near[0] < room:
        out.append(Breach("structure", "", near[0], room, "m", site.structure_clearance_m, _names(near)))
    near = nearest(study.overlay("water"), spot, site.water_setback_m)
    if near is not None and near[0] < site.water_setback_m:
        out.append(Breach("water", "", near[0], site.water_setback_m, "m", names=_names(near)))
    if "trees_on_spot" in codes and study.canopy_m is not None:
        height = float(study.canopy_m[cell])
        kind = "stand" if height >= site.tree_height_m else "reach"
        out.append(Breach("trees_on_spot", kind, height, site.tree_height_m, "m"))
    if site.soft_ground_rules_out:
        reach = footprint_reach_m(study.mission.trailer)
        near = nearest(study.overlay("soft_ground"), spot, reach)
        if near is not None and near[0] < reach:
            out.append(Breach("soft_ground", "", near[0], reach, "m", names=_names(near)))
    return out


def _names(near: tuple[float, str]) -> tuple[str, ...]:
    return (near[1],) if near[1] else ()
