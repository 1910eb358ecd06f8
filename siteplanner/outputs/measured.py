"""All that readings lead to, into one folder: the plan made again with them, its map with the readings, their page."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from siteplanner.outputs.map.map import map_html
from siteplanner.outputs.sheets.measured import measured_pdf
from siteplanner.outputs.words.text import csv_text
from siteplanner.outputs.write import json_text, write_outputs
from siteplanner.planning.plan.measured import Measured
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.redrawn import Redrawn
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.telling.measured import measured_record, reading_record, reading_tip
from siteplanner.planning.telling.units import reader_units

MOST_ON_MAP = 2000  # marks; more of them hide what lies below


def with_readings(plan: Plan, found: Measured) -> Plan:
    """The plan with the readings as a layer of its map; the same plan where there are none."""
    import geopandas as gpd

    rows = [*found.rows[:: max(1, -(-len(found.rows) // MOST_ON_MAP))]]
    if not rows:
        return plan
    shapes = gpd.points_from_xy([r.longitude for r in rows], [r.latitude for r in rows], crs=4326)
    frame = gpd.GeoDataFrame({"name": [reading_tip(r) for r in rows]}, geometry=shapes).to_crs(plan.scene.elevation.crs)
    return replace(plan, scene=replace(plan.scene, overlays={**plan.scene.overlays, "readings": frame}))


def residuals_csv(found: Measured) -> str:
    """A row a reading."""
    rows = [reading_record(r) for r in found.rows]
    head = list(rows[0]) if rows else ["row", "measured_rsrp_dbm", "predicted_rsrp_dbm", "measured_less_predicted_db"]
    return csv_text(head, rows)


def write_measured(found: Measured, again: Redrawn, folder: str | Path, progress: Progress | None = None) -> list[Path]:
    """Every output of the plan made again, with `measured.json`, `residuals.csv` and `measured.pdf`; the readings are
    on `map.html`. All or nothing, as `write_outputs`."""
    units = reader_units(found.mission)

    def record(plan: Plan, path: Path) -> None:
        path.write_bytes(json_text(measured_record(found, again, units.first)).encode())

    def table(plan: Plan, path: Path) -> None:
        path.write_bytes(residuals_csv(found).encode("utf-8-sig"))

    def page(plan: Plan, path: Path) -> None:
        path.write_bytes(measured_pdf(found, again))

    def ranked_map(plan: Plan, path: Path) -> None:
        path.write_bytes(map_html(with_readings(plan, found)).encode())

    more = {"measured.json": record, "residuals.csv": table, "measured.pdf": page, "map.html": ranked_map}
    return write_outputs(again.plan, folder, progress=progress, more=more)
