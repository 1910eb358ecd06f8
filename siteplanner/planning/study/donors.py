"""Donor sites: the fixed radios that could carry our traffic on, as the mission's layer tells of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.data.grid import WGS84
from siteplanner.data.vetting import usable_numbers
from siteplanner.errors import Finding, InputError
from siteplanner.mission import DonorLink, Mission
from siteplanner.planning.study.layers import Loaded, as_table, paths_of, read_files

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

HIGHEST_ANTENNA_M = 1000.0  # no mast stands higher; beyond it the unit is wrong
LINK_BAND_MHZ = (100.0, 15_000.0)  # as the mission's own frequency


@dataclass(frozen=True)
class Donor:
    """A donor site in the plan's CRS; what the layer did not state is the mission's default."""

    name: str
    x: float
    y: float
    latitude: float
    longitude: float
    height_m: float  # antenna above ground
    height_stated: bool
    frequency_mhz: float


@dataclass(frozen=True, eq=False)
class DonorSites:
    """The layer as it is drawn (None: not given), and the sites that are judged: those of a wanted donor link."""

    table: GeoDataFrame | None
    judged: tuple[Donor, ...]


def read_donors(mission: Mission, crs: CRS, near: BaseGeometry) -> Loaded[DonorSites]:
    """Donor sites within `near` (WGS 84). Raises InputError for a layer that cannot be read."""
    link, wanted = mission.backhaul.donor_link, "donor_link" in mission.backhaul.wanted
    layers = read_files(mission, "donor_sites", crs, near)
    findings: list[Finding] = []
    judged: list[Donor] = []
    for path, layer in zip(paths_of(mission, "donor_sites"), layers, strict=True):
        found, more = donors_of(layer.frame, crs, link, path)
        findings += layer.findings
        if wanted:
            findings += more
            judged += found
    sites = DonorSites(as_table(layers) if layers else None, tuple(judged))
    return Loaded(sites, tuple(layer.record for layer in layers), tuple(findings))


def check_wanted(mission: Mission) -> tuple[Finding, ...]:
    """Whether the wanted backhauls have what they need. Raises InputError for a donor link without donor sites."""
    wanted, given = "donor_link" in mission.backhaul.wanted, bool(mission.layers.donor_sites)
    if wanted and not given:
        raise InputError(
            "A donor link is requested, but no layer of donor sites is given.",
            remedy="Name the points in layers.donor_sites, or take donor_link out of backhaul.wanted.",
            field="backhaul.wanted",
        )
    if given and not wanted:
        return (
            Finding(
                "donor_sites_unused",
                "note",
            ),
        )
    return ()


def donors_of(frame: GeoDataFrame, crs: CRS, link: DonorLink, file: str) -> tuple[tuple[Donor, ...], list[Finding]]:
    """The sites of a layer (in `crs`), one each, with findings for what had to be assumed."""
    from pyproj import Transformer

    if not len(frame):
        return (), []
    frame = frame.explode(index_parts=False, ignore_index=True)
    findings = [
        *usable_numbers(
            frame, "height_m", 0.5, HIGHEST_ANTENNA_M, file, "Height of the donor's antenna above ground, in meters."
        ),
        *usable_numbers(frame, "frequency_mhz", *LINK_BAND_MHZ, file, "Megahertz, not gigahertz or hertz."),
    ]
    heights = _numbers(frame, "height_m", 0.5, HIGHEST_ANTENNA_M)
    frequencies = _numbers(frame, "frequency_mhz", *LINK_BAND_MHZ)
    to_lonlat = Transformer.from_crs(crs, WGS84, always_xy=True)
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    out = []
    for number, (name, place) in enumerate(zip(names, frame.geometry, strict=True), 1):
        lon, lat = to_lonlat.transform(place.x, place.y)
        height, frequency = heights[number - 1], frequencies[number - 1]
        stated = bool(np.isfinite(height))
        out.append(
            Donor(
                str(name) if isinstance(name, str) and name.strip() else f"Donor site {number}",
                float(place.x),
                float(place.y),
                float(lat),
                float(lon),
                float(height) if stated else link.default_donor_height_m,
                stated,
                float(frequency) if np.isfinite(frequency) else link.frequency_mhz,
            )
        )
    without = [d.name for d in out if not d.height_stated]
    if without:
        findings.append(
            Finding(
                "donor_height_assumed",
                "check",
                file=file,
                facts={
                    "count": len(without),
                    "of": len(out),
                    "height_m": link.default_donor_height_m,
                    "names": tuple(without[:6]),
                },
            )
        )
    return tuple(out), findings


def _numbers(frame: GeoDataFrame, column: str, low: float, high: float) -> np.ndarray:
    """Usable values; NaN for the others."""
    import pandas as pd

    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    values = pd.to_numeric(frame[column], errors="coerce").to_numpy(float)
    return np.where((values >= low) & (values <= high), values, np.nan)
