"""Predicted service of more spots than the best, a small raster a spot, where the mission asks for it."""

from __future__ import annotations

import re
from pathlib import Path

from siteplanner.outputs.gis.tiffs import write_service
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan

MOST = 500  # rasters of one plan, the best spots by rank: about 20 kB and 0.05 s each


def write_service_rasters(plan: Plan, folder: Path) -> list[Path]:
    """`service_<key>.tif` in a folder for each spot of `search.service_rasters`; none where it says `best`.

    The key is the spot's grid reference without blanks (its x and y to the metre where it has none): it stays when
    other weights change rank and place. At most `MOST`.
    """
    asked = plan.mission.search.service_rasters
    spots = {"best": [], "options": [o.ranked for o in plan.options], "all": list(plan.judged)}[asked]
    made: list[Path] = []
    for spot in spots[:MOST]:
        path = folder / f"service_{spot_key(spot)}.tif"
        if path in made:  # two spots of the user's within a metre
            path = folder / f"service_{spot_key(spot)}_{spot.rank}.tif"
        if write_service(plan, spot, path) is not None:
            made.append(path)
    return made


def spot_key(spot: RankedSpot) -> str:
    """What stands for a spot in the name of a file."""
    place = spot.spot
    return re.sub(r"[^0-9A-Za-z]", "", place.grid_reference) or f"{place.x:.0f}_{place.y:.0f}"
