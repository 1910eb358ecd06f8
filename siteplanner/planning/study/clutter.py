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
                f"Land-cover codes without a kind of clutter count as open ground: "
                f"{', '.join(map(str, left_out[:20]))}.",
                "Name them in layers.land_cover_classes.",
                classes.record.file,
            )
        )
    radio = mission.radio
    if not 30 <= radio.frequency_mhz <= 3000:
        findings.append(
            Finding(
                "clutter_out_of_range",
                "warning",
                f"Clutter loss is defined from 30 to 3,000 MHz (ITU-R P.2108-1 section 3.1), not at "
                f"{radio.frequency_mhz:g} MHz: none is added.",
                "Leave a margin in radio.building_loss_db.",
            )
        )
        kinds[:] = 0
    if obstacles is not None:
        with np.errstate(invalid="ignore"):
            kinds[obstacles.values - ground.values >= 1.0] = 0
    return classes.grid.with_values(kinds), findings
