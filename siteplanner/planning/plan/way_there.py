"""From where a trailer stands to another place: minutes without service, and the road."""

from __future__ import annotations

import math
from dataclasses import replace

from siteplanner.planning.site.timeline import Moments, off_air
from siteplanner.planning.spots.evaluate import Judge, find_access
from siteplanner.planning.study.spot import Spot
from siteplanner.roads.routing import DriveTree


def way_there(judge: Judge, tree: DriveTree, to: Spot) -> tuple[Moments | None, float]:
    """(minutes off air, metres on the road) of a move; `tree`: of the roads from where the trailer stands.

    None and NaN where no road for the rig is known.
    """
    if to.cell is None or tree.refused is not None:
        return None, math.nan
    access = find_access(replace(judge.drive, trees=(tree,), starts=("here",)), to.unnamed, to.cell)
    if access is None:
        return None, math.nan
    out_m = tree.offset_m if tree.gap_m == 0 else 0.0  # a longer gap is in the drive already
    legs_s = access.last_leg_s + out_m / (judge.drive.last_leg_speed_kmh / 3.6)
    return off_air(judge.study.mission, access.drive_s, legs_s, access.route.waits), access.drive_distance_m
