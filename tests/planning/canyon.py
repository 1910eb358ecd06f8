"""A canyon made by hand, where each backhaul works somewhere: 4 km x 2 km, 10 m cells, UTM 12N, flat at 1,500 m.

x runs east, y north of (ORIGIN_X, ORIGIN_Y). West of x = 2200 a canyon 200 m wide follows y = 1000 between walls that
rise 2 in 1 to 400 m: no satellite, little sky, but a free line along its floor to the donor at (3900, 1000). Near its
west end a dam of 60 m stands across the southern part of the floor and hides the donor. On the plain a narrow butte
of 150 m hides the satellite from a spot right behind it, and little else of the sky.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from shapely.geometry import LineString, Point, box

ORIGIN_X, ORIGIN_Y = 500_000.0, 4_950_000.0
WIDTH, HEIGHT, CELL = 4000, 2000, 10
CRS = "EPSG:32612"
DONOR = (3900.0, 1000.0)
SPOTS = {  # name: (x, y)
    "on the plain": (2600.0, 1030.0),
    "canyon floor": (1005.0, 955.0),
    "behind the butte": (3005.0, 885.0),
    "behind the dam": (155.0, 945.0),
}


def at(x: float, y: float) -> tuple[float, float]:
    return ORIGIN_X + x, ORIGIN_Y + y


def ground() -> np.ndarray:
    rows, cols = HEIGHT // CELL, WIDTH // CELL
    y = np.broadcast_to((HEIGHT - (np.arange(rows) + 0.5) * CELL)[:, None], (rows, cols))
    x = np.broadcast_to(((np.arange(cols) + 0.5) * CELL)[None, :], (rows, cols))
    walls = np.clip(2 * (np.abs(y - 1000) - 100), 0, 400) * (x < 2200)
    dam = 60.0 * ((x > 300) & (x < 340) & (y > 900) & (y < 975))
    butte = 150.0 * ((x > 2980) & (x < 3020) & (y > 700) & (y < 760))
    return (1500 + walls + dam + butte).astype(np.float32)


def write_canyon(folder: Path, donors: dict[str, Any] | None = None, **tables: str) -> str:
    """Layers and mission in a folder. `donors`: columns of the layer, with `at` the places; `tables`: TOML lines."""
    folder.mkdir(exist_ok=True)
    with rasterio.open(
        folder / "dem.tif",
        "w",
        driver="GTiff",
        height=HEIGHT // CELL,
        width=WIDTH // CELL,
        count=1,
        dtype="float32",
        crs=CRS,
        transform=Affine(CELL, 0, ORIGIN_X, 0, -CELL, ORIGIN_Y + HEIGHT),
        nodata=-9999,
    ) as dst:
        dst.write(ground(), 1)
        dst.units = ("m",)

    def save(file: str, shapes: list[Any], **columns: Any) -> None:
        gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / file, driver="GPKG")

    save("area.gpkg", [box(*at(2600, 1100), *at(3600, 1400))], name=["fire"])
    save(
        "roads.gpkg",
        [LineString([at(50, 1000), at(3500, 1000)]), LineString([at(3040, 1000), at(3040, 850)])],
        highway=["secondary", "unclassified"],
        name=["Canyon Road", "Butte Road"],
    )
    save("spots.gpkg", [Point(*at(*xy)) for xy in SPOTS.values()], name=list(SPOTS))
    held = dict(donors or {"name": ["Ridge tower"], "height_m": [30.0], "at": [DONOR]})
    places = [Point(*at(*xy)) for xy in held.pop("at")]
    save("donors.gpkg", places, **held)
    lon, lat = gpd.GeoSeries([Point(*at(3300, 1000))], crs=CRS).to_crs(4326).iloc[0].coords[0]
    held_tables = {
        "layers": 'elevation = "dem.tif"\nincident_area = "area.gpkg"\nroads = "roads.gpkg"\nspots = "spots.gpkg"\n'
        'donor_sites = "donors.gpkg"',
        "staging": f"latitude = {lat:.8f}\nlongitude = {lon:.8f}",
        "sky": 'satellites = [{name = "south", longitude_deg = -111.0}]',
        "backhaul": 'wanted = ["geostationary", "open_sky", "donor_link"]',
        "search": "radius_m = 2600\nspacing_m = 300\nmax_spots = 10\nrefined_spots = 0\ncoverage_cell_m = 50",
    }
    for table, lines in tables.items():
        held_tables[table] = lines if table == "backhaul" else f"{held_tables.get(table, '')}\n{lines}"
    text = 'name = "canyon"\n' + "\n".join(f"[{name}]\n{lines}" for name, lines in held_tables.items())
    path = folder / "mission.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)
