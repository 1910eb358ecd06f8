"""Spots, drives and the incident area as KML 2.2 (OGC 07-147r2), for globes and phones."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.gis.ground_layers import class_polygons
from siteplanner.outputs.pictures.layers import probability_grid
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import balloon, clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import told_of
from siteplanner.planning.telling.backhaul_rows import donor_sentence
from siteplanner.planning.telling.directions import alternative_words, step_words
from siteplanner.planning.telling.legend import served_from_words
from siteplanner.planning.telling.places import drive_figures, spot_sentences
from siteplanner.planning.telling.units import reader_units

SERVED_FROM = (0.5, 0.75, 0.95)
LEAST_CELLS = 4  # of a shape of service that is worth drawing on a phone
PREDICTED = "Predicted, not measured; outlines simplified by a cell"
NAMESPACE = "http://www.opengis.net/kml/2.2"
# style -> what it draws -> (element, text); KML colours are alpha, blue, green, red
_STYLES: dict[str, dict[str, dict[str, str]]] = {
    "spot": {"IconStyle": {"color": "ff824f0b"}},
    "drive": {"LineStyle": {"color": "ffb27200", "width": "4"}},
    "link": {"LineStyle": {"color": "ff597a00", "width": "3"}},
    "no_link": {"LineStyle": {"color": "ff72645a", "width": "2"}},
    "donor": {"IconStyle": {"color": "ff597a00"}},
    "other": {"LineStyle": {"color": "99b27200", "width": "2"}},
    "served_50": {"LineStyle": {"width": "0"}, "PolyStyle": {"color": "66ccffff", "outline": "0"}},
    "served_75": {"LineStyle": {"width": "0"}, "PolyStyle": {"color": "80c4b641", "outline": "0"}},
    "served_95": {"LineStyle": {"width": "0"}, "PolyStyle": {"color": "99943425", "outline": "0"}},
    "area": {"LineStyle": {"color": "ff000000", "width": "3"}, "PolyStyle": {"fill": "0"}},
}


def _element(tag: str, children: Iterable[ET.Element] = (), /, **texts: str) -> ET.Element:
    """An element with children of text first, then the elements."""
    made = ET.Element(tag)
    for name, text in texts.items():
        ET.SubElement(made, name).text = balloon(text) if name in ("name", "description") else clean(text)
    made.extend(children)
    return made


def _placemark(name: str, words: str, geometry: ET.Element, style: str = "") -> ET.Element:
    mark = _element("Placemark", name=name, description=words)
    if style:
        ET.SubElement(mark, "styleUrl").text = f"#{style}"
    mark.append(geometry)
    return mark


def _point(longitude: float, latitude: float) -> ET.Element:
    return _element("Point", coordinates=f"{longitude:.7f},{latitude:.7f}")


def _line(coordinates: str) -> ET.Element:
    return _element("LineString", tessellate="1", coordinates=coordinates)


def _coordinates(xy: np.ndarray, plan: Plan) -> str:
    lon, lat = plan.scene.elevation.lonlat(xy[:, 0], xy[:, 1])
    return " ".join(f"{a:.7f},{b:.7f}" for a, b in zip(lon, lat, strict=True))


def _polygon(polygon: Any, plan: Plan) -> ET.Element:
    rings = [polygon.exterior, *polygon.interiors]
    kinds = ["outerBoundaryIs", *["innerBoundaryIs"] * len(polygon.interiors)]
    bounds = [
        _element(kind, [_element("LinearRing", coordinates=_coordinates(shapely.get_coordinates(ring), plan))])
        for kind, ring in zip(kinds, rings, strict=True)
    ]
    return _element("Polygon", bounds)


def _service(ranked: RankedSpot, plan: Plan) -> list[ET.Element]:
    """What a spot serves at so much and more, the widest first; a shape each, coarser than the raster by a cell."""
    grid, units = probability_grid(ranked, plan), reader_units(plan.mission)
    marks: list[ET.Element] = []
    for start in SERVED_FROM if grid is not None else ():
        assert grid is not None
        classes = grid.with_values((np.nan_to_num(grid.values) >= start).astype(np.uint8))
        rows = class_polygons(classes, {1: {}})
        if not rows:
            continue
        cell = grid.cell_size_m
        shape = shapely.simplify(rows[0]["geometry"].buffer(cell).buffer(-cell), cell)
        kept = [p for p in shapely.get_parts(shape) if p.area >= LEAST_CELLS * cell**2]
        if kept:
            words = served_from_words(ranked.spot.name, start, units.first)
            together = _element("MultiGeometry", [_polygon(p, plan) for p in kept])
            marks.append(_placemark(words, PREDICTED, together, f"served_{round(100 * start)}"))
    return marks


def places_kml(plan: Plan) -> str:
    """The plan's places as KML text (UTF-8). Descriptions are plain text; markup in names stays text."""
    units = reader_units(plan.mission)
    marks = [
        _placemark(
            staging.name,
            "Staging point" if staging.rig_available else "Staging point, no rig there",
            _point(staging.longitude, staging.latitude),
        )
        for staging in plan.mission.stagings
    ]
    drives: list[ET.Element] = []
    links: list[ET.Element] = []
    donors: dict[tuple[str, float, float], ET.Element] = {}  # name and place -> mark
    turns: list[ET.Element] = []
    for ranked in plan.spots:
        spot, access = ranked.spot, ranked.evaluation.access
        at = _point(spot.longitude, spot.latitude)
        marks.append(_placemark(f"Spot {spot.name}", spot_sentences(ranked, units), at, "spot"))
        for path in (d for b in ranked.evaluation.backhauls for d in b.donors):
            ends = f"{spot.longitude:.7f},{spot.latitude:.7f} {path.longitude:.7f},{path.latitude:.7f}"
            links.append(
                _placemark(
                    f"Link from spot {spot.name} to {path.name}",
                    donor_sentence(path, ranked.evaluation, units),
                    _line(ends),
                    "link" if path.verdict == "works" else "no_link",
                )
            )
            there = (path.longitude, path.latitude)
            donors[path.name, *there] = _placemark(path.name, "Donor site", _point(*there), "donor")
        if access is not None:
            xy = np.vstack([shapely.get_coordinates(access.route.line), shapely.get_coordinates(access.last_leg)])
            line = _line(_coordinates(xy, plan))
            drives.append(
                _placemark(
                    f"Drive to spot {spot.name}",
                    drive_figures(access, units),
                    line,
                    "drive",
                )
            )
            told = told_of(access)
            if told.alternative.route is not None:
                xy = shapely.get_coordinates(told.alternative.route.line)
                line = _line(_coordinates(xy, plan))
                drives.append(
                    _placemark(
                        f"Other way to spot {spot.name}",
                        alternative_words(told.alternative, units.first),
                        line,
                        "other",
                    )
                )
            for number, step in enumerate(told.steps, 1):
                at = _point(step.longitude, step.latitude)
                turns.append(
                    _placemark(
                        f"{spot.name}{number}", f"{step_words(step, units.first)}. {grid_text(step.grid_reference)}", at
                    )
                )
    areas: list[ET.Element] = []
    for number, polygon in enumerate(shapely.get_parts(shapely.force_2d(plan.scene.area.geometry.values)), 1):
        shape = _polygon(polygon, plan)
        mark = _placemark(f"Incident area {number}", "Needs coverage", shape, "area")
        areas.append(mark)
    served = [] if plan.best is None else _service(plan.best, plan)
    folders = [
        _element("Folder", items, name=name)
        for name, items in (
            ("Places", marks),
            ("Drives", drives),
            ("Decision points", turns),
            ("Donor sites", list(donors.values())),
            ("Donor links", links),
            ("Incident area", areas),
            ("Predicted service", served),
        )
        if items
    ]
    document = _element("Document", name=plan.mission.name, description=PLANNING_AID)
    for name, parts in _STYLES.items():
        style = ET.SubElement(document, "Style", id=name)
        style.extend(_element(part, (), **texts) for part, texts in parts.items())
    document.extend(folders)
    kml = ET.Element("kml", xmlns=NAMESPACE)
    kml.append(document)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(kml, encoding="unicode")}\n'
