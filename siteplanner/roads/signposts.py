"""What a driver would call a road, a junction and a turn. Angles are clockwise, degrees."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.steps import Shape, Sharpness

STRAIGHT_DEG, SLIGHT_DEG, SHARP_DEG, BACK_DEG = 25.0, 55.0, 120.0, 165.0  # common practice, no source
SQUARE_DEG = 125.0  # an arm between SLIGHT_DEG and this to one side makes a T or a crossroads
AHEAD_DEG = 35.0  # and one within this of straight on makes a crossroads of a T

WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
CLASS_WORDS = {
    "track": "an unnamed track", "service": "an unnamed service road", "residential": "an unnamed street",
    "living_street": "an unnamed street", "motorway": "an unnamed motorway", "motorway_link": "an unnamed ramp",
    "trunk_link": "an unnamed ramp", "primary_link": "an unnamed ramp", "secondary_link": "an unnamed ramp",
    "tertiary_link": "an unnamed ramp",
}  # fmt: skip


def called(network: RoadNetwork, segment: int) -> str:
    """The road's name, or words for its class."""
    return str(network.tags.name[segment]) or class_words(network, segment)


def class_words(network: RoadNetwork, segment: int) -> str:
    """`an unnamed track`."""
    return CLASS_WORDS.get(str(network.tags.highway[segment]), "an unnamed road")


def is_ramp(network: RoadNetwork, segment: int) -> bool:
    """Whether it leads from one large road to another (OpenStreetMap `highway=*_link`)."""
    return str(network.tags.highway[segment]).endswith("_link")


def wind(true_bearing_deg: float) -> str:
    """The nearest of eight winds in words; empty for an unknown bearing."""
    if true_bearing_deg != true_bearing_deg:
        return ""
    return WINDS[round(true_bearing_deg / 45.0) % 8]


def turn_sharpness(turn_deg: float) -> Sharpness:
    """How far a change of direction is from a plain turn."""
    size = abs(turn_deg)
    if size >= BACK_DEG:
        return "back"
    if size >= SHARP_DEG:
        return "sharp"
    return "" if size >= SLIGHT_DEG else "slightly"


def junction_shape(turn_deg: float, others_deg: Sequence[float]) -> Shape:
    """T-junction, crossroads or neither: by the way taken and the other ways out.

    A T has one way to each side and none ahead; a crossroads has one to each side and one ahead.
    """
    ways = (turn_deg, *others_deg)
    left = [w for w in ways if -SQUARE_DEG <= w <= -SLIGHT_DEG]
    right = [w for w in ways if SLIGHT_DEG <= w <= SQUARE_DEG]
    ahead = [w for w in ways if abs(w) <= AHEAD_DEG]
    if len(left) != 1 or len(right) != 1:
        return ""
    if len(ways) == 2:
        return "T-junction"
    return "crossroads" if len(ways) == 3 and len(ahead) == 1 else ""
