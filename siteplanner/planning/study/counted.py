"""The people of the incident area as a raster counts them, and what of the area it does not tell of."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from siteplanner.data.burn import burn
from siteplanner.data.grid import Grid
from siteplanner.data.people import read_people
from siteplanner.errors import Finding, InputError
from siteplanner.mission import Mission
from siteplanner.planning.study.layers import Loaded
from siteplanner.planning.study.reuse import Reuse

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def people_in(mission: Mission, area: GeoDataFrame, ground: Grid, reuse: Reuse) -> Loaded[np.ndarray | None]:
    """People in each cell of the plan, None without a raster of them; what it holds is told, and which way counts.

    Raises InputError for a raster that cannot be used, and for a unit without a raster.
    """
    layers = mission.layers
    if layers.people is None:
        if layers.people_unit is not None:
            raise InputError(
                "A unit of the people raster is given, but no raster.",
                remedy="Name the raster in layers.people, or leave the unit out.",
                field="layers.people_unit",
            )
        return Loaded(None)
    people = reuse.call("people", read_people, mission.path(layers.people), layers.people_unit, like=ground)
    inside = burn(area.geometry, ground, all_touched=True)
    file, findings = people.record.file, list(people.findings)
    unknown = float((~people.known[inside]).mean()) if inside.any() else 1.0
    if unknown > 0:
        findings.append(Finding("people_gaps", "check", file=file, facts={"share": unknown}))
    here = burn(area.geometry, ground)
    facts = {"people": float(people.grid.values[here].sum()), "column": "people" in area.columns}
    findings.append(
        Finding("people_counted", "note", file=file, facts={**facts, "weighs": "weight" not in area.columns})
    )
    return Loaded(people.grid.values, (people.record,), tuple(findings))
