"""Write the sample on real ground: `python -m data_samples.making.real_hills [DIR]` (needs matplotlib).

The heights are those of matplotlib's sample file `jacksboro_fault_dem.npz`, cells of 3 seconds of arc, in degrees.
Everything laid on them is invented: roads are least-cost paths with a grade limit. The layers come in as many
formats and coordinate systems as agencies send.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
import zipfile
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from pyproj import Transformer
from rasterio.warp import Resampling, reproject
from scipy import ndimage
from shapely.geometry import LineString, Polygon

from data_samples.making.real_hills_text import MISSION, README
from data_samples.making.routing import densified, find_path, rounded
from data_samples.making.terrain import Frame

NODATA = -32768
UTM = "EPSG:32616"
CELL_M = 40.0
DATE = "2024-05-01T00:00:00.000Z"  # fixed, so that two runs write the same bytes


@dataclass(frozen=True)
class Line:
    """An invented road: corner points in fractions of the sheet (east, south), tags, grade limit."""

    key: str
    stops: tuple[tuple[float, float], ...]
    tags: dict[str, str]
    max_grade: float
    start_on: str = ""
    end_on: str = ""


def _tags(kind: str, name: str, surface: str, **more: str) -> dict[str, str]:
    return {"CLASS": kind, "RDNAME": name, "SURF": surface, **more}


LINES = (
    Line(
        "scarp",
        ((0.86, 0.995), (0.765, 0.80), (0.65, 0.635), (0.55, 0.475), (0.44, 0.32), (0.385, 0.175), (0.275, 0.004)),
        _tags("primary", "Scarp Highway", "asphalt"),
        0.12,
    ),
    Line(
        "rim",
        ((0.565, 0.475), (0.75, 0.355), (0.995, 0.125)),
        _tags("secondary", "Rim Foot Road", "asphalt"),
        0.06,
        start_on="scarp",
    ),
    Line(
        "gap",
        ((0.846, 0.20), (0.84, 0.16), (0.70, 0.14), (0.55, 0.26)),
        _tags("tertiary", "Gap Road", "asphalt"),
        0.08,
        start_on="rim",
    ),
    Line(
        "east",
        ((0.59, 0.53), (0.80, 0.55), (0.995, 0.60)),
        _tags("tertiary", "Low Hills Road", "asphalt"),
        0.06,
        start_on="scarp",
    ),
    Line(
        "pass",
        ((0.66, 0.66), (0.52, 0.63), (0.38, 0.70), (0.25, 0.735), (0.12, 0.60), (0.005, 0.37)),
        _tags("tertiary", "Crossing Road", "gravel"),
        0.12,
        start_on="scarp",
    ),
    Line(
        "crest",
        ((0.52, 0.60), (0.545, 0.86)),
        _tags("track", "Crest Track", "gravel", TRACK="grade2"),
        0.12,
        start_on="pass",
    ),
    Line(
        "bowl",
        ((0.46, 0.33), (0.43, 0.42), (0.40, 0.50)),
        _tags("unclassified", "Bowl Road", "gravel"),
        0.12,
        start_on="scarp",
    ),
    Line(
        "spur",
        ((0.53, 0.44), (0.515, 0.37), (0.47, 0.27)),
        _tags("unclassified", "Long Ridge Road", "gravel", MAXHT="9'10\""),
        0.09,
        start_on="scarp",
    ),
    Line(
        "knob",
        ((0.75, 0.79), (0.67, 0.80)),
        _tags("track", "Knob Track", "dirt", TRACK="grade4"),
        0.12,
        start_on="scarp",
    ),
)
MUST_SERVE = (
    ("Command post & kitchen", 0.585, 0.50),
    ("Base camp", 0.70, 0.40),
    ("Trailhead", 0.43, 0.27),
    ("Helicopter landing", 0.66, 0.61),
)
SPOTS = (("Highest top", 0.5447, 0.8646), ("Long Ridge", 0.49, 0.34), ("Low hills", 0.72, 0.53))
POWER_LINE = ((0.995, 0.30), (0.75, 0.42), (0.60, 0.50), (0.44, 0.295), (0.33, 0.005))
STAGING = (0.845, 0.965)


def heights() -> tuple[np.ndarray, Affine]:
    """matplotlib's sample heights (m, row 0 north) and their transform in degrees.

    In the file `ymin` holds the northern edge and `ymax` the southern one: the rows run south.
    """
    from matplotlib import cbook

    with np.load(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as data:
        z = data["elevation"]
        north, south = float(max(data["ymin"], data["ymax"])), float(min(data["ymin"], data["ymax"]))
        west, east = float(data["xmin"]), float(data["xmax"])
    rows, cols = z.shape
    return z, Affine((east - west) / cols, 0, west, 0, (south - north) / rows, north)


class Sheet:
    """The ground in UTM for laying roads, and fractions of the sheet as metres or degrees."""

    def __init__(self, z: np.ndarray, transform: Affine) -> None:
        self.transform, self.shape = transform, z.shape
        self._to = Transformer.from_crs("EPSG:4326", UTM, always_xy=True)
        x, y = self.metres(np.array([0.0, 1, 0, 1]), np.array([0.0, 0, 1, 1]))
        west, south = (float(np.floor(v.min() / CELL_M) * CELL_M) for v in (x, y))
        east, north = (float(np.ceil(v.max() / CELL_M) * CELL_M) for v in (x, y))
        self.frame = Frame(west, south, east, north, CELL_M)
        self.z = np.full(self.frame.shape, np.nan)
        reproject(
            z.astype(float),
            self.z,
            src_transform=transform,
            src_crs="EPSG:4326",
            dst_transform=Affine(CELL_M, 0, west, 0, -CELL_M, north),
            dst_crs=UTM,
            src_nodata=NODATA,
            dst_nodata=np.nan,
            resampling=Resampling.bilinear,
        )

    def degrees(self, across, down):
        """Longitude and latitude of fractions of the sheet."""
        return self.transform * (np.asarray(across) * self.shape[1], np.asarray(down) * self.shape[0])

    def point(self, across: float, down: float) -> tuple[float, float]:
        """UTM metres of one place."""
        x, y = self.metres(across, down)
        return float(x), float(y)

    def metres(self, across, down):
        """UTM metres of fractions of the sheet."""
        return self._to.transform(*self.degrees(across, down))


def lay(sheet: Sheet) -> dict[str, np.ndarray]:
    """Corner points (UTM metres) of every invented road."""
    outside = np.isnan(sheet.z)
    nearest = ndimage.distance_transform_edt(outside, return_distances=False, return_indices=True)
    ground = sheet.z[tuple(nearest)]  # level ground beyond the sheet, so that roads can reach its rim
    steep = np.hypot(*np.gradient(ndimage.gaussian_filter(ground, 0.7), CELL_M))
    burden = np.where(ndimage.binary_dilation(outside, iterations=2), 60.0, 3.0 * steep)
    out: dict[str, np.ndarray] = {}
    for line in LINES:
        stops = [sheet.point(*stop) for stop in line.stops]
        for which, other in ((0, line.start_on), (-1, line.end_on)):
            if other:
                nodes = out[other]
                near = np.argmin(np.hypot(nodes[:, 0] - stops[which][0], nodes[:, 1] - stops[which][1]))
                stops[which] = (float(nodes[near, 0]), float(nodes[near, 1]))
        path = find_path(
            ground,
            burden,
            sheet.frame,
            stops,
            line.max_grade,
            turn_m=90.0,
            margin_m=5000.0,
            to_the_point=True,
            slack=1.15,
        )
        smooth = densified(rounded(path, 3), 25.0)
        r, c = (np.round(v).astype(int) for v in sheet.frame.rowcol(smooth[:, 0], smooth[:, 1]))
        for row, col in zip(r, c, strict=True):  # later roads rather cross than run alongside
            if 0 <= row < burden.shape[0] and 0 <= col < burden.shape[1]:
                burden[row, col] += 1.5
        out[line.key] = smooth
    return out


def _zip_shapefile(frame: gpd.GeoDataFrame, path: Path) -> None:
    with tempfile.TemporaryDirectory() as folder:
        frame.to_file(
            Path(folder) / "roads.shp", driver="ESRI Shapefile", engine="pyogrio", DBF_DATE_LAST_UPDATE=DATE[:10]
        )
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for part in sorted(Path(folder).iterdir()):
                info = zipfile.ZipInfo(part.name, date_time=(2024, 5, 1, 0, 0, 0))
                info.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(info, part.read_bytes())
    path.write_bytes(packed.getvalue())


def _named(group: tuple[tuple[str, float, float], ...], sheet: Sheet) -> list[tuple[str, float, float]]:
    out = []
    for name, across, down in group:
        lon, lat = sheet.degrees(across, down)
        out.append((name, float(lon), float(lat)))
    return out


def _kml(points: list[tuple[str, float, float]]) -> str:
    marks = "\n".join(
        f"<Placemark><name>{escape(n)}</name><Point><coordinates>{lon:.6f},{lat:.6f}</coordinates></Point></Placemark>"
        for n, lon, lat in points
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>\n'
        f"{marks}\n</Document></kml>\n"
    )


def _gpx(points: list[tuple[str, float, float]]) -> str:
    marks = "\n".join(f'<wpt lat="{lat:.6f}" lon="{lon:.6f}"><name>{escape(n)}</name></wpt>' for n, lon, lat in points)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="siteplanner" '
        f'xmlns="http://www.topografix.com/GPX/1/1">\n{marks}\n</gpx>\n'
    )


def _road_table(roads: dict[str, np.ndarray]) -> gpd.GeoDataFrame:
    """The roads in an agency's own columns. Vertices that roads share stay; other ones are thinned."""
    uses: dict[tuple[float, float], int] = {}
    for points in roads.values():
        for p in {tuple(p) for p in points.round(3)}:
            uses[p] = uses.get(p, 0) + 1
    lines, rows = [], []
    for line in LINES:
        points = roads[line.key].round(3)
        keep = [k for k, p in enumerate(points) if k in (0, len(points) - 1) or uses[tuple(p)] > 1]
        thin: list[tuple[float, ...]] = []
        for a, b in pairwise(keep):
            thin += list(LineString(points[a : b + 1]).simplify(3.0).coords)[:-1]
        lines.append(LineString([*thin, tuple(points[-1])]))
        rows.append({"CLASS": "", "RDNAME": "", "SURF": "", "TRACK": "", "MAXHT": "", **line.tags})
    return gpd.GeoDataFrame(rows, geometry=lines, crs=UTM)


def _area(roads: dict[str, np.ndarray], sheet: Sheet) -> gpd.GeoDataFrame:
    """A stretch of the valley under the scarp, and the bowl behind the first crest."""
    scarp = roads["scarp"]
    across = (scarp[:, 0] - sheet.frame.west_m) / (sheet.frame.east_m - sheet.frame.west_m)
    valley = LineString(scarp[(across > 0.44) & (across < 0.67)]).buffer(900).simplify(40)
    corners = ((0.345, 0.40), (0.40, 0.385), (0.455, 0.43), (0.43, 0.50), (0.37, 0.53), (0.33, 0.47))
    bowl = Polygon(np.column_stack(sheet.metres(*np.array(corners).T))).difference(valley)
    return gpd.GeoDataFrame(
        {"name": ["Valley under the scarp", "The bowl"], "weight": [2.0, 1.0]}, geometry=[valley, bowl], crs=UTM
    )


def build(folder: str | Path) -> Path:
    """Write every file of the sample into `folder`; returns the mission file. Needs matplotlib."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    z, transform = heights()
    with rasterio.open(
        folder / "elevation.tif",
        "w",
        driver="GTiff",
        width=z.shape[1],
        height=z.shape[0],
        count=1,
        dtype="int16",
        crs="EPSG:4326",
        transform=transform,
        nodata=NODATA,
        compress="deflate",
        predictor=2,
        zlevel=9,
    ) as out:
        out.write(z.astype(np.int16), 1)
        out.set_band_unit(1, "m")
    sheet = Sheet(z, transform)
    roads = lay(sheet)
    _zip_shapefile(_road_table(roads).to_crs("EPSG:2274"), folder / "roads.zip")
    before = os.environ.get("OGR_CURRENT_DATE")
    os.environ["OGR_CURRENT_DATE"] = DATE
    try:
        (folder / "incident_area.gpkg").unlink(missing_ok=True)
        _area(roads, sheet).to_crs("EPSG:5070").to_file(
            folder / "incident_area.gpkg", layer="incident_area", driver="GPKG", engine="pyogrio"
        )
    finally:
        os.environ.pop("OGR_CURRENT_DATE")
        if before is not None:
            os.environ["OGR_CURRENT_DATE"] = before
    wire = LineString(np.column_stack(sheet.degrees(*np.array(POWER_LINE).T)))
    gpd.GeoDataFrame({"name": ["Valley line"], "voltage_kv": [161.0]}, geometry=[wire], crs="EPSG:4326").to_crs(
        "EPSG:3857"
    ).to_file(folder / "power_line.fgb", driver="FlatGeobuf", engine="pyogrio")
    (folder / "must_serve.kml").write_text(_kml(_named(MUST_SERVE, sheet)), encoding="utf-8")
    (folder / "spots.gpx").write_text(_gpx(_named(SPOTS, sheet)), encoding="utf-8")
    x, y = sheet.metres(*STAGING)
    gate = roads["scarp"][np.argmin(np.hypot(roads["scarp"][:, 0] - x, roads["scarp"][:, 1] - y))]
    lon, lat = Transformer.from_crs(UTM, "EPSG:4326", always_xy=True).transform(*gate)
    (folder / "mission.toml").write_text(
        MISSION.format(latitude=round(lat, 6), longitude=round(lon, 6)), encoding="utf-8"
    )
    (folder / "README.md").write_text(README, encoding="utf-8")
    (folder / "NOTICE.txt").write_text(_notice(), encoding="utf-8")
    return folder / "mission.toml"


def _notice() -> str:
    from importlib.metadata import distribution

    licence = distribution("matplotlib").read_text("LICENSE") or ""
    # what follows is about parts that are not used here
    licence = licence.split("This binary distrubution")[0].rstrip() + "\n"
    return (
        "elevation.tif holds the heights of the file jacksboro_fault_dem.npz that matplotlib carries as sample\n"
        "data, written as a GeoTIFF without change of any height. matplotlib's licence follows.\n\n" + licence
    )


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parents[1] / "real_hills"
    print(build(target))
