"""The keys of roads: one table of what is read of lines and of points, and what is passed over in silence.

Keys and values are OpenStreetMap's (wiki: one page a key, `Key:<name>`). Whoever loads an extract, maps an agency's
columns or reads the tags asks this table, so that no key is loaded and not read or read and not loaded. A key that is
in the data, speaks of a limit, of access or of danger, and is not in the table is told (`unread`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

On = Literal["line", "point", "both"]
Measure = Literal["", "height", "width", "length", "weight", "speed", "grade"]

# Key:access, from general to special; double_tracked: with two wheels side by side
MODES = ("access", "vehicle", "motor_vehicle", "double_tracked_motor_vehicle", "motorcar", "hgv", "goods")
DIRECTIONS = ("forward", "backward")
TRAILERS = ("trailer", "caravan")
TRAILERS_TOLD = ("trailer:forward", "trailer:backward", "motorcar:trailer", "hgv:trailer", "hgv_articulated")


@dataclass(frozen=True)
class Key:
    """One key: where it is looked for, and what its value measures ('': it is a word)."""

    name: str
    on: On = "line"
    measure: Measure = ""


def _all(names: Iterable[str], on: On = "line", measure: Measure = "") -> list[Key]:
    return [Key(name, on, measure) for name in names]


# figures that limit: the plain key holds on points too (Key:maxheight: "can also be used on barriers")
# a bridge is as low for one kind of vehicle as for another: heights and widths for some hold for all
_ANY = ("hgv", "trailer", "motorcar", "motor_vehicle", "vehicle", "caravan")
HEIGHT = (
    "maxheight", "maxheight:physical", "maxheight:legal", "maxheight:forward", "maxheight:backward",
    *(f"maxheight:{mode}" for mode in _ANY),
)  # fmt: skip
HEIGHT_LANES = ("maxheight:lanes", "maxheight:lanes:forward", "maxheight:lanes:backward", "maxheight:physical:lanes")
WEIGHT = (
    "maxweight", "maxgcweight", "maxweightrating", "maxgcweightrating", "maxweight:forward", "maxweight:backward",
    "maxweight:trailer", "maxweightrating:trailer", "maxweight:motorcar", "maxweight:motor_vehicle",
    "maxweight:vehicle", "maxweight:physical", "maxunladenweight",
)  # fmt: skip
WEIGHT_LANES = ("maxweight:lanes", "maxweight:lanes:forward", "maxweight:lanes:backward")
WEIGHT_HGV = (
    "maxweight:hgv", "maxweightrating:hgv", "maxgcweight:hgv", "maxgcweightrating:hgv", "maxweight:hgv_articulated",
    "maxunladenweight:hgv",
)  # fmt: skip
AXLE = ("maxaxleload", "maxaxleload:hgv", "maxaxleload:trailer")
BOGIE = ("maxbogieweight",)
WIDTH = (
    "maxwidth", "maxwidth:physical", "width", "maxwidth:forward", "maxwidth:backward", "width:carriageway",
    *(f"maxwidth:{mode}" for mode in _ANY),
)  # fmt: skip
WIDTH_LANES = ("maxwidth:lanes", "maxwidth:lanes:forward", "maxwidth:lanes:backward")
LENGTH = (
    "maxlength", "maxlength:forward", "maxlength:backward", "maxlength:physical",
    *(f"maxlength:{mode}" for mode in _ANY if mode != "hgv"),
)  # fmt: skip
LENGTH_HGV = ("maxlength:hgv", "maxlength:hgv_articulated")
SPEED = ("maxspeed", "maxspeed:advisory", "maxspeed:trailer")
SPEED_WAYS = ("maxspeed:forward", "maxspeed:backward")
CONDITIONAL = tuple(f"{key}:conditional" for key in (*MODES, *TRAILERS, "oneway"))
# for one way only, or of a key that depends on the vehicle: told, and close nothing by themselves
CONDITIONAL_TOLD = (
    *(f"{mode}:{way}:conditional" for mode in MODES for way in DIRECTIONS),
    *(f"{key}:{way}:conditional" for key in ("maxheight", "maxweight") for way in DIRECTIONS),
    *(f"{key}:hgv:conditional" for key in ("maxweight", "maxlength", "maxheight")),
    "oneway:motor_vehicle:conditional", "oneway:vehicle:conditional", "opening_hours",
)  # fmt: skip
FIGURES_CONDITIONAL = {
    "maxheight:conditional": "height", "maxheight:physical:conditional": "height", "maxweight:conditional": "weight",
    "maxweightrating:conditional": "weight", "maxaxleload:conditional": "axle", "maxwidth:conditional": "width",
    "maxlength:conditional": "length",
}  # fmt: skip
# words that mean danger or an end of the way wherever they stand
DANGERS = ("obstacle", "flooded", "tidal")
OUT_OF_USE = ("collapsed", "damage", "impassable", "blocked", "closed")

_TABLE = [
    *_all(("name", "ref", "highway", "surface", "tracktype", "smoothness", "junction", "lanes", "narrow", "layer")),
    *_all(("oneway", "oneway:motor_vehicle", "oneway:motorcar", "oneway:vehicle", "bridge", "tunnel", "indoor")),
    *_all((*MODES, *TRAILERS, "locked", "barrier", "ford", "depth", "hazard", "flood_prone", "noexit"), "both"),
    *_all(("bollard", "railway", "level", "traffic_calming", "emergency", "status"), "both"),
    *_all((*DANGERS, *OUT_OF_USE, "passable"), "both"), *_all(("service", *TRAILERS_TOLD)), *_all(CONDITIONAL_TOLD),
    *_all(f"{mode}:{way}" for mode in MODES for way in DIRECTIONS),
    *_all(CONDITIONAL, "both"),
    *_all(("seasonal", "winter_road", "ice_road", "covered", "construction", "abandoned", "disused", "4wd_only")),
    *_all(("destination", "destination:ref")), Key("junction:ref", "both"),
    *_all(("motorroad", "access_control", "expressway", "low_water_crossing", "est_width")),
    *_all(HEIGHT[:2], "both", "height"), *_all((*HEIGHT[2:], *HEIGHT_LANES), "line", "height"),
    *_all(WEIGHT[:3], "both", "weight"), *_all((*WEIGHT[3:], *WEIGHT_LANES, *WEIGHT_HGV), "line", "weight"),
    *_all((*AXLE, *BOGIE), "both", "weight"),
    *_all(WIDTH[:3], "both", "width"), *_all((*WIDTH[3:], *WIDTH_LANES), "line", "width"),
    *_all(LENGTH[:1], "both", "length"), *_all((*LENGTH[1:], *LENGTH_HGV), "line", "length"),
    *_all((*SPEED, *SPEED_WAYS, "maxspeed:hgv"), "line", "speed"), Key("incline", "line", "grade"),
    *(Key(key, "line") for key in FIGURES_CONDITIONAL),
]  # fmt: skip
KEYS: Mapping[str, Key] = {key.name: key for key in _TABLE}
LINE_KEYS = tuple(k.name for k in _TABLE if k.on != "point")
POINT_KEYS = tuple(k.name for k in _TABLE if k.on != "line")
# a point with one of these is kept; the others only say more of it
POINT_MARKS = (
    "barrier", "ford", "hazard", "noexit", "trailer", "obstacle", "flooded", "blocked", *MODES[:5], *HEIGHT[:2],
    *WEIGHT[:3], *AXLE[:1], *BOGIE, *WIDTH[:2], *LENGTH[:1], *(f"{mode}:conditional" for mode in MODES[:5]),
)  # fmt: skip
LEVEL_CROSSINGS = ("level_crossing", "tram_level_crossing")  # Tag:railway=level_crossing; paths use `crossing`

# words that a limit, a permission or a danger is spoken of with
_SPEAKS = re.compile(
    r"(?:^|:)(?:max(?!speed)|min|est_|hgv|goods|motor|vehicle|trailer|caravan|tow|access|permit|hazmat$|hazard|danger|"
    r"flood|closed|blocked|obstacle|restriction|clearance|load|weight|height|width|vertical|tidal|impassable|passable|"
    r"private|toll:hgv|snow|ice|avalanche|rockfall|landslide|washout|low_water|axle|bridge:(?:load|limit|class)|"
    r"military|charge:|height|4wd|winter)|:conditional$|:(?:hgv|trailer|motorcar|motor_vehicle)(?:$|:)"
)
# the same in the short names of an agency's columns: VERT_CLR, WT_LIM, MAX_TONS
_SHORT = re.compile(
    r"(?:^|[_ .-])(?:wt|wgt|wght|tons?|tonnage|clr|clrnce|clear|vclr|vert|lim|lmt|limit|restr|restrict|restricted|load|"
    r"ht|hgt|hght|wdth|axle|truck|trk|posted)(?:$|[_ .-])"
)
_SHORT_ELSE = re.compile(r"(?:^|[_ .-])(?:spd|speed|mph|city|county|date|by|id)(?:$|[_ .-])")
# they speak of something else than this road, say it in other words, or make a driver's life only easier
_ELSE = re.compile(
    r"^(?:source|note|description|fixme|todo|was|old|removed|razed|demolished|parking|sidewalk|footway|cycleway|kerb|"
    r"shoulder|verge|destination|turn|change|placement|bicycle|foot|horse|psv|bus|taxi|tourist_bus|coach|moped|mofa|"
    r"motorcycle|motor_boat|snowmobile|ski|pedestrian|overtaking|lanes:|busway|gps|tiger|building|addr|traffic_sign|"
    r"maxspeed|railway:|roof|access:note|access_aisle|wheelchair|dog|carriage|inline_skates)|"
    r":(?:source|note|signed|name|bus|psv|bicycle|foot|horse|moped|taxi|coach|tourist_bus|motorcycle)$|"
    r"^(?:hgv:national_network|hgv:state_network|motorcycle|motorcycle:.*|minspeed|min_height|electrified|hazmat.*|"
    r"toll.*|maxspeed.*|oneway:(?:bicycle|bus|psv|foot|moped)|motor_vehicle:bus)$",
    re.IGNORECASE,
)


def is_figure(key: str) -> bool:
    """Whether the key's value is measured in a unit."""
    return key in KEYS and KEYS[key].measure not in ("", "grade")


def unread(counts: Mapping[str, int]) -> tuple[tuple[str, int], ...]:
    """(key, count) of keys that speak of a limit, of access or of danger and that nothing here reads, the most common
    first. `counts`: how many lines or points bear each key.
    """
    left = [(key, n) for key, n in counts.items() if n and key.lower() not in KEYS and speaks(key)]
    return tuple(sorted(left, key=lambda item: (-item[1], item[0])))


def speaks(key: str) -> bool:
    """Whether a key sounds like a limit, a permission or a danger of the road itself."""
    low = key.lower()
    if _SHORT.search(low) and ":" not in low and not _SHORT_ELSE.search(low):
        return True
    return bool(_SPEAKS.search(low)) and not _ELSE.search(low)


def near_key(word: str) -> str:
    """The key that a misspelt one was meant for, or ''."""
    close = get_close_matches(word.lower(), list(KEYS), n=1, cutoff=0.6)
    return close[0] if close else ""
