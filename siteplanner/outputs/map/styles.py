"""How lines and areas are drawn, by day and by night, and the legend that says so: one table for map, page and app.

No two kinds are told apart by colour alone: where two colours come close for anybody's eyes, their form differs (filled
or not, solid, dashed, dotted, thick). `tests/outputs/test_palettes.py` holds every pair against that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from siteplanner.outputs.words.palettes import BLUE, DARK_GREEN, DARK_VERMILION, INK, ORANGE, RULING_COLOURS, SKY_BLUE

if TYPE_CHECKING:
    from siteplanner.planning.plan.model import Plan

Style = dict[str, Any]

STYLES: dict[str, Style] = {
    "area": {"color": "#000000", "weight": 3, "fill": False},
    "route_edge": {"color": "#FFFFFF", "weight": 9, "opacity": 0.9, "interactive": False},
    "route": {"color": BLUE, "weight": 5, "opacity": 1},
    "other_way": {"color": BLUE, "weight": 4, "opacity": 0.8, "dashArray": "10 8"},
    "leg": {"color": BLUE, "weight": 5, "opacity": 1, "dashArray": "1 8", "lineCap": "round"},
    "sector": {"color": INK, "weight": 1, "opacity": 0.6, "fillColor": INK, "fillOpacity": 0.10},
    "bearing": {"color": INK, "weight": 2, "dashArray": "12 4 2 4"},
    "dish": {"color": DARK_GREEN, "weight": 3, "dashArray": "8 6"},
    "dish_blocked": {"color": "#5A6472", "weight": 2, "dashArray": "2 7"},
    "link": {"color": DARK_GREEN, "weight": 3},
    "link_blocked": {"color": "#5A6472", "weight": 2, "dashArray": "12 4 2 4"},
    "hazard": {"color": DARK_VERMILION, "weight": 1.5, "fillColor": DARK_VERMILION, "fillOpacity": 0.22},
    "keep_out": {
        "color": RULING_COLOURS["keep_out"],
        "weight": 2,
        "dashArray": "12 4",
        "fillColor": RULING_COLOURS["keep_out"],
        "fillOpacity": 0.18,
    },
    "power_line": {"color": RULING_COLOURS["power_line"], "weight": 3, "dashArray": "10 5"},
    "structure": {"color": "#3B3B3B", "weight": 2, "fillColor": "#3B3B3B", "fillOpacity": 0.5, "radius": 4},
    "water": {"color": "#1F5F8B", "weight": 1.5, "fillColor": "#1F5F8B", "fillOpacity": 0.25},
    "soft_ground": {"color": "#6B5B1E", "weight": 2, "dashArray": "1 5", "fillColor": "#6B5B1E", "fillOpacity": 0.15},
    "open": {"color": "#4D5561", "weight": 2, "opacity": 0.95},
    "unsure": {"color": "#8F5A00", "weight": 2.5, "dashArray": "7 4"},
    "shut": {"color": "#000000", "weight": 5},  # with white gaps in it: see GAPS
    "shut_gap": {"color": "#FFFFFF", "weight": 2.5, "dashArray": "5 6", "lineCap": "butt", "interactive": False},
    "closed": {"color": DARK_VERMILION, "weight": 6},
    "closure": {"color": DARK_VERMILION, "weight": 5, "fillColor": DARK_VERMILION, "fillOpacity": 0.12},
    "ring": {"color": INK, "weight": 1.5, "dashArray": "2 4"},
    "other": {"color": INK, "weight": 2, "dashArray": "6 3", "fillColor": INK, "fillOpacity": 0.08, "radius": 5},
    "must_serve": {"color": INK, "fillColor": ORANGE, "fillOpacity": 1, "radius": 7, "weight": 2},
}
GAPS = {"shut": "shut_gap"}  # drawn over the line itself: black and white in turn, by day and by night

LIGHT = "#F2E9D4"
NIGHT: dict[str, Style] = {  # what the night view changes: bright lines on dark ground
    "area": {"color": LIGHT},
    "route_edge": {"color": "#000000"},
    "route": {"color": SKY_BLUE},
    "other_way": {"color": SKY_BLUE},
    "leg": {"color": SKY_BLUE},
    "sector": {"color": LIGHT, "fillColor": LIGHT},
    "bearing": {"color": LIGHT},
    "ring": {"color": LIGHT},
    "dish": {"color": "#2FCFA0"},
    "dish_blocked": {"color": "#A89F92"},
    "link": {"color": "#2FCFA0"},
    "link_blocked": {"color": "#A89F92"},
    "hazard": {"color": "#FF8A3D", "fillColor": "#FF8A3D"},
    "keep_out": {"color": "#E3A6C6", "fillColor": "#E3A6C6"},
    "power_line": {"color": "#A99CF0"},
    "structure": {"color": "#D0C8BC", "fillColor": "#D0C8BC"},
    "water": {"color": "#6FC3DF", "fillColor": "#6FC3DF"},
    "soft_ground": {"color": "#C9B458", "fillColor": "#C9B458"},
    "open": {"color": "#B4BBC5"},
    "unsure": {"color": "#E0A83A"},
    "shut": {"color": LIGHT},
    "shut_gap": {"color": "#15171B"},
    "closed": {"color": "#FF8A3D"},
    "closure": {"color": "#FF8A3D", "fillColor": "#FF8A3D"},
    "other": {"color": LIGHT, "fillColor": LIGHT},
}

OF_SPOT = {  # drawn for the chosen spot
    "route": "Drive to the chosen spot",
    "other_way": "Another way to drive",
    "leg": "Last leg over ground",
    "sector": "Sector, one beamwidth wide",
    "dish": "Dish, sky clear",
    "dish_blocked": "Dish, sky not clear",
    "link": "Donor link that works",
    "link_blocked": "Donor link that does not, or not known",
    "ring": "Room for guys, reach of the Wi-Fi",
}
OF_ROADS = {
    "open": "Road the rig can use",
    "unsure": "Road with limits not in the data",
    "shut": "Road not for this rig",
    "closed": "Closed road",
}
OF_LAYERS = {
    "hazards": ("hazard", "Hazard area"),
    "keep_out": ("keep_out", "Keep-out area"),
    "water": ("water", "Water"),
    "soft_ground": ("soft_ground", "Soft ground"),
    "structures": ("structure", "Building, fence, tank"),
    "power_lines": ("power_line", "Overhead line"),
    "license_area": ("other", "License area"),
    "parcels": ("other", "Parcel"),
    "landing_zones": ("other", "Landing zone"),
    "known_cells": ("other", "Known cell"),
}


def legend_lines(plan: Plan) -> list[tuple[str, str]]:
    """(kind, words) of what the map of a plan draws; what it does not hold is left out."""
    overlays = plan.scene.overlays
    held = [(kind, words) for role, (kind, words) in OF_LAYERS.items() if len(overlays.get(role, ()))]
    rows = [("area", "Incident area"), *held, *((k, w) for k, w in OF_ROADS.items() if k != "closed")]
    if plan.scene.roads.judged.closed.any():
        rows.append(("closed", OF_ROADS["closed"]))
    if not plan.spots:
        return rows
    links = {d.verdict for r in plan.spots for b in r.evaluation.backhauls for d in b.donors}
    dishes = [look.clear for r in plan.spots if r.evaluation.dish_wanted for look in r.evaluation.sky]
    ways = [r.evaluation.access.told for r in plan.spots if r.evaluation.access is not None]
    drawn = {
        "other_way": any(told is not None and told.alternative.route is not None for told in ways),
        "dish": any(dishes),
        "dish_blocked": not all(dishes),
        "link": "works" in links,
        "link_blocked": bool(links - {"works"}),
        "ring": bool(plan.mission.guys) or plan.mission.wifi.on,
    }
    return [*((kind, words) for kind, words in OF_SPOT.items() if drawn.get(kind, True)), *rows]


def line_css(kind: str) -> str:
    """The line of a kind for a style attribute; `--c` is its colour by day, `--n` by night."""
    day = STYLES[kind]
    night = {**day, **NIGHT.get(kind, {})}
    colours = f"--c:{day['color']};--n:{night['color']}"
    if kind in GAPS:
        other = GAPS[kind]
        return f"{colours};--g:{STYLES[other]['color']};--m:{NIGHT[other]['color']}"
    wide = max(2, min(6, round(float(day["weight"]))))
    if is_area(kind):
        return f"{colours};--f:{day['fillOpacity']};border-width:{wide - 1}px;border-style:{dash_of(day)}"
    return f"{colours};border-top-width:{wide}px;border-top-style:{dash_of(day)}"


def key_class(kind: str) -> str:
    """What the style sheets call the key of a kind: a line, a line of two colours, or an area."""
    return "sp-line sp-gaps" if kind in GAPS else "sp-line sp-filled" if is_area(kind) else "sp-line"


def is_area(kind: str) -> bool:
    """Whether a kind is filled."""
    return "fillColor" in STYLES[kind]


def dash_of(style: Style) -> str:
    """`solid`, `dashed` or `dotted`: a style's dashes as a border can show them."""
    dash = str(style.get("dashArray", ""))
    return "solid" if not dash else "dotted" if int(dash.split(" ")[0]) <= 2 else "dashed"
