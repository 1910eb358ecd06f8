"""Each segment judged for the rig: its line's tags, its measured grade and bends, what closes it."""

from __future__ import annotations

import numpy as np

from siteplanner.mission import Rig
from siteplanner.roads.conditions import Timed
from siteplanner.roads.limits import judge_lines, with_unknown
from siteplanner.roads.measure import Measured
from siteplanner.roads.reasons import Reason, Unknown
from siteplanner.roads.tables import Judged
from siteplanner.roads.tags import RoadTags


def judge_segments(
    tags: RoadTags,
    row: np.ndarray,
    rig: Rig,
    timed: dict[int, Timed],
    measured: Measured,
    below: np.ndarray,
    closed: dict[int, tuple[str, ...]],
) -> Judged:
    """Reasons and unknown limits of each segment. `row`: the line (index in `tags`) that each was cut from; `below`:
    segments that pass below something; `closed`: the names of what closes each closed one.
    """
    line_reasons, line_unknown = judge_lines(tags, rig, timed)
    reasons, unknown = line_reasons[row], line_unknown[row]
    grades, near = measured.grades, measured.steep.near
    for i in np.flatnonzero(~measured.posted & (grades.worst_pct > rig.max_grade_pct + 1e-9)).tolist():
        reason = Reason(
            "grade",
            float(grades.worst_pct[i]),
            rig.max_grade_pct,
            "%",
            "elevation",
            certain=not near[i],
            over_m=grades.base_m,
            error=float(grades.error_pct[i]) if near[i] else None,
        )
        reasons[i] = (*reasons[i], reason)
    bends = measured.bends
    if rig.tight_bends == "exclude":
        tight = bends.radius_m < rig.turning_radius_m
        for i, radius in zip(bends.segment[tight].tolist(), bends.radius_m[tight].tolist(), strict=True):
            reasons[i] = (*reasons[i], Reason("bend", radius, rig.turning_radius_m, "m", "drawn line"))
    for i, names in closed.items():
        reasons[i] = (*reasons[i], *(Reason("closure", source="closure", what=name) for name in names))
    with_unknown(unknown, np.flatnonzero(np.isnan(grades.worst_pct)), "grade")
    with_unknown(unknown, below[np.isnan(tags.maxheight_m[row[below]])], "height limit")
    for i in np.flatnonzero(near).tolist():
        figures = float(grades.worst_pct[i]), float(grades.error_pct[i])
        unknown[i] = (*unknown[i], Unknown("grade", *figures, limit=rig.max_grade_pct))
    return Judged(reasons, unknown)
