"""Predicted service of more spots than the best, a small raster a spot, where the mission asks for it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from siteplanner.outputs.gis.set_layers import best_server
from siteplanner.outputs.gis.tiffs import write_service
from siteplanner.outputs.pictures.layers import probability_grid
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan

MOST = 500  # rasters of one plan, the best spots by rank: about 20 kB and 0.05 s each


def write_service_rasters(plan: Plan, folder: Path) -> list[Path]:
    """`service_<key>.tif` in a folder for each spot of `search.service_rasters`; none where it says `best`.

    The key is the spot's grid reference without blanks (its x and y to the metre where it has none): it stays when
    other weights change rank and place. At most `MOST`.
    """
    return [p for name, spot in service_files(plan).items() if (p := write_service(plan, spot, folder / name))]


def service_files(plan: Plan) -> dict[str, RankedSpot]:
    """File name -> the spot whose service it holds, for those that are asked for and known."""
    asked = plan.mission.search.service_rasters
    spots = {"best": [], "options": [o.ranked for o in plan.options], "all": list(plan.judged)}[asked]
    made: dict[str, RankedSpot] = {}
    for spot in spots[:MOST]:
        if probability_grid(spot, plan) is None:
            continue
        name = f"service_{spot_key(spot)}.tif"
        if name in made:  # two spots of the user's within a metre
            name = f"service_{spot_key(spot)}_{spot.rank}.tif"
        made[name] = spot
    return made


def raster_rows(plan: Plan) -> list[dict[str, Any]]:
    """The rasters that are written beside the GeoPackage, for its table `rasters`."""
    rows: list[tuple[str, str, str | None, int | None, str]] = [
        ("ruling.tif", "First limit that rules each cell out; classes with names and colors", None, None, "class"),
        ("ruling_bits.tif", "Every limit of each cell, one bit each, named in the tags", None, None, "bits"),
    ]
    if plan.best is not None and probability_grid(plan.best, plan) is not None:
        name = clean(plan.best.spot.name)
        rows.append(("coverage.tif", "Predicted probability of service of the best spot", name, 1, "0 to 1"))
    for file, spot in service_files(plan).items():
        rows.append((file, "Predicted probability of service", clean(spot.spot.name), spot.rank, "%"))
    found = best_server(plan)
    if found is not None:
        together = " + ".join(found.names)
        rows.append(("set_service.tif", "The same by the best server of two trailers", together, None, "%"))
        rows.append(("set_server.tif", "Which of the two trailers serves the cell best", together, None, "class"))
    return [dict(zip(("file", "holds", "spot", "rank", "unit"), row, strict=True)) for row in rows]


def spot_key(spot: RankedSpot) -> str:
    """What stands for a spot in the name of a file."""
    place = spot.spot
    return re.sub(r"[^0-9A-Za-z]", "", place.grid_reference) or f"{place.x:.0f}_{place.y:.0f}"
