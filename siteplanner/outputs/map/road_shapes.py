"""The roads on the map: what the rig can use, what it must not use and why, and what the data do not state."""

from __future__ import annotations

from typing import Any

import shapely

from siteplanner.outputs.map.shapes import Feature, feature, geojson, table_shapes
from siteplanner.outputs.map.styles import GAPS
from siteplanner.outputs.words.text import named, shown
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.roads import reasons_words, unknown_words
from siteplanner.planning.telling.units import reader_units

MAX_ROADS = 30_000  # lines; more would make the page too slow for a tablet, and are thinned to the nearest


def road_shapes(plan: Plan) -> list[Feature]:
    """One feature a road segment, of the kinds `open`, `unsure`, `shut` and `closed`; closed roads are drawn last.

    A road not for the rig has a second line of gaps over it, so that no colour need be seen. Footpaths and
    other lines that no vehicle uses are left out.
    """
    units = reader_units(plan.mission)
    network, grid = plan.scene.roads, plan.scene.elevation
    near = _nearest(network.geometry.line, plan)
    groups: dict[str, list[Feature]] = {"open": [], "unsure": [], "shut": [], "closed": []}
    for i in near:
        if not network.tags.for_vehicles[i]:
            continue
        reasons, unknown = network.judged.reasons[i], network.judged.unknown[i]
        words = named(network.tags.name[i] or "Road without a name")
        if network.tags.highway[i]:
            words += f" ({shown(network.tags.highway[i])})"
        if network.tags.drawn[i]:
            words += ", drawn for this mission"
        if network.judged.closed[i]:
            kind, words = "closed", f"{words}: {named(reasons_words(reasons, units.first))}"
        elif reasons:
            kind, words = "shut", f"{words}: ruled out for the rig: {named(reasons_words(reasons, units.first))}"
        elif unknown:
            kind, words = "unsure", f"{words}: not stated or not sure: {named(unknown_words(unknown, units.first))}"
        else:
            kind = "open"
        line = geojson(network.geometry.line[i], grid)
        groups[kind].append(feature(f"road:{i}", line, kind, t=words))
        if kind in GAPS:
            groups[kind].append(feature(f"road_gap:{i}", line, GAPS[kind]))
    return groups["open"] + groups["unsure"] + groups["shut"] + groups["closed"]


def closure_shapes(plan: Plan) -> list[Feature]:
    """What closes roads, as the user marked it: a square with a cross on each point, lines and areas as they are."""
    frame, grid = plan.scene.overlays.get("closures"), plan.scene.elevation
    out = []
    for shape in table_shapes(frame, grid, "closure", "Roads closed", reader_units(plan.mission).first):
        if shape["geometry"]["type"] == "Point":
            shape["properties"]["i"] = '<span class="sp-closure">&#215;</span>'
        out.append(shape)
    return out


def _nearest(lines: Any, plan: Plan) -> list[int]:
    """Numbers of the lines to draw: all, or those nearest to the incident area."""
    if len(lines) <= MAX_ROADS:
        return list(range(len(lines)))
    area = shapely.union_all(plan.scene.area.geometry.values)
    order = shapely.distance(lines, area).argsort(kind="stable")[:MAX_ROADS]
    return sorted(int(i) for i in order)
