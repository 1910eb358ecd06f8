"""What runs take of processor and memory, for the estimate in `planning/study/cost.py`.

    python -m tests.benchmarks.cost [CASE ...] [--out FILE]

Each case is planned and written in a process of its own; one line of JSON tells its counts, the processor time of each
stage, the most memory in use, and what the estimate says of it. Without names all cases run (half an hour).
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

SAMPLE_CASES: dict[str, tuple[str, dict[str, Any]]] = {
    "county": ("dunmarrow_county", {}),
    "hills": ("real_hills", {}),
    "county_20m": ("dunmarrow_county", {"cell_size_m": 20.0}),
    "county_5m": ("dunmarrow_county", {"cell_size_m": 5.0}),
    "county_50_spots": ("dunmarrow_county", {"max_spots": 50}),
    "county_600_spots": ("dunmarrow_county", {"max_spots": 600, "spacing_m": 60.0}),
    "county_coarse_area": ("dunmarrow_county", {"coverage_cell_m": 100.0}),
    "county_6_stops": ("dunmarrow_county", {"stops": [6.0, 8.0, 10.0, 12.0, 14.0, 15.0]}),
    "hills_40m": ("real_hills", {"cell_size_m": 40.0}),
    "hills_600_spots": ("real_hills", {"max_spots": 600, "spacing_m": 100.0}),
    "hills_wide": ("real_hills", {"radius_m": 6000.0}),
}
LARGE_CASES = {"large_20km": (20_000, 10, 200), "large_40km": (40_000, 10, 200), "large_town": (20_000, 10, 200)}
"""Side of the ground in metres, cell, spots: invented hills. The town has a road every 150 m."""


def sample(folder: Path, name: str, changes: dict[str, Any]) -> Path:
    """A sample's mission with a changed search, its paths absolute."""
    from siteplanner.demo import sample_mission
    from tests.hostile.corpus import FILES

    source = sample_mission(name)
    data = tomllib.loads(source.read_text("utf-8"))
    for field in FILES:
        if field in (layers := data["layers"]):
            given = layers[field]
            place = source.parent
            layers[field] = [str(place / g) for g in given] if isinstance(given, list) else str(place / given)
    changes = dict(changes)
    if "stops" in changes:
        data.setdefault("trailer", {})["mast_stops_m"] = changes.pop("stops")
    data["search"] = {**data.get("search", {}), **changes}
    path = folder / "mission.json"
    path.write_text(json.dumps(data, default=str), "utf-8")
    return path


def large(folder: Path, side_m: int, cell_m: int, spots: int, road_m: int) -> Path:
    """Invented hills, roads in squares, an incident area in the middle; in UTM 12N."""
    import geopandas as gpd
    import rasterio
    from affine import Affine
    from scipy.ndimage import zoom
    from shapely.geometry import LineString, Point, box

    rng, n, crs = np.random.default_rng(3), side_m // cell_m, "EPSG:32612"
    east, north = 500_000.0, 4_950_000.0
    ground = np.zeros((n, n), np.float32)
    for parts, height in ((8, 150.0), (32, 15.0), (128, 1.5)):
        ground += zoom(rng.normal(0, height, (parts, parts)).astype(np.float32), n / parts, order=1)[:n, :n]
    with rasterio.open(
        folder / "dem.tif", "w", driver="GTiff", height=n, width=n, count=1, dtype="float32", crs=crs, tiled=True,
        transform=Affine(cell_m, 0, east, 0, -cell_m, north + side_m), nodata=-9999,
    ) as made:  # fmt: skip
        made.write(ground + 1500, 1)
        made.units = ("m",)
    lines, names = [], []
    places = np.arange(300, side_m - 300, road_m)
    for k, at in enumerate(places):
        lines += [
            LineString([(east + 300, north + at), (east + side_m - 300, north + at)]),
            LineString([(east + at, north + 300), (east + at, north + side_m - 300)]),
        ]
        names += [f"Row {k}", f"Line {k}"]
    gpd.GeoDataFrame({"highway": ["unclassified"] * len(lines), "name": names}, geometry=lines, crs=crs).to_file(
        folder / "roads.gpkg", driver="GPKG"
    )
    low, high = 0.3 * side_m, 0.7 * side_m
    gpd.GeoDataFrame(
        {"name": ["area"]}, geometry=[box(east + low, north + low, east + high, north + high)], crs=crs
    ).to_file(folder / "area.gpkg", driver="GPKG")
    start = gpd.GeoSeries([Point(east + 300 + road_m, north + 300 + road_m)], crs=crs).to_crs(4326).iloc[0]
    data = {
        "name": "large",
        "layers": {"elevation": ["dem.tif"], "incident_area": "area.gpkg", "roads": "roads.gpkg",
                   "default_clutter": "open"},
        "staging": {"latitude": start.y, "longitude": start.x},
        "sky": {"satellites": [{"name": "south", "longitude_deg": -111.0}]},
        "search": {"radius_m": 0.2 * side_m, "max_spots": spots},
    }  # fmt: skip
    path = folder / "mission.json"
    path.write_text(json.dumps(data), "utf-8")
    return path


def mission_of(folder: Path, case: str) -> Path:
    """The mission of a case, written into a folder."""
    if case in SAMPLE_CASES:
        return sample(folder, *SAMPLE_CASES[case])
    return large(folder, *LARGE_CASES[case], road_m=150 if case == "large_town" else 1000)


def _most_mb() -> int:
    """The most memory that this process has had, in MB of 10^6 bytes, as the estimate tells it."""
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6)


def measured(case: str, folder: Path) -> dict[str, Any]:
    """Plan and write one case in this process."""
    from siteplanner import load_mission, plan
    from siteplanner.outputs.write import write_outputs
    from siteplanner.planning.study.cost import cost_of, counts_of

    mission = load_mission(mission_of(folder, case))
    spent: dict[str, float] = {}
    last = ["libraries", 0.0]

    def progress(stage: str, share: float) -> None:
        now = time.process_time()
        spent[last[0]] = spent.get(last[0], 0.0) + now - last[1]
        last[:] = [stage, now]

    made = plan(mission, progress)
    peak_mb = _most_mb()
    progress("outputs", 1.0)
    planned_s = time.process_time()
    write_outputs(made, folder / "out")
    study = made.judge.study
    told = cost_of(counts_of(study))
    return {
        "case": case,
        "cells": int(study.elevation.values.size),
        "surface": study.obstacles is not None,
        "search_cells": int(study.search_ground.sum()),
        "area_cells": len(study.area_cells.rows),
        "segments": len(study.network),
        "judged": made.search.judged,
        "passed": made.search.passed,
        "stops": len(mission.trailer.mast_stops_m),
        "satellites": len(mission.sky.satellites),
        "radius_cells": round(mission.radio.max_radius_m / study.elevation.cell_size_m),
        "plan_s": round(planned_s, 2),
        "outputs_s": round(time.process_time() - planned_s, 2),
        "peak_plan_mb": peak_mb,
        "peak_mb": _most_mb(),
        "told_s": [round(s, 1) for s in (told.processor_low_s, told.processor_s, told.processor_high_s)],
        "told_mb": [round(m) for m in (told.memory_low_mb, told.memory_mb, told.memory_high_mb)],
        "stages_s": {name: round(s, 2) for name, s in spent.items()},
    }


def main() -> None:
    """All cases asked for, each in a process of its own."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.cost", description=__doc__)
    parser.add_argument("cases", nargs="*", default=[*SAMPLE_CASES, *LARGE_CASES])
    parser.add_argument("--out", type=Path, default=None)
    parser.add_argument("--here", action="store_true", help="measure in this process")
    asked = parser.parse_args()
    for case in asked.cases:
        if asked.here:
            with tempfile.TemporaryDirectory() as held:
                print(json.dumps(measured(case, Path(held))), flush=True)
            continue
        tell: Callable[[str], Any] = print
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.cost", "--here", case], capture_output=True, text=True, check=False
        )
        line = done.stdout.strip() or json.dumps({"case": case, "failed": done.stderr[-600:]})
        tell(line)
        if asked.out is not None:
            with asked.out.open("a", encoding="utf-8") as out:
                out.write(line + "\n")


if __name__ == "__main__":
    main()
