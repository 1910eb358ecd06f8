"""What stands, flows and grows on the ground as limits: structures, water, trees, soft ground and roads under the
trailer and, where the mast has guys, out to their anchors."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import Point

from siteplanner.data.burn import burn
from siteplanner.mission import Mission, Trailer
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.ruling import bands
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def footprint_reach_m(trailer: Trailer) -> float:
    """Radius of the circle that holds the trailer with its outriggers, whatever way it is parked; closed form."""
    return math.hypot(trailer.length_m / 2, trailer.width_m / 2 + trailer.outrigger_reach_m)


def guy_reach_m(mission: Mission) -> float:
    """From the middle of the trailer to the farthest guy anchor, wherever on the body the mast stands; 0 without guys.

    Closed form; the same bound of where the mast stands as `core.clearance.mast_reach_m`.
    """
    trailer = mission.trailer
    return math.hypot(trailer.length_m / 2, trailer.width_m / 2) + trailer.guy_anchors_m if mission.guys else 0.0


def stand_reach_m(mission: Mission) -> float:
    """Radius of the circle that holds trailer, outriggers and guy anchors: what must be firm and free of trees."""
    return max(footprint_reach_m(mission.trailer), guy_reach_m(mission))


def structure_room_m(mission: Mission) -> float:
    """Distance that a spot keeps from every structure: footprint and clearance, or the anchors where they reach on."""
    return max(footprint_reach_m(mission.trailer) + mission.site.structure_clearance_m, guy_reach_m(mission))


def water_room_m(mission: Mission) -> float:
    """Distance that a spot keeps from water: the setback, or the anchors where they reach on."""
    return max(mission.site.water_setback_m, guy_reach_m(mission))


def road_room_m(mission: Mission) -> float:
    """Distance that a spot keeps from a road's centre line; 0: none is kept.

    The setback holds the footprint and half a road; anchors that reach beyond the footprint are added, so that none
    stands in the roadway.
    """
    trailer = mission.trailer
    if trailer.road_setback_m <= 0 and not mission.guys:
        return 0.0
    return trailer.road_setback_m + max(0.0, guy_reach_m(mission) - footprint_reach_m(trailer))


def tall_trees(study: Study) -> np.ndarray | None:
    """Cells whose surface stands tall above the ground; None without a surface. Roofs count too: they are as hard."""
    if study.obstacles is None:
        return None
    tall = np.zeros(study.elevation.shape, bool)
    for rows in bands(tall.shape[0]):
        tall[rows] = study.canopy_m(rows) >= study.mission.site.tree_height_m
    return tall


def site_hits(study: Study) -> Iterator[tuple[str, np.ndarray]]:
    """(limit code, True where it rules out), one after the other; only limits whose layer was given."""
    grid, mission = study.elevation, study.mission
    reach = stand_reach_m(mission)
    for code, role, room in (
        ("structure", "structures", structure_room_m(mission)),
        ("water", "water", water_room_m(mission)),
    ):
        frame = study.overlay(role)
        if frame is not None:
            yield code, burn([shape.buffer(room) for shape in frame.geometry], grid)
    trees = tall_trees(study)
    if trees is not None:
        yield "trees_on_spot", _dilated(trees, reach / grid.cell_size_m)
    soft = study.overlay("soft_ground")
    if soft is not None and mission.site.soft_ground_rules_out:
        yield "soft_ground", burn([s.buffer(reach) for s in soft.geometry], grid)


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
    mission, site = study.mission, study.mission.site
    out = []
    guys = "guys" if mission.guys else ""
    room = structure_room_m(mission)
    near = nearest(study.overlay("structures"), spot, room)
    if near is not None and near[0] < room:
        out.append(Breach("structure", guys, near[0], room, "m", site.structure_clearance_m, _names(near)))
    room = water_room_m(mission)
    near = nearest(study.overlay("water"), spot, room)
    if near is not None and near[0] < room:
        out.append(Breach("water", guys, near[0], room, "m", names=_names(near)))
    if "trees_on_spot" in codes and study.obstacles is not None:
        height = float(study.canopy_m(cell))
        kind = "stand" if height >= site.tree_height_m else "reach"
        kind = "guys" if kind == "reach" and guys else kind
        out.append(Breach("trees_on_spot", kind, height, site.tree_height_m, "m"))
    if site.soft_ground_rules_out:
        reach = stand_reach_m(mission)
        near = nearest(study.overlay("soft_ground"), spot, reach)
        if near is not None and near[0] < reach:
            out.append(Breach("soft_ground", guys, near[0], reach, "m", names=_names(near)))
    return out


def _names(near: tuple[float, str]) -> tuple[str, ...]:
    return (near[1],) if near[1] else ()
