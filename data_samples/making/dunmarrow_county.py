"""Write the Dunmarrow County sample: `python -m data_samples.making.dunmarrow_county [DIR]`."""

from __future__ import annotations

import json
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
from pyproj import Transformer
from shapely import transform as move
from shapely.geometry import mapping

from data_samples.making.county import CELL_M, EPSG, HEIGHT_M, SOUTH_M, WEST_M, make_ground
from data_samples.making.dunmarrow_county_text import MISSION, README
from data_samples.making.layers import STAGING, make_layers, staging_point
from data_samples.making.roadplan import Road, lay_roads

NODATA = -9999.0
STEP_M = 0.125  # heights in eighths: exact in binary, a third smaller on disk than tenths


def write_raster(path: Path, values: np.ndarray, step: float) -> None:
    """Float32 heights in metres, rounded to `step`, as a tiled GeoTIFF with unit, CRS and nodata."""
    import rasterio
    from affine import Affine

    data = (np.round(values / step) * step).astype(np.float32)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=data.shape[1],
        height=data.shape[0],
        count=1,
        dtype="float32",
        crs=f"EPSG:{EPSG}",
        transform=Affine(CELL_M, 0, WEST_M, 0, -CELL_M, SOUTH_M + HEIGHT_M),
        nodata=NODATA,
        tiled=True,
        blockxsize=256,
        blockysize=256,
        compress="deflate",
        predictor=3,
        zlevel=9,
    ) as out:
        out.write(data, 1)
        out.set_band_unit(1, "m")
        out.set_band_description(1, "invented ground")


def write_geojson(path: Path, features: list, digits: int = 7) -> None:
    """GeoJSON (RFC 7946) in WGS 84 from features in local metres; one feature a line, same bytes every time."""
    to = Transformer.from_crs(EPSG, 4326, always_xy=True)

    def lonlat(xy):
        return np.round(np.column_stack(to.transform(xy[:, 0] + WEST_M, xy[:, 1] + SOUTH_M)), digits)

    lines = []
    for geometry, properties in features:
        moved = move(geometry, lonlat)
        lines.append(
            json.dumps({"type": "Feature", "properties": properties, "geometry": mapping(moved)}, separators=(",", ":"))
        )
    path.write_text('{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n", encoding="utf-8")


def road_features(roads: list[Road]) -> list:
    """Lines thinned to what they need, but with every point that two roads share."""
    from shapely.geometry import LineString

    seen: dict[tuple[float, float], int] = {}
    for road in roads:
        for p in {(round(x, 3), round(y, 3)) for x, y in road.points[:, :2]}:
            seen[p] = seen.get(p, 0) + 1
    out = []
    for road in roads:
        shared = [(round(x, 3), round(y, 3)) for x, y in road.points[:, :2]]
        for first, last, tags in road.stretches:
            keep = {first, last, *(k for k in range(first, last + 1) if seen[shared[k]] > 1)}
            nodes = sorted(keep)
            points: list = []
            for a, b in pairwise(nodes):
                piece = LineString(road.points[a : b + 1, :2]).simplify(0.8)
                points += list(piece.coords)[:-1]
            points.append(tuple(road.points[last, :2]))
            out.append((LineString(points), tags))
    return out


def build(folder: str | Path) -> Path:
    """Write every file of the sample into `folder`; returns the mission file."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    ground = make_ground()
    elevation_m, roads = lay_roads(ground)
    layers = make_layers(ground, elevation_m, roads)
    write_raster(folder / "elevation.tif", elevation_m, STEP_M)
    write_raster(folder / "surface.tif", elevation_m + layers.canopy_m, STEP_M)
    write_geojson(folder / "roads.geojson", road_features(roads))
    for name in (
        "incident_area",
        "must_serve",
        "keep_out",
        "hazards",
        "power_lines",
        "spots",
        "structures",
        "water",
        "soft_ground",
    ):
        write_geojson(folder / f"{name}.geojson", getattr(layers, name))
    to = Transformer.from_crs(EPSG, 4326, always_xy=True)
    x, y = staging_point(roads)
    lon, lat = to.transform(x + WEST_M, y + SOUTH_M)
    (folder / "mission.toml").write_text(
        MISSION.format(staging=STAGING[0], latitude=round(lat, 6), longitude=round(lon, 6)), encoding="utf-8"
    )
    (folder / "README.md").write_text(README, encoding="utf-8")
    return folder / "mission.toml"


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parents[1] / "dunmarrow_county"
    print(build(target))
