"""The valley of `tests.planning` as a region of two tiles, and a mission of one day in it."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
from shapely.geometry import Point, box

from tests.planning.conftest import CRS, at, write_mission

RADIO = "tx_power_dbm = 3\nhandset_power_dbm = -10\nmax_radius_m = 2500"  # so weak that nothing is served everywhere
SEARCH = "refined_spots = 0\nlisted_spots = 5\nsets = 2"
OF_ONE_DAY = ("incident_area", "must_serve", "spots", "closures")


def save(file: Path, shapes: list, **columns) -> None:
    gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(file, driver="GPKG")


def write_day(folder: Path, places: list[tuple[float, float]] = (), closures: list = ()) -> Path:
    """A mission; `places` (x, y) are its own spots, `closures` shapes that close roads."""
    more = {}
    if closures:
        folder.mkdir(exist_ok=True)
        save(folder / "closed.gpkg", closures, name=["washed out"] * len(closures))
        more = {"layers": 'closures = "closed.gpkg"'}
    mission = Path(write_mission(folder, spots=8, radio=RADIO, search=SEARCH, **more))
    mission.write_text(mission.read_text().replace("spacing_m = 100", "spacing_m = 250"))
    if places:
        save(folder / "spots.gpkg", [Point(p) for p in places], name=[f"place {n}" for n in range(len(places))])
    return mission


def write_region(folder: Path) -> Path:
    """A region over the valley: two tiles that meet at x = 2000."""
    mission = write_day(folder)
    save(folder / "outline.gpkg", [box(*at(200, 100), *at(2800, 1900))])
    save(folder / "towns.gpkg", [Point(at(1800, 1500)), Point(at(40_000, 400))], name=["Camp Town", "Far End"])
    lines = [line for line in mission.read_text().splitlines() if line.split(" = ")[0] not in OF_ONE_DAY]
    region = folder / "region.toml"
    region.write_text(
        "\n".join(lines) + '\n[region]\noutline = "outline.gpkg"\nsettlements = "towns.gpkg"\ntile_m = 2000\n'
    )
    return region
