"""What is told of a drive, as values."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.planning.spots.lifelines import Beside, OverWater, Section
from siteplanner.planning.spots.room import Room
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.descents import Descent
from siteplanner.roads.grade_bands import GradeBand
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.ruled_out import RuledOut
from siteplanner.roads.steps import Step
from siteplanner.roads.turning import TurningPlace


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
class Told:
    """Everything that is told of a drive."""

    steps: tuple[Step, ...]
    hazards: tuple[HazardAhead, ...]
    bands: tuple[GradeBand, ...]
    staging_cuts: tuple[Section, ...]  # without them no way from the staging point
    outside_cuts: tuple[Section, ...]  # without them no way out of the data
    alternative: Alternative
    alternative_steps: tuple[Step, ...]
    turning: Turning
    not_these: tuple[RuledOut, ...]  # shut roads of ways that would be quicker
    beside: tuple[Beside, ...] = ()
    over_water: tuple[OverWater, ...] = ()
    descents: tuple[Descent, ...] = ()  # of the way home by the same road
    both_ways: bool = True  # whether the rig may drive that road home: none of it is one-way
