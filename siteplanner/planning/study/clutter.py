"""Clutter around a handset: the land cover's classes as kinds of the radio model."""

from __future__ import annotations

import numpy as np

from siteplanner.core.clutter import CLUTTER_HEIGHT_M
from siteplanner.data.classes import Classes
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Mission

CLUTTER_KINDS = ("none", *CLUTTER_HEIGHT_M)


def clutter_kinds(
    classes: Classes, mission: Mission, ground: Grid, obstacles: Grid | None
) -> tuple[Grid, list[Finding]]:
    """Kinds of clutter around a handset, by the mission's table of class codes.

    Where a surface is given and stands at least a metre above the ground, the surface already blocks the path:
    adding clutter there would count the same trees twice, so the kind is `none`.
    """
    codes = classes.grid.values
    kinds = np.zeros(codes.shape, np.uint8)
    for code, kind in mission.layers.land_cover_classes.items():
        kinds[codes == int(code)] = CLUTTER_KINDS.index(kind)
    findings = []
    left_out = [c for c in classes.codes() if str(c) not in mission.layers.land_cover_classes]
    if left_out:
        findings.append(
            Finding(
                "land_cover_unmapped",
                "warning",
                file=classes.record.file,
                facts={"codes": tuple(map(int, left_out[:20]))},
            )
        )
    radio = mission.radio
    if not 30 <= radio.frequency_mhz <= 3000:
        findings.append(Finding("clutter_out_of_range", "warning", facts={"frequency_mhz": radio.frequency_mhz}))
        kinds[:] = 0
    if obstacles is not None:
        with np.errstate(invalid="ignore"):
            kinds[obstacles.values - ground.values >= 1.0] = 0
    return classes.grid.with_values(kinds), findings
