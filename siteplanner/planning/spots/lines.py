"""Lines from a spot to what carries its traffic: satellites, the open sky, donor sites. Values only.

Angles are degrees, bearings true and clockwise from north unless a name says `magnetic`; lengths metres;
x and y are metres in the plan's CRS.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.dome import DomeShare
from siteplanner.planning.study.beyond import CeilingFrom

BackhaulKind = Literal["geostationary", "open_sky", "donor_link"]
Verdict = Literal["works", "fails", "unknown"]
DonorWhy = Literal[
    "clear",
    "too_far",
    "own_cell",
    "blocked",
    "near_ground",
    "near_ground_low_k",
    "donor_unknown",
    "ground_unknown",
    "too_weak",
]
LookState = Literal["clear", "blocked", "unknown"]


@dataclass(frozen=True)
class Look:
    """The line from the dish to one satellite."""

    satellite_name: str
    satellite_longitude_deg: float
    azimuth_deg: float
    azimuth_magnetic_deg: float | None
    elevation_deg: float
    skew_deg: float
    horizon_deg: float  # NaN where the skyline is not known
    margin_deg: float  # NaN where the skyline is not known
    known_to_m: float  # how far the elevation reaches along the line; inf when it is enough
    state: LookState  # unknown: the skyline is cut short before it is certain; too low a satellite is blocked
    ceiling_m: float = math.nan  # ground no higher than this, above sea level, is assumed where nothing is known
    ceiling_from: CeilingFrom = "elevation_files"  # their highest ground, or what the mission states for the region
    horizon_error_deg: float = math.nan  # one standard deviation, from the elevation's error; NaN: not known
    margin_error_deg: float = math.nan  # the same of the margin
    trees_unknown: bool = False  # unknown only because the surface has no data on the way
    too_low: bool = False  # stands below the least elevation that the mission takes

    @property
    def clear(self) -> bool:
        """Margin and elevation are at least what the mission asks for."""
        return self.state == "clear"


@dataclass(frozen=True)
class DonorPath:
    """The radio path from a spot to one donor site. NaN: not known, or not worked out because something else rules
    the path out.
    """

    name: str
    latitude: float
    longitude: float
    verdict: Verdict
    why: DonorWhy
    needed: float  # what `why` is held against: metres of distance, or first Fresnel radii of clearance; NaN: neither
    distance_m: float
    bearing_deg: float
    bearing_magnetic_deg: float | None
    elevation_deg: float  # of the ray at the spot, level 0
    antenna_height_m: float
    donor_height_m: float
    donor_height_stated: bool
    frequency_mhz: float
    clearance_share: float  # worst known clearance, in first Fresnel radii
    tightest_at_m: float  # distance from the spot
    clearance_m: float
    unknown_from_m: float  # first unknown ground along the path; NaN: all known
    loss_db: float
    level_dbm: float
    margin_db: float  # over the least level and the fade margin
    low_k_factor: float = math.nan  # exceeded for 99.9 % of the worst month
    low_k_share: float = math.nan  # worst known clearance then, in first Fresnel radii
    faded_pct: float = math.nan  # of the worst month that multipath takes the level below the least one
    not_at_m: tuple[float, ...] = ()  # lower mast stops that were asked too and at which it is not known to work
    at_lowest: DonorPath | None = None  # the path from the lowest of those


@dataclass(frozen=True)
class Backhaul:
    """One wanted way for the traffic, judged at one spot."""

    kind: BackhaulKind
    verdict: Verdict
    margin: float  # satellite: deg over the skyline; open sky: clear share 0..1, at least; donor: dB
    unit: str
    dome: DomeShare | None = None
    min_elevation_deg: float | None = None  # of the open-sky terminal's cone
    least_share: float | None = None  # of that cone that must be clear
    looks: tuple[Look, ...] = ()  # of the dish
    need: Literal["any", "all"] = "any"  # of the satellites must be in view
    least_margin_deg: float | None = None  # that the dish needs over the skyline
    least_elevation_deg: float | None = None  # that a satellite needs above the level
    donors: tuple[DonorPath, ...] = ()  # best first
    max_distance_m: float | None = None  # within which donor sites are looked for
