"""What is told of a drive, as values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from siteplanner.planning.spots.room import Room
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.grade_bands import GradeBand
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.ruled_out import RuledOut
from siteplanner.roads.steps import Step
from siteplanner.roads.turning import TurningPlace

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Place:
    """A point in metres of the plan's CRS and in WGS 84, three ways."""

    x: float
    y: float
    latitude: float
    longitude: float
    degrees_minutes: str
    grid_reference: str


@dataclass(frozen=True)
class Turning:
    """`room`: whether the rig can turn at the spot. `place` is the last turning place on the road before the spot,
    `back_m` how far the rig backs to it from the spot, last leg included (0 where it can turn at the spot, NaN where
    there is no place). `carry_on_m` is the way back to the start that needs no turning round at all.
    """

    room: Room
    place: TurningPlace | None
    latitude: float
    longitude: float
    degrees_minutes: str
    grid_reference: str
    back_m: float
    carry_on_m: float | None


@dataclass(frozen=True, eq=False)
class Cut:
    """Road without a way round: its loss would cut the spot off. `start` is the end nearer to the spot."""

    name: str
    length_m: float
    start: Place
    end: Place
    segments: tuple[int, ...]
    line: BaseGeometry


@dataclass(frozen=True, eq=False)
class Told:
    """Everything that is told of a drive."""

    steps: tuple[Step, ...]
    hazards: tuple[HazardAhead, ...]
    bands: tuple[GradeBand, ...]
    cuts: tuple[Cut, ...]
    alternative: Alternative
    alternative_steps: tuple[Step, ...]
    turning: Turning
    not_these: tuple[RuledOut, ...]  # shut roads of ways that would be quicker
