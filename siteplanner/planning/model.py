"""The values that planning hands on: spots, their evaluation, the plan. All frozen, all plain data.

Angles are degrees, bearings true and clockwise from north unless a name says `magnetic`; lengths metres;
x and y are metres in the plan's CRS.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Mission, Staging

BackhaulKind = Literal["geostationary", "open_sky", "donor_link"]
Verdict = Literal["works", "fails", "unknown"]

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry import LineString

    from siteplanner.core.dome import DomeShare
    from siteplanner.data.forecast import WindForecast
    from siteplanner.data.vectors import InputRecord
    from siteplanner.planning.magnetic import Magnetic
    from siteplanner.planning.rain import Rain
    from siteplanner.planning.skyline import Skyline
    from siteplanner.planning.slots import VisibleArc
    from siteplanner.planning.sun_outage import SunOutages
    from siteplanner.planning.told import Told
    from siteplanner.roads.network import RoadNetwork
    from siteplanner.roads.routing import Route
    from siteplanner.roads.ways_out import WaysOut


@dataclass(frozen=True)
class Spot:
    """A place the trailer could stand."""

    name: str
    x: float
    y: float
    latitude: float
    longitude: float
    grid_reference: str
    elevation_m: float
    origin: Literal["search", "user"] = "search"


@dataclass(frozen=True)
class Tree:
    """The tree that reaches farthest over the trailer, from the surface's cells. Bearing true."""

    height_m: float
    distance_m: float
    bearing_deg: float
    reaches_trailer: bool


@dataclass(frozen=True)
class Ground:
    """How the trailer would stand. Jack differences are lifts above the highest corner's ground, metres."""

    slope_deg: float
    heading_deg: float
    roll_deg: float
    pitch_deg: float
    jack_differences_m: dict[str, float]  # front_left, front_right, rear_left, rear_right; all >= 0
    relief_m: float  # largest distance of the ground cells from the fitted plane
    cell_size_m: float  # what the elevation can tell: nothing finer than this
    slope_uncertainty_deg: float = math.nan  # one standard deviation of a part of the slope, from the elevation's error
    steep_chance: float = math.nan  # chance that the true slope is above the limit
    raise_first: str = ""  # the jack at the lowest corner; '': level within a centimetre
    outrigger_differences_m: dict[str, float] = field(default_factory=dict)  # as the jacks', at the outriggers' pads
    lift_uncertainty_m: float = math.nan  # one standard deviation of the lift between two far corners
    bumps_m: float = math.nan  # largest distance of the cells under the trailer from the plane; NaN: no cells that fine
    nose_off_way_out_deg: float = math.nan  # angle between nose and way out, 0..180
    mast_in_beam: bool = False  # the mast stands in the line of every satellite that is clear (one that is needed)
    swing_room_m: float = math.nan  # radius of the largest free circle at the spot, capped at twice the rig's need
    above_drainage_m: float = math.nan  # above the channel that it drains to; NaN: not known
    slope_above_m: float = math.nan  # ground that drains onto the spot, per metre of width
    tree: Tree | None = None  # the tree that reaches farthest; None: none in reach, or no surface


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
    clear: bool


@dataclass(frozen=True)
class DonorPath:
    """The radio path from a spot to one donor site. NaN: not known, or not worked out because something else rules
    the path out.
    """

    name: str
    latitude: float
    longitude: float
    verdict: Verdict
    reason: str  # why it works or not, as a clause
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
    not_at_m: tuple[float, ...] = ()  # lower mast stops that were asked too and at which it is not known to work


@dataclass(frozen=True)
class Backhaul:
    """One wanted way for the traffic, judged at one spot."""

    kind: BackhaulKind
    verdict: Verdict
    reason: str  # as a clause: "clear by 8.4 deg"
    margin: float  # satellite: deg over the skyline; open sky: clear share 0..1, at least; donor: dB
    unit: str
    dome: DomeShare | None = None
    min_elevation_deg: float | None = None  # of the open-sky terminal's cone
    donors: tuple[DonorPath, ...] = ()  # best first


@dataclass(frozen=True)
class PointService:
    """A must-serve point as one spot would serve it."""

    name: str
    latitude: float
    longitude: float
    probability: float
    margin_db: float
    distance_m: float
    bearing_deg: float


@dataclass(frozen=True, eq=False)
class Coverage:
    """Predicted service of the incident area."""

    share: float  # expected share of the weighted area, 0..1
    served_area_km2: float
    mast_height_m: float
    sector_bearings_deg: tuple[float, ...]
    must_serve: tuple[PointService, ...]
    share_by_stop: tuple[tuple[float, float], ...]  # (mast stop in metres, share with its own best bearings)
    budget: tuple[tuple[str, float, str], ...] = ()  # (item, value, unit), adds up by hand
    probability: np.ndarray | None = None  # per area cell, same order as Plan.area_rows/cols


@dataclass(frozen=True)
class Start:
    """One staging point as one spot sees it; None where its rig cannot get to the spot's road."""

    name: str
    drive_time_s: float | None  # last leg included
    drive_distance_m: float | None


@dataclass(frozen=True, eq=False)
class Access:
    """The way from the staging point to the spot; of several staging points, from the one that arrives first.

    `drive_time_s` is the likely time, last leg included; low and high are those of `planning.timeline`.
    """

    drive_distance_m: float
    drive_time_s: float
    worst_grade_pct: float
    last_leg_m: float
    ways_out: int | None  # 1: one way in, 2: two that share no road segment; None: not worked out
    route: Route
    last_leg: LineString
    unknown: tuple[str, ...] = ()  # limits that the road data do not state along the route
    ways: WaysOut | None = None  # with the segments whose loss cuts the spot off
    drive_low_s: float = float("nan")
    drive_high_s: float = float("nan")
    told: Told | None = None  # for listed spots, user's spots and explained points; None elsewhere
    by_staging: tuple[Start, ...] = ()  # every staging point with a rig, earliest first; () for only one


@dataclass(frozen=True)
class OnAir:
    """Minutes from dispatch to first service: (low, likely, high) per part; in all the range and the mean of
    `planning.timeline`.
    """

    parts: tuple[tuple[str, float, float, float], ...]
    low_min: float
    likely_min: float
    high_min: float
    method: str


@dataclass(frozen=True)
class Criterion:
    """One line of a score: contribution = 100 x weight x utility."""

    name: str
    label: str
    value: float
    unit: str
    utility: float  # 0..1
    weight: float  # scaled, all add up to 1
    contribution: float


@dataclass(frozen=True, eq=False)
class Evaluation:
    """Everything physical about one spot; no weights in it."""

    spot: Spot
    ground: Ground
    sky: tuple[Look, ...]
    coverage: Coverage | None
    access: Access | None
    on_air: OnAir | None
    failed: tuple[tuple[str, str], ...] = ()  # (limit, sentence); empty: the spot passes
    findings: tuple[Finding, ...] = ()
    magnetic: Magnetic | None = None  # None: no elevation, so nothing was worked out
    skyline: Skyline | None = None  # for listed spots, user's spots and explained points; None elsewhere
    arc: VisibleArc | None = None  # the same
    backhauls: tuple[Backhaul, ...] = ()  # every wanted one, in the mission's order

    @property
    def backhaul(self) -> Backhaul | None:
        """The one used here: the first wanted that works."""
        return next((b for b in self.backhauls if b.verdict == "works"), None)

    @property
    def donor(self) -> DonorPath | None:
        """The donor link used here."""
        used = self.backhaul
        return used.donors[0] if used is not None and used.donors else None

    @property
    def dish_wanted(self) -> bool:
        """Whether the mission wants the satellite dish at all."""
        return not self.backhauls or any(b.kind == "geostationary" for b in self.backhauls)

    @property
    def dish_used(self) -> bool:
        """Whether the satellite dish carries the traffic here (or nothing was judged)."""
        return not self.backhauls or (self.backhaul is not None and self.backhaul.kind == "geostationary")


def start_of(mission: Mission, access: Access | None) -> Staging:
    """The staging point that a drive starts from."""
    if access is not None and access.by_staging:
        return next(s for s in mission.starts if s.name == access.by_staging[0].name)
    return mission.starts[0]


@dataclass(frozen=True, eq=False)
class RankedSpot:
    """An evaluated spot with its place in the ranking."""

    rank: int
    evaluation: Evaluation
    criteria: tuple[Criterion, ...]
    score: float  # 0..100, the sum of the contributions

    @property
    def spot(self) -> Spot:
        return self.evaluation.spot


@dataclass(frozen=True)
class RulingShare:
    """How much of the search ground one limit rules out."""

    code: str
    label: str
    share: float  # of the search ground, counting every cell the limit hits
    only_share: float  # of the search ground, cells that no other limit hits
    nearest_to_pass: str = ""  # how far the limit would have to relax, in words


@dataclass(frozen=True, eq=False)
class Scene:
    """What the map draws around the spots; all in the plan's CRS."""

    elevation: Grid
    ruling: Grid  # uint16, one bit per limit (ruling.BITS); 0: passes; cells outside the search ground: OUTSIDE
    slope: Grid
    area: GeoDataFrame
    roads: RoadNetwork
    overlays: dict[str, GeoDataFrame] = field(default_factory=dict)  # layers by their names in the mission
    area_rows: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    area_cols: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    area_step: int = 1  # every step-th row and column of the elevation stands for the area
    margin_of: Callable[[], Grid | None] | None = None  # works out `sky_margin`

    @cached_property
    def sky_margin(self) -> Grid | None:
        """Sky margin of the satellite that decides, degrees, NaN unknown or outside the search ground.

        See `planning.sky_margin.sky_margin`; the cells may be larger than the elevation's (own transform). Worked
        out when first asked for, a few seconds for a county; None where there is nothing to say.
        """
        return None if self.margin_of is None else self.margin_of()


@dataclass(frozen=True, eq=False)
class Plan:
    """The one value that every output is made from."""

    mission: Mission
    software: dict[str, str]
    inputs: tuple[InputRecord, ...]
    findings: tuple[Finding, ...]
    rulings: tuple[RulingShare, ...]
    spots: tuple[RankedSpot, ...]  # ranked, best first
    rejected: tuple[Evaluation, ...]  # evaluated in full and failed a limit; user's spots always stand here or above
    scene: Scene
    timings_s: dict[str, float] = field(default_factory=dict)
    forecast: WindForecast | None = None
    sun: SunOutages | None = None  # None: not worked out
    rain: Rain | None = None  # None: not worked out
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def best(self) -> RankedSpot | None:
        return self.spots[0] if self.spots else None
