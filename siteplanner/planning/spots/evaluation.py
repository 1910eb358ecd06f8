"""What is known of one spot: ground, sky, service, access, times. All frozen, all plain data.

Angles are degrees, bearings true and clockwise from north unless a name says `magnetic`; lengths metres;
x and y are metres in the plan's CRS.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from siteplanner.core.link import BudgetLine
from siteplanner.errors import Finding
from siteplanner.mission import Mission, Staging
from siteplanner.mission.criteria import deciding
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.site.leave import Leave
from siteplanner.planning.site.magnetic import Magnetic
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.site.timeline import Moments
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.lines import Backhaul, DonorPath, Look
from siteplanner.planning.spots.mounting_error import MountingDoubt
from siteplanner.planning.spots.room import Room
from siteplanner.planning.spots.served import Service
from siteplanner.planning.spots.skyline import Skyline
from siteplanner.planning.spots.slots import VisibleArc
from siteplanner.planning.study.spot import Spot

if TYPE_CHECKING:
    from shapely.geometry import LineString

    from siteplanner.roads.lifeline import Lifeline
    from siteplanner.roads.near_limit import NearLimit
    from siteplanner.roads.reasons import UnknownAlong
    from siteplanner.roads.routing import Route


TOO_WIDE_M = 30.0  # cells from here on say nothing of ground as wide as a trailer; common practice, no source


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
    slope_uncertainty_deg: float = math.nan  # one standard deviation of a part of the slope: error and what cells hide
    steep_chance: float = math.nan  # chance that the true slope is above the limit
    raise_first: str = ""  # the jack at the lowest corner; '': level within a centimetre
    outrigger_differences_m: dict[str, float] = field(default_factory=dict)  # as the jacks', at the outriggers' pads
    lift_uncertainty_m: float = math.nan  # one standard deviation of the lift between two far corners
    bumps_m: float = math.nan  # largest distance of the cells under the trailer from the plane; NaN: no cells that fine
    nose_off_way_out_deg: float = math.nan  # angle between nose and way out, 0..180
    mast_in_beam: bool = False  # the mast stands in the line of every satellite that is clear (one that is needed)
    room: Room | None = None  # to turn the rig in; None: not worked out
    above_drainage_m: float = math.nan  # above the channel that it drains to; NaN: not known
    slope_above_m: float = math.nan  # ground that drains onto the spot, per metre of width
    tree: Tree | None = None  # the tree that reaches farthest; None: none in reach, or no surface
    slope_hidden_deg: float = math.nan  # the part of the doubt that ground within one cell makes
    source_cell_m: float = math.nan  # cells of the elevation as it was brought: the slope is a mean over these

    @property
    def known_at_size(self) -> bool:
        """Whether the slope is that of ground as wide as the trailer, not a mean over far more of it."""
        return not max(self.cell_size_m, self.source_cell_m) >= TOO_WIDE_M

    @property
    def largest_lift_m(self) -> float:
        """Of all jacks; NaN: not known."""
        return max(self.jack_differences_m.values(), default=math.nan)

    @property
    def level_within_doubt(self) -> bool:
        """No lift is larger than what it is not known to."""
        return self.largest_lift_m <= self.lift_uncertainty_m

    @property
    def swing_room_m(self) -> float:
        """Radius of the largest free circle at the spot; NaN: not known."""
        return math.nan if self.room is None else self.room.free_radius_m


@dataclass(frozen=True)
class PointService:
    """A must-serve point as one spot would serve it."""

    name: str
    latitude: float
    longitude: float
    probability: float  # location variability and the model's own error together, at most `most_certain_at_point`
    margin_db: float
    distance_m: float
    bearing_deg: float
    elevation: ElevationDoubt | None = None  # what the elevation's own error does to the probability


@dataclass(frozen=True, eq=False)
class Coverage:
    """Predicted service of the incident area."""

    share: float  # expected share of the weighted area, 0..1
    served_area_km2: float
    mast_height_m: float
    sector_bearings_deg: tuple[float, ...]
    must_serve: tuple[PointService, ...]
    share_by_stop: tuple[tuple[float, float], ...]  # (mast stop in metres, share with its own best bearings)
    budget: tuple[BudgetLine, ...] = ()  # adds up by hand
    probability: np.ndarray | None = None  # per area cell, same order as Plan.area_rows/cols
    service: Service | None = None  # who is served; None in a plan that was put together by hand
    share_low: float = math.nan  # the share if the model is off by one of its own standard errors, everywhere alike
    share_high: float = math.nan
    elevation: ElevationDoubt | None = None  # what the elevation's own error does to the share
    points_elevation: ElevationDoubt | None = None  # and to the mean probability at the must-serve points
    mounting: MountingDoubt | None = None  # what sectors aimed a little off on a mast that leans do to the share
    points_mounting: MountingDoubt | None = None  # and to that mean


@dataclass(frozen=True)
class Start:
    """One staging point as one spot sees it; None where its rig cannot get to the spot's road."""

    name: str
    drive_time_s: float | None  # last leg included
    drive_distance_m: float | None


@dataclass(frozen=True, eq=False)
class Access:
    """The way from the staging point to the spot; of several staging points, from the one that arrives first.

    `drive_time_s` is the likely time, gap at the start and last leg included; low and high are those of
    `planning.timeline`.
    """

    drive_time_s: float
    route: Route
    last_leg: LineString
    lifeline: Lifeline | None = None  # None: not worked out
    drive_low_s: float = float("nan")
    drive_high_s: float = float("nan")
    told: Told | None = None  # for listed spots, user's spots and explained points; None elsewhere
    by_staging: tuple[Start, ...] = ()  # every staging point with a rig, earliest first; () for only one
    gap_m: float = 0.0  # from the staging point to its road, over ground that no road data show
    gap_s: float = 0.0  # at the pace of the last leg
    near_limit: tuple[NearLimit, ...] = ()  # roads on the way that may be too steep for the rig

    @property
    def drive_distance_m(self) -> float:
        """From the staging point and along the road, without the last leg."""
        return self.route.distance_m + self.gap_m

    @property
    def drive_s(self) -> float:
        """Likely time from the staging point and along the road, without the last leg."""
        return self.route.time_s + self.gap_s

    @property
    def worst_grade_pct(self) -> float:
        """The steepest of the route, down negative."""
        return self.route.worst_grade_pct

    @property
    def worst_grade_error_pct(self) -> float:
        """One standard error of it; 0 for a posted grade."""
        return self.route.worst_grade_error_pct

    @property
    def last_leg_m(self) -> float:
        """Over ground from the road to the spot."""
        return float(self.last_leg.length)

    @property
    def ways_out(self) -> int | None:
        """To the outside: 2 where the loss of no single stretch of road cuts the spot off, 1 where one does, 0: none.

        None: not known, because nothing says where the roads leave the data, or not worked out.
        """
        line = self.lifeline
        return None if line is None or line.outside is None else line.outside.ways

    @property
    def one_way_in(self) -> bool | None:
        """Whether the loss of a single stretch of road parts the spot from its staging point; None: not worked out."""
        return None if self.lifeline is None else self.lifeline.staging.ways == 1

    @property
    def unknown(self) -> tuple[UnknownAlong, ...]:
        """Limits that the road data do not state along the route."""
        return tuple(self.route.unknown)

    @property
    def last_leg_s(self) -> float:
        """Likely time over ground from the road to the spot."""
        return max(self.drive_time_s - self.drive_s, 0.0)


@dataclass(frozen=True, eq=False)
class Evaluation:
    """Everything physical about one spot; no weights in it."""

    spot: Spot
    ground: Ground
    sky: tuple[Look, ...]
    coverage: Coverage | None
    access: Access | None
    on_air: Moments | None
    failed: tuple[Breach, ...] = ()  # empty: the spot passes
    findings: tuple[Finding, ...] = ()
    magnetic: Magnetic | None = None  # None: no elevation, so nothing was worked out
    skyline: Skyline | None = None  # for listed spots, user's spots and explained points; None elsewhere
    arc: VisibleArc | None = None  # the same
    backhauls: tuple[Backhaul, ...] = ()  # every wanted one, in the mission's order
    line: KeepAway | None = None  # the overhead line with the least to spare; None: no line is known
    on_site: OnSite | None = None  # for listed spots; None elsewhere
    leave: Leave | None = None  # where the spot is judged in detail and there is anybody to ask; None elsewhere

    @property
    def backhaul(self) -> Backhaul | None:
        """The one used here: the first wanted that works."""
        return next((b for b in self.backhauls if b.verdict == "works"), None)

    @property
    def look(self) -> Look | None:
        """The satellite that decides, by `mission.criteria.deciding`: what headline, aim, trees and criterion name."""
        return deciding(self.sky, self._need)

    @property
    def _need(self) -> Literal["any", "all"]:
        return next((b.need for b in self.backhauls if b.kind == "geostationary"), "any")

    @property
    def aimed(self) -> tuple[Look, ...]:
        """The satellites that the dish is aimed at: the deciding one, or each where all must be in view."""
        look = self.look
        if look is None or not look.clear:
            return ()
        return self.sky if self._need == "all" else (look,)

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


def told_of(access: Access) -> Told:
    """What is told of a drive that is handed over."""
    assert access.told is not None, "only spots calculated in detail are handed over"
    return access.told


def start_of(mission: Mission, access: Access | None) -> Staging:
    """The staging point that a drive starts from."""
    if access is not None and access.by_staging:
        return next(s for s in mission.starts if s.name == access.by_staging[0].name)
    return mission.starts[0]
