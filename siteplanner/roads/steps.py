"""What a driver is asked to do at one place of the drive: values, from which the words are made elsewhere.

Names come from the road data as they are, and whoever shows them escapes them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from siteplanner.roads.hazards_ahead import HazardAhead

Action = Literal["depart", "turn", "keep", "ramp", "merge", "continue", "roundabout", "unpaved", "arrive"]
Side = Literal["", "left", "right", "straight on"]
Sharpness = Literal["", "slightly", "sharp", "back"]
Shape = Literal["", "T-junction", "crossroads", "bend"]


@dataclass(frozen=True)
class Move:
    """One thing to do. `onto`: how the road taken is called, '' where there is nothing to say of it; `stays`: it is
    the road one is on already. `toward`: the wind it leads to. `exit_number` counts the exits of a roundabout from 1.
    `start`: how the start is called. `off_road_m`: from the road to the spot at the end, and from a staging point
    beside its road to that road at the start; NaN elsewhere. As on signs: `ref` the number of the road taken,
    `exit_ref` that of the exit, `destination` where it leads.
    """

    action: Action
    side: Side = ""
    shape: Shape = ""
    sharpness: Sharpness = ""
    onto: str = ""
    stays: bool = False
    toward: str = ""
    start: str = ""
    exit_number: int = 0
    off_road_m: float = float("nan")
    then_unpaved: bool = False
    ref: str = ""
    exit_ref: str = ""
    destination: str = ""


@dataclass(frozen=True)
class Beyond:
    """What tells the driver that the end was missed: a junction called `place`, or the road's end ('')."""

    place: str
    distance_m: float


@dataclass(frozen=True)
class Step:
    """One instruction. `distance_m` is to the next step, `running_m` from the start; the bearing is true and that
    of the road taken (NaN at the end). `hazards` lie between this step and the next.

    `running_s`: likely seconds from leaving the start. `past`: the last junction before it, `past_m` back, where one
    is near. `name`: the road taken as the data name it.
    Place: WGS 84 in degrees, degrees and minutes, and US National Grid.
    """

    move: Move
    name: str
    distance_m: float
    running_m: float
    x: float
    y: float
    latitude: float
    longitude: float
    degrees_minutes: str
    grid_reference: str
    bearing_deg: float
    toward: str = ""
    past: str = ""
    past_m: float = float("nan")
    beyond: Beyond | None = None
    hazards: tuple[HazardAhead, ...] = ()
    running_s: float = float("nan")

    @property
    def kind(self) -> str:
        """`turn sharp left`, `keep right`, `arrive`: the action with its side, in few words."""
        move = self.move
        if move.action == "keep":
            return f"keep {move.side}"
        if move.action != "turn":
            return move.action
        if move.sharpness == "back":
            return "turn back"
        return f"turn {move.sharpness} {move.side}" if move.sharpness else f"turn {move.side}"
