"""The square code on the driver's sheet: the drive as a track that no device routes by itself, readable without a net.

The text in it is GPX 1.1 with one track of few points. A `geo:` address would start a car's way to the spot, without
the rig's limits; a track is only followed.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan

MOST_BYTES = 900  # a code that a telephone still reads from paper at 40 mm: version 23 of ISO/IEC 18004
DECIMALS = 5  # about a metre


@dataclass(frozen=True)
class TrackCode:
    """The text that the code holds, and how far its track lies from the drive at most."""

    text: str
    off_m: float


def track_code(plan: Plan, ranked: RankedSpot) -> TrackCode | None:
    """The drive with its last leg, thinned until its text fits; None where no road leads to the spot."""
    access = ranked.evaluation.access
    if access is None:
        return None
    xy = np.vstack([shapely.get_coordinates(access.route.line), shapely.get_coordinates(access.last_leg)])
    whole = shapely.LineString(xy)
    step_m = 2.0
    while True:
        held = shapely.get_coordinates(whole.simplify(step_m))
        lon, lat = plan.scene.elevation.lonlat(held[:, 0], held[:, 1])
        lat, lon = np.round(lat, DECIMALS), np.round(lon, DECIMALS)
        text = _gpx(ranked.spot.name, lat, lon)
        if len(text.encode()) <= MOST_BYTES or len(held) <= 2:
            break
        step_m *= 1.25
    x, y = plan.scene.elevation.from_lonlat(lon, lat)
    thinned = shapely.LineString(np.column_stack([x, y]))
    return TrackCode(text, _off_m(shapely.to_wkb(thinned), shapely.to_wkb(whole)))


@lru_cache(maxsize=8)  # sheet and briefing ask for the same drive
def _off_m(thinned: bytes, whole: bytes) -> float:
    lines = shapely.segmentize(shapely.from_wkb(thinned), 5.0), shapely.from_wkb(whole)
    return float(shapely.hausdorff_distance(*lines, densify=0.05))


def _gpx(name: str, lat: np.ndarray, lon: np.ndarray) -> str:
    safe = "".join(c for c in name if c.isascii() and c.isalnum())[:8]
    points = "".join(f'<trkpt lat="{a:.5f}" lon="{b:.5f}"/>' for a, b in zip(lat, lon, strict=True))
    return (
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="siteplanner">'
        f"<trk><name>{safe}</name><trkseg>{points}</trkseg></trk></gpx>"
    )


@lru_cache(maxsize=8)
def code_svg(text: str) -> str:
    """A machine-readable square code (QR, ISO/IEC 18004) of a text, as SVG with its quiet zone."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="l", micro=False, boost_error=False).save(out, kind="svg", scale=4, border=4, xmldecl=False)
    return out.getvalue().decode()
