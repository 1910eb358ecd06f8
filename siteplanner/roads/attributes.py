"""OpenStreetMap tag values as numbers and words: read once, with what could not be read.

A missing tag, a value that is no number (`default`, `none`) and a mistake (`12t`, `0,6`) all give an unknown
(NaN), never a plausible number. Rules: OpenStreetMap wiki, pages Units, Key:maxheight, Key:maxwidth,
Key:maxweight, Key:maxspeed, Key:incline (metres, tonnes, km/h without a unit; otherwise the unit after a space;
decimal dot; feet and inches as 6'7").
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Iterable
from typing import Any, Literal, NamedTuple

import numpy as np

from siteplanner.core.constants import FOOT_M, MILE_M, NAUTICAL_MILE_M, POUND_KG

POUND_T = POUND_KG / 1000

State = Literal["absent", "read", "unposted", "mistake"]


class Reading(NamedTuple):
    """A tag's value and how it came about. `value` is NaN unless `state` is `read`.

    `unposted`: the tag says that there is no figure (`default`, `none`); `mistake`: not a form the rules allow.
    """

    value: float
    state: State


ABSENT = Reading(math.nan, "absent")
UNPOSTED = Reading(math.nan, "unposted")
MISTAKE = Reading(math.nan, "mistake")

# Key:maxheight lists default, below_default, no_indications, no_sign, none; the rest are common in the data
_NO_FIGURE = {
    "default",
    "below_default",
    "no_indications",
    "no_sign",
    "none",
    "unsigned",
    "unknown",
    "variable",
    "signals",
    "walk",
    "no",
    "implicit",
    "national",
}
LEFT_OPEN = {"below_default", "unknown", "variable", "signals"}  # of these: there may well be a limit
_NUMBER = re.compile(r"(\d+(?:\.\d+)?|\.\d+)(?:\s+([a-z]+))?")
_FEET_INCHES = re.compile(r"(\d+(?:\.\d+)?)\s*(?:'|ft)(?:\s*(\d+(?:\.\d+)?)\s*(?:\"|''|in))?")
_ZONE = re.compile(r"[a-z]{2}:[a-z0-9_:.]+")  # maxspeed=RU:urban, a rule of the country and no figure

_LENGTH_M = {
    "m": 1.0,
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "cm": 0.01,
    "ft": FOOT_M,
    "feet": FOOT_M,
    "foot": FOOT_M,
    "in": FOOT_M / 12,
}
_MASS_T = {"t": 1.0, "kg": 0.001, "lbs": POUND_T, "lb": POUND_T, "st": 2000 * POUND_T, "lt": 2240 * POUND_T}
_SPEED_KMH = {"kmh": 1.0, "mph": MILE_M / 1000, "knots": NAUTICAL_MILE_M / 1000}


def is_missing(value: Any) -> bool:
    """Whether a cell of a table holds nothing: None, NaN, and pandas' own marks."""
    return (
        value is None
        or type(value).__name__ in ("NAType", "NaTType")
        or (isinstance(value, (float, np.floating)) and math.isnan(value))
    )


def tag_text(value: Any) -> str:
    """A cell of a road table as a tag value: lower case, single spaces, `''` when missing."""
    if is_missing(value):
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (float, np.floating)):
        return f"{value:.12g}"
    return " ".join(str(value).split()).lower()


def plain_name(value: Any) -> str:
    """A name from a file as one line of plain text: no control characters, no forced reading direction.

    Nothing is escaped here: whoever writes a page, a table or a sheet escapes for it.
    """
    if is_missing(value):
        return ""
    text = str(value)
    if not text.isascii() or not text.isprintable():
        # Cc control, Cs half a surrogate pair; the bidi controls (in Cf) could turn a line on a sheet around
        text = "".join(
            " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c
            for c in text
            if unicodedata.category(c) != "Cs" and c not in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        )
    return " ".join(text.split())[:200]


def _quantity(text: str, units: dict[str, float]) -> Reading:
    if not text:
        return ABSENT
    if text in _NO_FIGURE or _ZONE.fullmatch(text):
        return UNPOSTED
    found = _NUMBER.fullmatch(text)
    if not found:
        return MISTAKE
    factor = units.get(found[2], math.nan) if found[2] else 1.0
    value = float(found[1]) * factor
    return Reading(value, "read") if value > 0 else MISTAKE  # NaN and 0 are both mistakes


def length_m(value: Any) -> Reading:
    """`maxheight`, `maxwidth`, `maxlength`, `width` in metres: `3.5`, `3.5 m`, `12'6"`, `12 ft`."""
    text = tag_text(value)
    feet = _FEET_INCHES.fullmatch(text)
    if feet:
        inches = float(feet[2] or 0)
        value_m = (float(feet[1]) + inches / 12) * FOOT_M
        return Reading(value_m, "read") if value_m > 0 and inches < 12 else MISTAKE
    return _quantity(text, _LENGTH_M)


def mass_t(value: Any) -> Reading:
    """`maxweight` in tonnes: `7.5`, `7.5 t`, `16000 lbs`, `8 st` (short tons of 2,000 lb), `3500 kg`."""
    return _quantity(tag_text(value), _MASS_T)


def speed_kmh(value: Any) -> Reading:
    """`maxspeed` in km/h: `50`, `35 mph`, `50 km/h`."""
    return _quantity(re.sub(r"\s(km/h|kph)$", " kmh", tag_text(value)), _SPEED_KMH)


def incline_pct(value: Any) -> Reading:
    """`incline` in percent, positive uphill along the line: `10%`, `-8 %`, `5°`; `up` and `down` give no figure."""
    text = tag_text(value).replace(" ", "")
    if not text:
        return ABSENT
    if text in ("up", "down", "steep", "yes", "no", "up/down"):
        return UNPOSTED
    found = re.fullmatch(r"([+-]?\d+(?:\.\d+)?)(%|°)?", text)
    if not found or abs(float(found[1])) > (60 if found[2] == "°" else 100):
        return MISTAKE
    number = float(found[1])
    # a bare number is a percentage in nearly all data; Key:incline asks for the sign %
    return Reading(100 * math.tan(math.radians(number)) if found[2] == "°" else number, "read")


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
    if text == "roundabout" or tag_text(junction) in ("roundabout", "circular"):
        return "forward"
    return "forward" if tag_text(highway) == "motorway" else "both"


def is_set(value: Any) -> bool:
    """Whether a feature tag (`bridge`, `tunnel`, `ford`) is set: anything but missing, `no`, `0`, `false`."""
    return tag_text(value) not in ("", "no", "0", "false", "none", "f", "n")


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


CLASSES = ("motorway", "trunk", "primary", "secondary", "tertiary", "unclassified", "residential", "service", "track")
_ALIKE = {
    "living_street": "service",
    "road": "unclassified",
    "minor": "unclassified",
    "busway": "service",
    "bus_guideway": "service",
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
}


def road_class(highway: str) -> str | None:
    """The class that gives a line its speed; `''` for lines vehicles do not use, None for an unknown word."""
    if highway in _NOT_FOR_VEHICLES:
        return ""
    base = highway.removesuffix("_link")
    if base in CLASSES:
        return base
    return _ALIKE.get(highway)


def access_word(access: str, vehicle: str, motor_vehicle: str) -> str:
    """The most specific access value for a motor vehicle (OpenStreetMap wiki, Key:access)."""
    return motor_vehicle or vehicle or access


# What a line or point barrier means to a rig: None stops it, True is a hazard, False is nothing to tell
BARRIERS: dict[str, bool | None] = {
    "gate": True,
    "lift_gate": True,
    "swing_gate": True,
    "sliding_gate": True,
    "toll_booth": True,
    "cattle_grid": True,
    "border_control": True,
    "height_restrictor": True,
    "chain": True,
    "entrance": False,
    "kerb": False,
    "sump_buster": None,
    "bollard": None,
    "block": None,
    "jersey_barrier": None,
    "cycle_barrier": None,
    "debris": None,
    "log": None,
    "stile": None,
    "kissing_gate": None,
    "bus_trap": None,
    "wall": None,
    "fence": None,
    "ditch": None,
    "motorcycle_barrier": None,
    "full-height_turnstile": None,
}


def read_column(values: Iterable[Any], reader: Callable[[Any], Any]) -> list[Any]:
    """`reader` of each value, called once for each different value (road tables repeat themselves)."""
    known: dict[Any, Any] = {}
    keys = [v if isinstance(v, str) else (type(v), repr(v)) for v in values]
    for key, value in zip(keys, values, strict=True):
        if key not in known:
            known[key] = reader(value)
    return [known[key] for key in keys]


def read_columns(reader: Callable[..., Any], *columns: Iterable[str]) -> list[Any]:
    """`reader(*row)` of each row of words, called once for each different row."""
    rows = list(zip(*columns, strict=True))
    known = {row: reader(*row) for row in set(rows)}
    return [known[row] for row in rows]
