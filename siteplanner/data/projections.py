"""Which CRS the work is done in: metres, north up, true to size where the mission is."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from pyproj import CRS, Proj, Transformer
from pyproj.exceptions import CRSError

from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_REMEDY = 'Leave `crs` out (the local UTM zone is used), or give a projected CRS in meters, e.g. "EPSG:32616".'


def utm_zone(longitude_deg: float, latitude_deg: float) -> int:
    """UTM zone number, with the wider zones of south-west Norway and Svalbard.

    DMA TM 8358.1 (The Universal Grids), chapter 2-2: zone 32 takes 3 to 12 E between 56 and 64 N; between 72 and
    84 N zones 31, 33, 35, 37 meet at 9, 21 and 33 E.
    """
    longitude = (longitude_deg + 180.0) % 360.0 - 180.0
    if 56 <= latitude_deg < 64 and 3 <= longitude < 12:
        return 32
    if latitude_deg >= 72 and 0 <= longitude < 42:
        return 31 if longitude < 9 else 33 if longitude < 21 else 35 if longitude < 33 else 37
    return int((longitude + 180.0) // 6.0) + 1


def metric_crs(longitude_deg: float, latitude_deg: float) -> CRS:
    """The WGS 84 UTM zone of a place (degrees).

    Raises InputError poleward of 84 N and 80 S, where UTM ends, and for what is no place.
    """
    if not (math.isfinite(longitude_deg) and math.isfinite(latitude_deg)) or abs(latitude_deg) > 90:
        raise InputError(
            f"Longitude {longitude_deg}, latitude {latitude_deg} is not a place on Earth.",
            remedy="Check the coordinates of the incident area.",
            field="layers.incident_area",
        )
    if not -80 <= latitude_deg <= 84:
        raise InputError(
            f"Latitude {latitude_deg:.2f} lies beyond UTM (80 S to 84 N).",
            remedy='Give `crs` yourself, e.g. "EPSG:32661" (north) or "EPSG:32761" (south).',
            field="crs",
        )
    zone = utm_zone(longitude_deg, latitude_deg)
    return CRS.from_epsg((32600 if latitude_deg >= 0 else 32700) + zone)


_GRIDS = re.compile(r"\+(?:nadgrids|geoidgrids|grids|init)\s*=\s*(?!@null\b)\S*", re.IGNORECASE)


def check_target_crs(text: str | CRS, *, file: str | None = None) -> CRS:
    """The mission's own working CRS, vetted: projected, both axes in metres, two-dimensional.

    Raises InputError (field `crs`) for text that names no CRS, for degrees, feet, and geocentric or local CRSs.
    """
    named = _GRIDS.search(text) if isinstance(text, str) else None
    if named:
        raise InputError(f"It names another file ({named[0][:80]}).", remedy=_REMEDY, file=file, field="crs")
    try:
        crs = CRS.from_user_input(text)
    except CRSError as error:
        raise InputError(
            f"{str(text)[:80]!r} is not a coordinate reference system ({str(error)[:160]}).",
            remedy=_REMEDY,
            file=file,
            field="crs",
        ) from None
    crs = horizontal(crs)
    if crs.is_geographic:
        what = f"{crs.name} is in degrees; the work needs meters."
    elif not crs.is_projected:
        what = f"{crs.name} is not a map projection."
    elif any(abs(axis.unit_conversion_factor - 1.0) > 1e-9 for axis in crs.axis_info[:2]):
        what = f"{crs.name} is in {crs.axis_info[0].unit_name}; the work needs meters."
    else:
        return crs
    raise InputError(what, remedy=_REMEDY, file=file, field="crs")


def horizontal(crs: CRS) -> CRS:
    """The two-dimensional part of a CRS: a compound one without its heights, a bound one without its shift."""
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    return crs.to_2d() if len(crs.axis_info) == 3 and not crs.is_geocentric else crs


def scale_findings(crs: CRS, area: BaseGeometry) -> tuple[Finding, ...]:
    """How true to size a CRS is at the centre of an area (WGS 84 shape).

    A finding `crs_scale` where lengths are wrong by more than 1 %. Raises InputError (field `crs`) from 5 %:
    radii, slopes and drive times would be wrong with them (web mercator at 36 degrees: 24 %).
    """
    centre = area.centroid
    try:
        factors = Proj(crs).get_factors(centre.x, centre.y, errcheck=True)
    except CRSError as error:
        raise InputError(
            f"{crs.name} cannot show the incident area ({str(error)[:120]}).", remedy=_REMEDY, field="crs"
        ) from None
    worst = max(abs(factors.meridional_scale - 1), abs(factors.parallel_scale - 1))
    if not worst <= 0.05:
        raise InputError(
            f"In {crs.name} lengths at the incident area are wrong by {100 * worst:.1f} %.",
            remedy=_REMEDY,
            field="crs",
        )
    if worst > 0.01:
        return (Finding("crs_scale", "check", facts={"crs": crs.name, "share": worst}),)
    return ()


def written_place(crs: CRS, x: float, y: float) -> str:
    """Metres of a CRS as `latitude, longitude` in degrees, to a metre, for a sentence that somebody looks up."""
    longitude, latitude = Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    return f"{latitude:.5f}, {longitude:.5f}"
