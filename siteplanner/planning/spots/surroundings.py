"""What is around a spot: room to turn the rig, trees that could fall, water that could come, hazard areas."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from datetime import datetime

import numpy as np
import shapely

from siteplanner.errors import Finding
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.limits.site_limits import footprint_reach_m, nearest
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.spots.evaluation import Access, Tree
from siteplanner.planning.spots.lifelines import BESIDE_M
from siteplanner.planning.spots.room import Room, room_to_turn
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

MOST_TREE_M = 60.0  # taller things on a surface are rocks and towers, not trees that fall; common practice


@dataclass(frozen=True)
class Surroundings:
    """NaN: not known."""

    room: Room
    above_drainage_m: float
    slope_above_m: float
    tree: Tree | None
    findings: tuple[Finding, ...]


def look_round(study: Study, spot: Spot, cell: tuple[int, int], access: Access | None) -> Surroundings:
    """Facts and findings about the ground around one spot."""
    room = room_to_turn(study, spot.x, spot.y)
    above, slope_above = water_m(study, cell)
    tree = worst_tree(study, spot, cell)
    findings = [
        *_tree_finding(study, tree),
        *_structure_finding(study, spot),
        *_water_findings(study, above, slope_above),
        *_soft_finding(study, spot, access),
        *_swing_finding(room),
    ]
    return Surroundings(room, above, slope_above, tree, tuple(findings))


def water_m(study: Study, cell: tuple[int, int]) -> tuple[float, float]:
    """(height above the first channel downstream, length of slope that drains onto the cell), metres."""
    made = study.flow
    block = cell[0] // made.step, cell[1] // made.step
    area = float(made.area_m2[block])
    return study.above_drainage_m(cell), area / made.cell_size_m


def worst_tree(study: Study, spot: Spot, cell: tuple[int, int]) -> Tree | None:
    """The tall cell that reaches farthest over the footprint if it falls, among those that the mast or the trailer
    could meet; None without one or without a surface.
    """
    if study.obstacles is None:
        return None
    grid = study.elevation
    reach, fall = footprint_reach_m(study.mission.trailer), mast_fall_m(study.mission)
    far = math.ceil((max(fall, MOST_TREE_M) + reach) / grid.cell_size_m) + 1
    r0, c0 = max(0, cell[0] - far), max(0, cell[1] - far)
    window = study.canopy_m(np.s_[r0 : cell[0] + far + 1, c0 : cell[1] + far + 1])
    rows, cols = np.nonzero(window >= study.mission.site.tree_height_m)
    if not len(rows):
        return None
    height = np.minimum(window[rows, cols], MOST_TREE_M)
    x, y = grid.xy(rows + r0, cols + c0)
    dx, dy = np.asarray(x) - spot.x, np.asarray(y) - spot.y
    half = grid.cell_size_m / 2  # the tree may stand anywhere in its cell
    distance = np.hypot(np.maximum(np.abs(dx) - half, 0), np.maximum(np.abs(dy) - half, 0))
    over = height - (distance - reach)
    meets = (over > 0) | (distance <= fall)
    if not meets.any():
        return None
    pick = int(np.lexsort((distance, -np.where(meets, over, -np.inf)))[0])
    bearing = math.degrees(math.atan2(float(dx[pick]), float(dy[pick]))) + grid.convergence_deg(spot.x, spot.y)
    return Tree(float(height[pick]), float(distance[pick]), bearing % 360, bool(over[pick] > 0))


def _tree_finding(study: Study, tree: Tree | None) -> list[Finding]:
    if tree is None:
        return []
    return [
        Finding(
            "trees_near",
            "warning" if tree.reaches_trailer else "check",
            facts={**asdict(tree), "cell_size_m": study.elevation.cell_size_m},
        )
    ]


def _structure_finding(study: Study, spot: Spot) -> list[Finding]:
    fall = mast_fall_m(study.mission)
    near = nearest(study.overlay("structures"), spot, fall)
    if near is None:
        return []
    return [
        Finding(
            "structure_in_mast_fall",
            "warning",
            facts={"name": near[1], "distance_m": near[0], "mast_fall_m": fall},
        )
    ]


def _water_findings(study: Study, above_m: float, slope_above_m: float) -> list[Finding]:
    site, out = study.mission.site, []
    low = above_m < site.low_ground_m
    if low:
        out.append(
            Finding(
                "low_ground",
                "warning",
                facts={"above_drainage_m": above_m, "water_mapped": study.overlay("water") is not None},
            )
        )
    if not low and slope_above_m >= site.runoff_length_m:
        out.append(
            Finding(
                "runoff",
                "check",
                facts={"slope_above_m": slope_above_m},
            )
        )
    return out


def _soft_finding(study: Study, spot: Spot, access: Access | None) -> list[Finding]:
    frame = study.overlay("soft_ground")
    if frame is None:
        return []
    near = nearest(frame, spot, footprint_reach_m(study.mission.trailer))
    if near is not None:
        return [Finding("soft_ground", "notice", facts={"name": near[1]})]
    if access is not None and frame.intersects(access.last_leg).any():
        return [Finding("soft_last_leg", "notice")]
    return []


def _swing_finding(room: Room) -> list[Finding]:
    if room.state != "no":
        return []
    facts = {"free_radius_m": room.free_radius_m, "needed_m": room.needed_m}
    return [Finding("no_swing_room", "check", facts=facts)]


def hazards_near(study: Study, spot: Spot, access: Access | None) -> tuple[HazardNear, ...]:
    """The hazard areas, the nearest first, and whether the drive goes through them."""
    frame = study.overlay("hazards")
    if frame is None:
        return ()
    place = shapely.Point(spot.x, spot.y)
    names, comes, goes = (
        frame[column] if column in frame.columns else [None] * len(frame) for column in ("name", "from", "until")
    )
    out = [
        HazardNear(
            name.strip() if isinstance(name, str) else "",
            float(shape.distance(place)),
            access is not None and access.route.line.intersects(shape),
            access is not None and float(access.route.line.distance(shape)) <= BESIDE_M,
            float(shape.distance(place)) <= BESIDE_M,
            datetime.fromisoformat(start) if isinstance(start, str) and start else None,
            datetime.fromisoformat(end) if isinstance(end, str) and end else None,
        )
        for name, start, end, shape in zip(names, comes, goes, frame.geometry, strict=True)
    ]
    return tuple(sorted(out, key=lambda hazard: hazard.distance_m))
