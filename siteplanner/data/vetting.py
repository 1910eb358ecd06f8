"""Whether the layers fit together: the area on known ground, points where they can be, numbers that can be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from siteplanner.data.projections import check_target_crs, scale_findings
from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from siteplanner.data.rasters import Elevation

__all__ = [
    "check_target_crs", "elevation_covers", "plausible_area", "plausible_staging", "points_on_ground",
    "satellites_in_sight", "scale_findings", "usable_numbers",
]  # fmt: skip


def elevation_covers(area: BaseGeometry, elevation: Elevation) -> tuple[Finding, ...]:
    """How much of the incident area has unknown ground. `area` is in the elevation's CRS.

    A finding `area_without_elevation` if a part has; raises InputError if all of it has.
    """
    share = unknown_share(area, elevation)
    files = ", ".join(record.file for record in elevation.records)
    if share >= 1.0:
        raise InputError(
            "100 % of the incident area lies outside the elevation or on unknown cells of it.",
            remedy="Give elevation of this place, or correct the area.",
            file=files,
            field="layers.elevation",
        )
    if share < 0.0005:  # 0.0 % in words: a sliver, or rounding
        return ()
    return (
        Finding(
            "area_without_elevation",
            "check",
            file=files,
            facts={"share": share},
        ),
    )


def unknown_share(area: BaseGeometry, elevation: Elevation) -> float:
    """Share 0..1 of an area (in the elevation's CRS) that lies off the grid or on NaN cells."""
    from rasterio.features import geometry_mask
    from shapely.geometry import box

    grid = elevation.grid
    known = np.isfinite(grid.values)
    inside = geometry_mask([area], out_shape=grid.shape, transform=grid.transform, invert=True)
    on_grid = area.intersection(box(*grid.bounds)).area / area.area if area.area > 0 else 0.0
    cells = int(inside.sum())
    if cells:
        return float(np.clip(1.0 - on_grid * (inside & known).sum() / cells, 0.0, 1.0))
    centre = area.representative_point()  # smaller than a cell
    cell = grid.cell(centre.x, centre.y)
    return 0.0 if cell is not None and known[cell] else 1.0


def points_on_ground(points: GeoDataFrame, elevation: Elevation, role: str) -> tuple[Finding, ...]:
    """A finding `<role>_off_ground` that names the points outside the elevation or on unknown cells of it."""
    if points.empty:
        return ()
    places = points.geometry.representative_point()
    heights = elevation.grid.sample(places.x.to_numpy(), places.y.to_numpy())
    lost = ~np.isfinite(heights)
    if not lost.any():
        return ()
    labels = points["name"].astype(str).to_numpy() if "name" in points.columns else points.index.astype(str).to_numpy()
    return (
        Finding(
            f"{role.replace(' ', '_')}_off_ground",
            "check",
            facts={"role": role, "count": int(lost.sum()), "of": len(points), "names": tuple(labels[lost][:8])},
        ),
    )


def plausible_staging(
    longitude_deg: float, latitude_deg: float, area: BaseGeometry, farthest_km: float = 300.0
) -> tuple[Finding, ...]:
    """Whether the staging point can belong to the incident area (WGS 84 shape).

    Farther than `farthest_km` gives a finding `staging_far_away`. Raises InputError (field `staging`) where it is
    far and exchanging latitude and longitude, or turning a sign, brings it within 50 km.
    """
    from pyproj import Geod

    centre = area.centroid
    geod = Geod(ellps="WGS84")

    def away_km(longitude: float, latitude: float) -> float:
        return float(geod.inv(longitude, latitude, centre.x, centre.y)[2]) / 1000

    distance = away_km(longitude_deg, latitude_deg)
    if distance <= farthest_km:
        return ()
    others = {
        "latitude and longitude look exchanged": (latitude_deg, longitude_deg),
        "the sign of the longitude looks wrong": (-longitude_deg, latitude_deg),
        "the sign of the latitude looks wrong": (longitude_deg, -latitude_deg),
    }
    for words, (longitude, latitude) in others.items():
        if abs(latitude) <= 90 and away_km(longitude, latitude) <= 50:
            raise InputError(
                f"The staging point lies {distance:,.0f} km from the incident area; {words}.",
                remedy="Correct whichever is wrong: the staging point, or the coordinates in the layer of the incident "
                "area.",
                field="staging",
            )
    return (
        Finding(
            "staging_far_away",
            "check",
            facts={"distance_km": distance},
        ),
    )


def satellites_in_sight(slots: dict[str, float], area: BaseGeometry, longitude_field: str) -> tuple[Finding, ...]:
    """A finding where every named orbital slot (name -> longitude, degrees east) is below the level at the area.

    `area`: WGS 84 shape. Says so when turning a longitude's sign brings the slot up: west is negative.
    """
    from siteplanner.core.geodesy import look_angles

    centre = area.centroid

    def up(longitude: float) -> bool:
        return float(look_angles(centre.y, centre.x, 0.0, longitude)[1]) > 0

    if not slots or any(up(longitude) for longitude in slots.values()):
        return ()
    turned = [longitude for longitude in slots.values() if up(-longitude)]
    return (
        Finding(
            "satellites_below_level",
            "check",
            facts={
                "names": tuple(slots)[:4],
                "west_meant_deg": turned[0] if turned else None,
                "field": longitude_field,
            },
        ),
    )


def plausible_area(area: BaseGeometry) -> tuple[Finding, ...]:
    """A finding where the incident area (metric CRS) is too small or too large for one trailer's service."""
    km2 = area.area / 1e6
    if km2 < 1e-4:
        return (
            Finding(
                "area_tiny",
                "check",
                facts={"area_m2": float(area.area)},
            ),
        )
    if km2 > 5000:
        return (
            Finding(
                "area_huge",
                "check",
                facts={"area_km2": float(km2)},
            ),
        )
    return ()


def usable_numbers(
    frame: GeoDataFrame, column: str, low: float, high: float, file: str, hint: str = ""
) -> tuple[Finding, ...]:
    """A finding `<column>_doubtful` for values of a column that are no number or outside low..high.

    Empty values are unknown, which is allowed. A missing column gives nothing. `hint` says what is likely meant.
    """
    import pandas as pd

    if column not in frame.columns:
        return ()
    given = frame[column].notna() & (frame[column].astype(str).str.strip() != "")
    numbers = pd.to_numeric(frame[column], errors="coerce")
    bad = given & ~numbers.between(low, high)
    if not bad.any():
        return ()
    return (
        Finding(
            f"{column}_doubtful",
            "check",
            file=file,
            facts={
                "column": column,
                "count": int(bad.sum()),
                "low": low,
                "high": high,
                "values": tuple(repr(v)[:20] for v in frame.loc[bad, column].head(5)),
                "hint": hint,
            },
        ),
    )
