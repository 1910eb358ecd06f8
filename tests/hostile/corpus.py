"""Good files to spoil: the layers of both samples, and a small valley in every format of the allow-list.

Built once into a folder; a case then puts one spoilt file into the place of one of them.
"""

from __future__ import annotations

import json
import shutil
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from siteplanner.demo import SAMPLES, sample_mission
from siteplanner.mission import Layers, layer_kinds

VECTOR_FORMATS = {
    "geojson": "GeoJSON", "gpkg": "GPKG", "shp": "ESRI Shapefile", "kml": "LIBKML", "fgb": "FlatGeobuf", "gpx": "GPX",
}  # fmt: skip
RASTER_FORMATS = {
    "tif": "GTiff", "asc": "AAIGrid", "img": "HFA", "hgt": "SRTMHGT", "dt0": "DTED", "gpkg": "GPKG", "dem": "USGSDEM",
}  # fmt: skip
WIND = "time,speed,gust,direction_deg\n" + "".join(
    f"2026-06-03T{h:02d}:00:00-06:00,{4 + h % 5},{8 + h % 7},{10 * h}\n" for h in range(24)
)
RISE = "time,level_m\n" + "".join(f"2026-06-03T{h:02d}:00:00-06:00,{1 + h / 10:.1f}\n" for h in range(24))


@dataclass(frozen=True)
class Good:
    """One good file and where it stands in which mission: `field` of its `layers` (or `sheets.extra_fonts`)."""

    mission: str  # stem of the mission's data in the corpus
    field: str
    path: Path
    parts: tuple[Path, ...] = ()  # of a shapefile: these are spoilt as often as the file itself

    @property
    def several(self) -> bool:
        return self.field not in ("incident_area", "roads", "land_cover", "wind_forecast", "rise_forecast")


def build(folder: Path) -> None:
    """Write the corpus: missions as JSON with absolute paths, `goods.json` with every file that can be spoilt."""
    from tests.planning.conftest import write_mission

    goods: list[Good] = []
    folder.mkdir(parents=True, exist_ok=True)
    for name in SAMPLES:
        source = sample_mission(name)
        shutil.copytree(source.parent, folder / name)
        data = tomllib.loads(source.read_text("utf-8"))
        # a coarse, narrow search: what is tried here is the reading
        data["search"] = {**data.get("search", {}), "radius_m": 200.0, "cell_size_m": 100.0, "max_spots": 10}
        goods += _listed(name, folder / name, data)
        _put(folder, name, folder / name, data)
        _put(folder, f"{name}_small", folder / name, {**data, "layers": _small(folder / name, data["layers"])})
    place = folder / "valley"
    mission = Path(write_mission(place))
    data = tomllib.loads(mission.read_text("utf-8"))
    data["search"] = {"radius_m": 400.0, "spacing_m": 200.0, "max_spots": 6, "cell_size_m": 40.0, "refined_spots": 0,
                      "listed_spots": 2, "sets": 2}  # fmt: skip
    data["times"] = {"dispatch": "2026-06-03T05:30:00-06:00"}
    goods += _listed("valley", place, data)
    goods += _tables(place, data)
    goods += _asked(place, data)
    _put(folder, "valley", place, data)
    _put(folder, "valley_small", place, {**data, "layers": _small(place, data["layers"])})
    for field in ("incident_area", "roads", "keep_out", "must_serve"):
        goods += _vectors(place, field, data["layers"][field])
    goods += _rasters(place, data["layers"]["elevation"])
    goods += _osm(place)
    from siteplanner.outputs.sheets.fonts import BUILT_IN, FONT_FOLDER

    goods.append(Good("valley", "extra_fonts", FONT_FOLDER / BUILT_IN[0]))
    listed = [{"mission": g.mission, "field": g.field, "path": str(g.path), "parts": list(map(str, g.parts))}
              for g in goods]  # fmt: skip
    (folder / "goods.json").write_text(json.dumps(listed), "utf-8")


def _small(place: Path, layers: dict[str, Any]) -> dict[str, Any]:
    """Layers that only carry the one under test: what a mission must have, coarse and few.

    Reading all the good layers with each spoilt one took nine tenths of a case.
    """
    import geopandas as gpd
    import numpy as np
    import rasterio
    from affine import Affine

    ground = layers["elevation"]
    source = place / (ground if isinstance(ground, str) else ground[0])
    with rasterio.open(source) as held:
        rows, cols = (max(side // max(round(side / 40), 1), 8) for side in held.shape)
        wide = held.transform @ Affine.scale(held.width / cols, held.height / rows)
        values = held.read(1, out_shape=(rows, cols)).astype(np.float32)
        profile = {"driver": "GTiff", "count": 1, "height": rows, "width": cols, "dtype": "float32", "crs": held.crs,
                   "transform": wide, "nodata": held.nodata}  # fmt: skip
    with rasterio.open(place / "ground_small.tif", "w", **profile) as made:
        made.write(values, 1)
        made.units = ("m",)
    roads = gpd.read_file(place / layers["roads"])
    roads.iloc[:12].to_file(place / "roads_small.gpkg", driver="GPKG")
    kept = {field: given for field, given in layers.items() if field not in FILES}
    return {**kept, "elevation": ["ground_small.tif"], "elevation_unit": "m", "roads": "roads_small.gpkg",
            "incident_area": layers["incident_area"]}  # fmt: skip


def prepared(folder: Path) -> None:
    """The corpus, and the `plan.json` of its valley for `explain`."""
    from siteplanner import load_mission, plan
    from siteplanner.outputs.write import write_outputs

    build(folder)
    write_outputs(plan(load_mission(folder / "valley.json")), folder / "out", only=["plan.json"])


def goods(folder: Path) -> list[Good]:
    """Every file of a corpus that can be spoilt."""
    held = json.loads((folder / "goods.json").read_text("utf-8"))
    return [Good(g["mission"], g["field"], Path(g["path"]), tuple(map(Path, g["parts"]))) for g in held]


def mission_data(folder: Path, name: str) -> dict[str, Any]:
    """A mission of the corpus as plain data; its paths are absolute."""
    return dict(json.loads((folder / f"{name}.json").read_text("utf-8")))


FILES = tuple(name for name in Layers.model_fields if layer_kinds(name))


def _put(folder: Path, name: str, place: Path, data: dict[str, Any]) -> None:
    layers = dict(data["layers"])
    for field in FILES:
        if field in layers:
            given = layers[field]
            layers[field] = [str(place / g) for g in given] if isinstance(given, list) else str(place / given)
    (folder / f"{name}.json").write_text(json.dumps({**data, "layers": layers}, default=str), "utf-8")


def _listed(name: str, place: Path, data: dict[str, Any]) -> list[Good]:
    out = []
    for field in FILES:
        given = data["layers"].get(field, [])
        out += [Good(name, field, place / g) for g in ([given] if isinstance(given, str) else given)]
    return out


def _tables(place: Path, data: dict[str, Any]) -> list[Good]:
    (place / "wind.csv").write_text(WIND, "utf-8")
    (place / "rise.csv").write_text(RISE, "utf-8")
    data["layers"] |= {"wind_forecast": "wind.csv", "rise_forecast": "rise.csv"}
    return [Good("valley", field, place / file) for field, file in
            (("wind_forecast", "wind.csv"), ("rise_forecast", "rise.csv"))]  # fmt: skip


def _asked(place: Path, data: dict[str, Any]) -> list[Good]:
    """Parcels, landing zones, known cells, a license area: whom to ask first."""
    import geopandas as gpd
    from shapely.geometry import LineString, Point, box

    from tests.planning.conftest import CRS, at

    ground = box(*at(0, 0), *at(3000, 2000))
    held: dict[str, tuple[list[Any], dict[str, list[Any]]]] = {
        "parcels": ([ground], {"parcel": ["12-3"], "owner": ["A. Sample"], "phone": ["+1 555 0100"]}),
        "landing_zones": (
            [LineString([at(-900, 900), at(-100, 900)]), Point(at(2000, 500))],
            {"name": ["strip", "pad"], "kind": ["airport", "helispot"], "runway_ft": [2600.0, None]},
        ),
        "known_cells": (
            [Point(at(2500, 500))],
            {
                "name": ["ridge"],
                "frequency_mhz": [763.0],
                "bandwidth_mhz": [10.0],
                "eirp_dbm": [50.0],
                "height_m": [30.0],
            },
        ),
        "license_area": ([ground], {"name": ["region"]}),
    }
    out = []
    for field, (shapes, columns) in held.items():
        file = f"{field}.geojson"
        gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_crs(4326).to_file(place / file, driver="GeoJSON")
        data["layers"][field] = file
        out.append(Good("valley", field, place / file))
    return out


def _vectors(place: Path, field: str, file: str) -> list[Good]:
    import zipfile

    import geopandas as gpd

    frame = gpd.read_file(place / file)
    out = []
    for ending, driver in VECTOR_FORMATS.items():
        if driver == "GPX" and field != "must_serve":
            continue
        path = place / f"{field}_in.{ending}"
        made = frame.to_crs(4326) if driver in ("GeoJSON", "LIBKML", "GPX") else frame
        if driver == "GPX":
            made = made[["name", "geometry"]]
        made.to_file(path, driver=driver, **({"layer": "waypoints"} if driver == "GPX" else {}))
        parts: tuple[Path, ...] = ()
        if driver == "ESRI Shapefile":
            parts = tuple(sorted(p for p in place.glob(f"{field}_in.*") if p.suffix in (".shx", ".dbf", ".prj")))
        out.append(Good("valley", field, path, parts))
        if driver in ("ESRI Shapefile", "LIBKML"):
            packed = place / f"{field}_in.{'zip' if parts else 'kmz'}"
            with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as held:
                for member in (path, *parts):
                    held.write(member, "doc.kml" if driver == "LIBKML" else member.name)
            out.append(Good("valley", field, packed))
    return out


def _rasters(place: Path, file: str) -> list[Good]:
    import numpy as np
    import rasterio
    import rasterio.shutil
    from rasterio.crs import CRS
    from rasterio.transform import from_bounds
    from rasterio.warp import Resampling, reproject

    out = []
    with rasterio.open(place / file) as source:
        values, transform, crs = source.read(1), source.transform, source.crs
        west, south, east, north = rasterio.warp.transform_bounds(crs, 4326, *source.bounds)
    for ending, driver in RASTER_FORMATS.items():
        path = place / f"ground.{ending}"
        profile = {"driver": driver, "count": 1, "height": values.shape[0], "width": values.shape[1],
                   "dtype": "float32", "crs": crs, "transform": transform}  # fmt: skip
        held = values
        if driver in ("SRTMHGT", "DTED"):  # whole degrees, whole metres
            side = 1201 if driver == "SRTMHGT" else 121
            left, low = int(np.floor(west)), int(np.floor(south))
            half = 0.5 / (side - 1)
            box = from_bounds(left - half, low - half, left + 1 + half, low + 1 + half, side, side)
            held = np.full((side, side), 1500, np.float32)
            reproject(values, held, src_transform=transform, src_crs=crs, dst_transform=box, dst_crs="EPSG:4326",
                      resampling=Resampling.bilinear, init_dest_nodata=False)  # fmt: skip
            held = held.astype(np.int16)
            name = f"{'NS'[low < 0]}{abs(low):02d}{'EW'[left < 0]}{abs(left):03d}"
            path = place / f"{name}.{ending}"
            profile |= {"height": side, "width": side, "dtype": "int16", "crs": CRS.from_epsg(4326), "transform": box}
        if driver == "GPKG":
            held = np.round(held).astype(np.int16)
            profile |= {"dtype": "int16"}
        if driver in ("AAIGrid", "SRTMHGT", "DTED", "USGSDEM"):  # formats that GDAL only copies into
            with rasterio.MemoryFile() as memory:
                with memory.open(**{**profile, "driver": "GTiff"}) as made:
                    made.write(held, 1)
                with memory.open() as made:
                    rasterio.shutil.copy(made, path, driver=driver)
        else:
            with rasterio.open(path, "w", **profile) as made:
                made.write(held, 1)
        prj = path.with_suffix(".prj")
        out.append(Good("valley", "elevation", path, (prj,) if prj.exists() else ()))
    return [*out, *_netcdf(place, values, (west, south, east, north))]


def _netcdf(place: Path, values: Any, bounds: tuple[float, float, float, float]) -> list[Good]:
    """Classic, and netCDF-4, which is HDF5: heights over latitude and longitude (CF conventions, section 4)."""
    import h5py
    import numpy as np
    from scipy.io import netcdf_file

    rows, cols = values.shape
    west, south, east, north = bounds
    axes = {"lat": np.linspace(north, south, rows), "lon": np.linspace(west, east, cols)}
    words = {"lat": "degrees_north", "lon": "degrees_east"}
    classic, modern = place / "ground.nc", place / "ground_hdf5.nc"
    with netcdf_file(classic, "w") as held:
        for name, axis in axes.items():
            held.createDimension(name, len(axis))
            made = held.createVariable(name, "d", (name,))
            made[:], made.units = axis, words[name]
        made = held.createVariable("z", "f", ("lat", "lon"))
        made[:], made.units = values, "m"
    with h5py.File(modern, "w") as held:
        for name, axis in axes.items():
            held.create_dataset(name, data=axis).make_scale(name)
            held[name].attrs["units"] = np.bytes_(words[name])
        held.create_dataset("z", data=values).attrs["units"] = np.bytes_("m")
        for number, name in enumerate(axes):
            held["z"].dims[number].attach_scale(held[name])
    return [Good("valley", "elevation", classic), Good("valley", "elevation", modern)]


def _osm(place: Path) -> list[Good]:
    import osmium
    import pyproj

    from tests.planning.conftest import CRS, at

    change = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    lines = [
        [(100, 900), (1500, 900), (2000, 900), (2900, 900)],
        [(1500, 900), (1500, 1900)],
        [(2000, 900), (2000, 300)],
    ]
    out = []
    for ending in ("osm", "osm.pbf"):
        path = place / f"roads_in.{ending}"
        number = 0
        with osmium.SimpleWriter(str(path)) as writer:
            ways = []
            for line in lines:
                ids = []
                for point in line:
                    number += 1
                    ids.append(number)
                    writer.add_node(osmium.osm.mutable.Node(
                        id=number, location=change.transform(*at(*point)), tags={"barrier": "gate"}))  # fmt: skip
                ways.append(ids)
            tags = {"highway": "secondary", "maxheight": "4.2", "name": "Valley Road"}
            for way, ids in enumerate(ways, 1):
                writer.add_way(osmium.osm.mutable.Way(id=way, nodes=ids, tags=tags))
        out.append(Good("valley", "roads", path))
    return out
