"""One raster file, opened by its own driver only and vetted before a height is read from it."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer

from siteplanner.core.constants import FOOT_M, US_SURVEY_FOOT_M
from siteplanner.data.border import border, quiet_log
from siteplanner.data.child import check_opens
from siteplanner.data.formats import local_file, raster_driver
from siteplanner.data.geometry import Box, boxes_meet
from siteplanner.data.grid import WGS84
from siteplanner.data.projections import horizontal
from siteplanner.data.records import state_of
from siteplanner.data.side_files import check_companions
from siteplanner.errors import Finding, InputError

Unit = Literal["m", "ft", "us-ft"]
METRES_PER = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}

_UNIT_WORDS: dict[str, Unit] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("ft", "foot", "feet", "international foot", "international feet", "ift"), "ft"),
    **dict.fromkeys(
        ("us-ft", "usft", "ftus", "us survey foot", "us survey feet", "sfoot", "u.s. survey foot", "foot_us",
         "survey foot", "us_survey_foot"), "us-ft"),
}  # fmt: skip
MOST_BLOCK = 1 << 28  # bytes of one tile or strip, which is read whole
MOST_CELL = 1e6  # in the unit of the CRS, metres or degrees
_ELEVATION_NAMES = ("elevation", "dem", "dtm", "dsm", "height", "altitude", "z", "topo", "band1")


@dataclass(frozen=True, eq=False)
class RasterSource:
    """An open raster of one elevation band.

    `unit` is what the file says (None: nothing), `unit_from` where it says so; `feet_ground` whether its map
    coordinates are in feet, which makes heights in feet likely.
    """

    path: Path
    dataset: Any
    band: int
    crs: CRS
    transform: Affine
    unit: Unit | None
    unit_from: str
    feet_ground: bool
    vertical: str
    extent_lonlat: Box
    findings: tuple[Finding, ...]

    @property
    def lon_centre(self) -> float | None:
        """Middle longitude of a raster in degrees; None for a projected one."""
        if not self.crs.is_geographic:
            return None
        return _at(self.transform, self.dataset.width / 2, self.dataset.height / 2)[0]

    def pixel_size_m(self, longitude: float, latitude: float, target_crs: CRS) -> tuple[float, float]:
        """Height and width in metres of the pixel nearest to a place (WGS 84 degrees)."""
        x, y = Transformer.from_crs(WGS84, self.crs, always_xy=True).transform(longitude, latitude)
        if self.lon_centre is not None:
            x = self.lon_centre + (x - self.lon_centre + 180.0) % 360.0 - 180.0
        col, row = _at(~self.transform, x, y)
        col = min(max(col, 0.0), self.dataset.width - 1.0)
        row = min(max(row, 0.0), self.dataset.height - 1.0)
        corners = [_at(self.transform, *p) for p in ((col, row), (col + 1, row), (col, row + 1))]
        move = Transformer.from_crs(self.crs, target_crs, always_xy=True)
        xs, ys = move.transform([p[0] for p in corners], [p[1] for p in corners])
        return float(np.hypot(xs[2] - xs[0], ys[2] - ys[0])), float(np.hypot(xs[1] - xs[0], ys[1] - ys[0]))


def _at(t: Affine, x: float, y: float) -> tuple[float, float]:
    return float(t.a * x + t.b * y + t.c), float(t.d * x + t.e * y + t.f)


@contextmanager
def open_raster(path: str | Path, overview: int | None = None) -> Iterator[RasterSource]:
    """Open and vet a raster. `overview`: which of its reduced copies to read instead.

    Raises InputError for a file off the list or damaged, a companion file that names other files, a missing CRS or
    position, complex numbers, pictures, several bands without a named elevation, and a unit that is not understood.
    """
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning, RasterioError

    quiet_log()
    full = local_file(path)
    driver = raster_driver(full)
    check_companions(full)
    if driver == "netCDF":
        check_opens(full, driver)
    with rasterio.Env() as env:
        if driver not in env.drivers():
            raise InputError(f"This installation reads no {driver} rasters.", remedy="Export it as GeoTIFF.", file=full)
        options = {} if overview is None else {"overview_level": overview}
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said better by our own error
                dataset = _open(full, driver, options)
        except (RasterioError, UnicodeDecodeError) as error:
            raise unreadable(error, full) from None
        with dataset:
            yield _vetted(full, dataset)


def extent_of(path: str | Path) -> Box:
    """Extent of a raster in WGS 84 degrees, by its header; a file that the disk says is unchanged is not opened again.

    What a mosaic of hundreds of tiles is asked first, so that only those that matter are read or fingerprinted.
    Raises InputError as `open_raster`.
    """
    full = local_file(path)
    return _settled_extent(full, state_of(full))


@lru_cache(maxsize=10_000)
def _settled_extent(path: Path, state: tuple[int, ...]) -> Box:
    with border(path, "raster"), open_raster(path) as source:
        return source.extent_lonlat


def parted(paths: Sequence[Path], near: Box) -> tuple[list[Path], tuple[tuple[str, Box], ...]]:
    """The rasters that meet a box in WGS 84 degrees; name and extent of the others. Where none meets it, all are given
    as meeting it, so that whoever reads them says so. Raises InputError as `open_raster`.
    """
    extents = [extent_of(path) for path in paths]
    meets = [boxes_meet(extent, near) for extent in extents]
    if not any(meets):
        return list(paths), ()
    aside = tuple((p.name, extent) for p, extent, met in zip(paths, extents, meets, strict=True) if not met)
    return [path for path, met in zip(paths, meets, strict=True) if met], aside


def unreadable(error: Exception, path: Path) -> InputError:
    """What to say when GDAL gives up on a file."""
    why = str(error.__cause__ or error)[:200]
    return InputError(
        f"The raster cannot be read; it may be damaged or cut short ({why}).",
        remedy="Copy or export it again.",
        file=path,
    )


def _open(path: Path, driver: str, options: dict[str, Any]) -> Any:
    import rasterio

    dataset = rasterio.open(path, driver=driver, **options)
    if dataset.count or not dataset.subdatasets:
        return dataset
    names = list(dataset.subdatasets)
    dataset.close()
    kinds = {name: name.replace('"', "").rpartition(":")[2] for name in names}
    likely = [n for n in names if kinds[n].lower() in _ELEVATION_NAMES]
    chosen = likely if len(likely) == 1 else names
    if len(chosen) != 1:
        raise InputError(
            f"The file contains several rasters: {', '.join(kinds.values())}.",
            remedy="Export the ground elevation alone, as GeoTIFF.",
            file=path,
        )
    # such a name is driver:"file":part; what stands for the file must be this one
    scheme, _, place = chosen[0].replace('"', "").partition(":")
    if scheme.lower() != driver.lower() or not place.startswith(f"{path}:".replace('"', "")):
        raise InputError(
            "The file's parts name another file.", remedy="Export the ground elevation alone, as GeoTIFF.", file=path
        )
    return rasterio.open(chosen[0], driver=driver, **options)


def check_block(dataset: Any, band: int, path: Path) -> None:
    """Raises InputError for a raster whose tiles or strips, which are read whole, would take all memory."""
    height, width = dataset.block_shapes[band - 1]
    if height * width * np.dtype(dataset.dtypes[band - 1]).itemsize > MOST_BLOCK:
        raise InputError(
            f"The raster is kept in pieces of {width:,} x {height:,} cells, each of which must be read whole.",
            remedy="Export it in tiles, e.g. as a cloud-optimized GeoTIFF.",
            file=path,
        )


def _vetted(path: Path, dataset: Any) -> RasterSource:
    findings: list[Finding] = []
    folder = path.parent.resolve()
    strangers = [f for f in dataset.files if not f.startswith("/vsi") and Path(f).resolve().parent != folder]
    if strangers or dataset.tags(ns="OVERVIEWS").get("OVERVIEW_FILE"):
        raise InputError(
            f"The raster names files elsewhere ({', '.join(strangers)[:200]}).",
            remedy="Export it as one GeoTIFF.",
            file=path,
        )
    crs = _crs(path, dataset, findings)
    band = _band(path, dataset, findings)
    t = dataset.transform
    if abs(t.b) > 1e-9 * abs(t.a) or abs(t.d) > 1e-9 * abs(t.e):
        turn = np.degrees(np.arctan2(t.d, t.a))
        findings.append(
            Finding(
                "elevation_rotated",
                "note",
                file=path.name,
                facts={"turn_deg": float(turn)},
            )
        )
    if t.determinant == 0 or not np.isfinite(t).all() or max(abs(v) for v in (t.a, t.b, t.d, t.e)) > MOST_CELL:
        raise InputError("The raster's cells have no possible size.", remedy="Export it again.", file=path)
    check_block(dataset, band, path)
    unit, unit_from = _unit(path, dataset, band, crs)
    flat = horizontal(crs)
    feet = flat.is_projected and any(abs(a.unit_conversion_factor - FOOT_M) < 1e-3 for a in flat.axis_info[:2])
    vertical = next((part.name for part in crs.sub_crs_list if part.is_vertical), "")
    if not vertical and len(crs.axis_info) == 3:
        vertical = "ellipsoidal height"
    return RasterSource(
        path, dataset, band, flat, t, unit, unit_from, feet, vertical, _extent(dataset, flat), tuple(findings)
    )


def _crs(path: Path, dataset: Any, findings: list[Finding]) -> CRS:
    if dataset.crs is None and not dataset.transform.is_identity and dataset.driver == "netCDF":
        # CF 1.11, sections 4.1 and 4.2: these units make latitude and longitude; the datum may be left unsaid
        said = {str(value).lower() for key, value in dataset.tags().items() if key.endswith("#units")}
        if {"degrees_north", "degrees_east"} <= said:
            findings.append(
                Finding(
                    "elevation_crs_assumed",
                    "check",
                    file=path.name,
                )
            )
            return WGS84
    if dataset.crs is None:
        if dataset.gcps[0]:
            raise InputError(
                "The raster is placed by control points only.",
                remedy="Rectify it in a GIS (to a projected CRS) and give the result.",
                file=path,
            )
        raise InputError(
            "The raster does not say its coordinate reference system (CRS).",
            remedy="Assign the CRS in a GIS and save it as GeoTIFF; an ASCII grid needs a .prj file beside it.",
            file=path,
        )
    if dataset.transform.is_identity:
        raise InputError(
            "The raster does not say where it lies (no transform).",
            remedy="Georeference it in a GIS, or put its world file (.tfw) beside it.",
            file=path,
        )
    crs = CRS.from_wkt(dataset.crs.to_wkt())
    flat = horizontal(crs)
    if not (flat.is_geographic or flat.is_projected):
        raise InputError(
            f"{crs.name} is a local system that cannot be placed on Earth.",
            remedy="Assign the true CRS in a GIS and save it as GeoTIFF.",
            file=path,
        )
    return crs


def _band(path: Path, dataset: Any, findings: list[Finding]) -> int:
    from rasterio.enums import ColorInterp

    if any("complex" in kind for kind in dataset.dtypes):
        raise InputError(
            "The raster contains complex numbers (a radar product), not heights.",
            remedy="Give the elevation model that belongs to it.",
            file=path,
        )
    colours = {ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.palette, ColorInterp.cyan}
    bands = [b for b in range(1, dataset.count + 1) if dataset.colorinterp[b - 1] != ColorInterp.alpha]
    if any(dataset.colorinterp[b - 1] in colours for b in bands):
        raise InputError(
            f"This is a colored picture ({dataset.count} bands), not heights.",
            remedy="Give the elevation itself, one band of numbers.",
            file=path,
        )
    if not bands:
        raise InputError("The raster has no band of heights.", remedy="Export it again.", file=path)
    band = bands[0]
    if len(bands) > 1:
        named = [b for b in bands if (dataset.descriptions[b - 1] or "").strip().lower() in _ELEVATION_NAMES]
        if len(named) != 1:
            raise InputError(
                f"The raster has {len(bands)} bands and none alone is called elevation.",
                remedy="Export the band of heights alone.",
                file=path,
            )
        band = named[0]
        findings.append(
            Finding(
                "elevation_band_chosen",
                "note",
                file=path.name,
                facts={"band": band, "name": dataset.descriptions[band - 1], "bands": len(bands)},
            )
        )
    if dataset.dtypes[band - 1] in ("uint8", "int8"):
        raise InputError(
            "Heights of 8 bits (0 to 255) are a shaded picture, not an elevation model.",
            remedy="Give the elevation itself; if these are heights, save them as 16-bit numbers.",
            file=path,
        )
    return band


def _unit(path: Path, dataset: Any, band: int, crs: CRS) -> tuple[Unit | None, str]:
    """The unit of heights by the band's tag or the CRS's vertical axis; both, where given, must agree."""
    tags = dataset.tags(band)
    said = (dataset.units[band - 1] or tags.get("units") or tags.get("UNITTYPE") or "").strip()
    by_tag = _UNIT_WORDS.get(said.lower())
    if said and by_tag is None:
        raise InputError(
            f"The raster's unit {said[:40]!r} is not understood.",
            remedy="Convert the heights to meters, or remove the unit and set elevation_unit.",
            file=path,
        )
    axis = crs.axis_info[2] if len(crs.axis_info) > 2 else None
    by_crs: Unit | None = None
    if axis is not None:
        factors = {k: abs(axis.unit_conversion_factor - f) for k, f in METRES_PER.items()}
        best = min(factors, key=lambda k: factors[k])
        if factors[best] < 1e-9:
            by_crs = best  # type: ignore[assignment]
    if by_tag and by_crs and by_tag != by_crs and "m" in (by_tag, by_crs):
        raise InputError(
            f"The raster contradicts itself: its band says {by_tag}, the vertical part of its CRS says {by_crs}.",
            remedy="Find out which is true and set elevation_unit.",
            file=path,
            field="layers.elevation_unit",
        )
    if by_crs and by_tag != by_crs:
        return by_crs, "its CRS"
    return by_tag, "its band" if by_tag else ""


def _extent(dataset: Any, crs: CRS) -> Box:
    """West, south, east, north in WGS 84 degrees, followed along the edges, also of a turned raster."""
    along = np.linspace(0, 1, 21)
    zero, one = np.zeros(21), np.ones(21)
    cols = np.concatenate([along, along, zero, one]) * dataset.width
    rows = np.concatenate([zero, one, along, along]) * dataset.height
    t = dataset.transform
    x, y = t.a * cols + t.b * rows + t.c, t.d * cols + t.e * rows + t.f
    if crs.is_geographic and crs.equals(WGS84, ignore_axis_order=True):
        lon, lat = x, y
    else:
        lon, lat = Transformer.from_crs(crs, WGS84, always_xy=True).transform(x, y)
        good = np.isfinite(lon) & np.isfinite(lat)
        if not good.any():
            return (float("nan"),) * 4
        lon, lat = lon[good], lat[good]
        lon = lon[0] + (lon - lon[0] + 180.0) % 360.0 - 180.0  # across the antimeridian too
    return float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max())
