"""What the words of road tags mean: direction, storey, surface, class of a road. Pages of the OpenStreetMap wiki."""

from __future__ import annotations

import re
from typing import Any, Literal

from siteplanner.roads.cells import is_set, tag_text

Direction = Literal["both", "forward", "backward", "changes"]


def direction(oneway: Any, highway: Any = "", junction: Any = "") -> Direction:
    """Which way a line may be driven.

    `alternating` (one lane, signals) is both ways in turn; `reversible` changes by the hour: both ways, unknown.
    Roundabouts and motorways are one-way unless the tag says otherwise (OpenStreetMap wiki, Key:oneway).
    """
    text = tag_text(oneway)
    if text in ("yes", "true", "1"):
        return "forward"
    if text in ("-1", "reverse"):
        return "backward"
    if text == "reversible":
        return "changes"
    if text in ("no", "false", "0", "alternating"):
        return "both"
    if ";" in text:  # the mapper was not sure
        return "changes"
    if text == "roundabout" or tag_text(junction) in ("roundabout", "circular"):
        return "forward"
    return "forward" if tag_text(highway) == "motorway" else "both"


def level(layer: Any, bridge: Any, tunnel: Any) -> int:
    """The storey a line lies on: its `layer`, else 1 on a bridge, -1 in a tunnel, 0 on the ground."""
    text = tag_text(layer)
    if re.fullmatch(r"[+-]?\d{1,2}(\.0+)?", text):
        return int(float(text))
    return 1 if is_set(bridge) else -1 if is_set(tunnel) else 0


TRACKTYPES = ("grade1", "grade2", "grade3", "grade4", "grade5")  # OpenStreetMap wiki, Key:tracktype
SMOOTHNESS = ("excellent", "good", "intermediate", "bad", "very_bad", "horrible", "very_horrible", "impassable")

_PAVED = {
    "paved",
    "asphalt",
    "concrete",
    "concrete:lanes",
    "concrete:plates",
    "chipseal",
    "bricks",
    "brick",
    "paving_stones",
    "sett",
    "cobblestone",
    "unhewn_cobblestone",
    "metal",
    "wood",
    "metal_grid",
    "stone",
    "paving_stones:lanes",
    "rubber",
    "tiles",
}
_UNPAVED = {
    "unpaved",
    "compacted",
    "fine_gravel",
    "gravel",
    "pebblestone",
    "ground",
    "dirt",
    "earth",
    "grass",
    "grass_paver",
    "mud",
    "sand",
    "rock",
    "ice",
    "snow",
    "woodchips",
    "salt",
    "shells",
    "clay",
    "stepping_stones",
    "laterite",
    "caliche",
}


def is_unpaved(surface: str, tracktype: str = "", highway: str = "") -> bool | None:
    """True off pavement, False on it, None when neither tag tells (`grade1` is usually paved)."""
    first = re.split(r"[;:]", surface)[0] if surface not in _PAVED else surface
    if first in _PAVED:
        return False
    if first in _UNPAVED:
        return True
    if tracktype in TRACKTYPES:
        return tracktype != "grade1"
    return True if highway == "track" else None  # a track without tags is off pavement: common practice


def surface_known(surface: str) -> bool:
    """Whether every word for the surface is known (`asphalt;gravel`); nothing said is known to say nothing."""
    return all(w in _PAVED or w in _UNPAVED for w in re.split(r"[;,]", surface.replace(" ", "")) if w)


CLASSES = ("motorway", "trunk", "primary", "secondary", "tertiary", "unclassified", "residential", "service", "track")
_ALIKE = {
    "living_street": "service",
    "road": "unclassified",
    "minor": "unclassified",
    "ford": "unclassified",  # the old way to write ford=yes
    "byway": "track",
    "unsurfaced": "track",
    "unpaved": "track",
}
_NOT_FOR_VEHICLES = {
    "footway",
    "path",
    "cycleway",
    "bridleway",
    "steps",
    "pedestrian",
    "corridor",
    "platform",
    "elevator",
    "via_ferrata",
    "proposed",
    "construction",
    "abandoned",
    "razed",
    "demolished",
    "disused",
    "raceway",
    "escape",
    "ladder",
    "trail",
    "busway",  # for buses only; a guideway is a trap for whatever else drives in (Tag:highway=bus_guideway)
    "bus_guideway",
    "railway",  # the last ones: words of `data.osm` for what a bridge carries
    "aqueduct",
    "taxiway",
    "pipeline",
    "bridge",
    "no",
    "none",
    "planned",
    "removed",
    "dismantled",
    "destroyed",
    "historic",
    "closed",
    "stepping_stones",
    "crossing",
    "traffic_island",
    "gallop",
    "emergency_bay",
    "bus_stop",
    "rest_area",
    "services",
}


def road_class(highway: str) -> str | None:
    """The class that gives a line its speed; `''` for lines vehicles do not use, None for an unknown word.

    Of several words (`track;path`) the slowest class counts; only where none is for vehicles is the line not.
    """
    if ";" in highway:
        parts = [road_class(word.strip()) for word in highway.split(";")]
        found = [c for c in parts if c]
        return max(found, key=CLASSES.index) if found else "" if all(c == "" for c in parts) else None
    if highway in _NOT_FOR_VEHICLES:
        return ""
    base = highway.removesuffix("_link")
    if base in CLASSES:
        return base
    return _ALIKE.get(highway)
