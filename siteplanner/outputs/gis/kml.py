"""Spots, drives and the incident area as KML 2.2 (OGC 07-147r2), for globes and phones."""

from __future__ import annotations

import numpy as np
import shapely

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.words.aiming import aim, both_bearings
from siteplanner.outputs.words.backhaul_text import donor_words
from siteplanner.outputs.words.standard import CAUTION, score_text
from siteplanner.outputs.words.text import distance_text, percent_text, time_text, xml_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.detail import told_of
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.backhaul import backhaul_sentence

# KML colours are alpha, blue, green, red
_STYLES = (
    '<Style id="spot"><IconStyle><color>ff824f0b</color></IconStyle></Style>'
    '<Style id="drive"><LineStyle><color>ffb27200</color><width>4</width></LineStyle></Style>'
    '<Style id="link"><LineStyle><color>ff597a00</color><width>3</width></LineStyle></Style>'
    '<Style id="no_link"><LineStyle><color>ff72645a</color><width>2</width></LineStyle></Style>'
    '<Style id="donor"><IconStyle><color>ff597a00</color></IconStyle></Style>'
    '<Style id="other"><LineStyle><color>99b27200</color><width>2</width></LineStyle></Style>'
    '<Style id="area"><LineStyle><color>ff000000</color><width>3</width></LineStyle>'
    "<PolyStyle><fill>0</fill></PolyStyle></Style>"
)


def _placemark(name: str, words: str, geometry: str, style: str = "") -> str:
    link = f"<styleUrl>#{style}</styleUrl>" if style else ""
    return (
        f"<Placemark><name>{xml_text(name)}</name><description>{xml_text(words)}</description>{link}"
        f"{geometry}</Placemark>"
    )


def _coordinates(xy: np.ndarray, plan: Plan) -> str:
    lon, lat = plan.scene.elevation.lonlat(xy[:, 0], xy[:, 1])
    return " ".join(f"{a:.7f},{b:.7f}" for a, b in zip(lon, lat, strict=True))


def _spot_words(ranked: RankedSpot) -> str:
    evaluation = ranked.evaluation
    parts = [f"Rank {ranked.rank}, score {score_text(ranked)} of 100."]
    if evaluation.coverage:
        parts.append(f"Serves {percent_text(evaluation.coverage.share)} of the incident area.")
    if evaluation.access:
        access = evaluation.access
        parts.append(f"Drive {distance_text(access.drive_distance_m)}, {time_text(access.drive_time_s)}.")
    words = backhaul_sentence(evaluation)
    return " ".join([*parts, *([words] if words else []), aim(ranked), grid_text(ranked.spot.grid_reference)]).strip()


def places_kml(plan: Plan) -> str:
    """The plan's places as KML text (UTF-8). Descriptions are plain text; markup in names stays text."""
    marks = [
        _placemark(
            staging.name,
            "Staging point" if staging.rig_available else "Staging point, no rig there",
            f"<Point><coordinates>{staging.longitude:.7f},{staging.latitude:.7f}</coordinates></Point>",
        )
        for staging in plan.mission.stagings
    ]
    drives: list[str] = []
    links: list[str] = []
    donors: dict[tuple[str, str], str] = {}  # name and coordinates -> mark
    turns: list[str] = []
    for ranked in plan.spots:
        spot, access = ranked.spot, ranked.evaluation.access
        at = f"<Point><coordinates>{spot.longitude:.7f},{spot.latitude:.7f}</coordinates></Point>"
        marks.append(_placemark(f"Spot {spot.name}", _spot_words(ranked), at, "spot"))
        for path in (d for b in ranked.evaluation.backhauls for d in b.donors):
            ends = f"{spot.longitude:.7f},{spot.latitude:.7f} {path.longitude:.7f},{path.latitude:.7f}"
            links.append(
                _placemark(
                    f"Link from spot {spot.name} to {path.name}",
                    f"{donor_words(path)}. {both_bearings(path.bearing_deg, ranked.evaluation)}, "
                    f"{distance_text(path.distance_m)}.",
                    f"<LineString><tessellate>1</tessellate><coordinates>{ends}</coordinates></LineString>",
                    "link" if path.verdict == "works" else "no_link",
                )
            )
            there = f"<Point><coordinates>{path.longitude:.7f},{path.latitude:.7f}</coordinates></Point>"
            donors[path.name, there] = _placemark(path.name, "Donor site", there, "donor")
        if access is not None:
            xy = np.vstack([shapely.get_coordinates(access.route.line), shapely.get_coordinates(access.last_leg)])
            line = (
                f"<LineString><tessellate>1</tessellate><coordinates>{_coordinates(xy, plan)}"
                "</coordinates></LineString>"
            )
            drives.append(
                _placemark(
                    f"Drive to spot {spot.name}",
                    f"{distance_text(access.drive_distance_m)}, {time_text(access.drive_time_s)}",
                    line,
                    "drive",
                )
            )
            told = told_of(plan, access)
            if told.alternative is not None and told.alternative.route is not None:
                xy = shapely.get_coordinates(told.alternative.route.line)
                line = (
                    f"<LineString><tessellate>1</tessellate><coordinates>{_coordinates(xy, plan)}"
                    "</coordinates></LineString>"
                )
                drives.append(_placemark(f"Other way to spot {spot.name}", told.alternative.sentence, line, "other"))
            for number, step in enumerate(told.steps, 1):
                at = f"<Point><coordinates>{step.longitude:.7f},{step.latitude:.7f}</coordinates></Point>"
                turns.append(_placemark(f"{spot.name}{number}", f"{step.text}. {grid_text(step.grid_reference)}", at))
    areas = []
    for number, polygon in enumerate(shapely.get_parts(shapely.force_2d(plan.scene.area.geometry.values)), 1):
        rings = [polygon.exterior, *polygon.interiors]
        kinds = ["outerBoundaryIs", *["innerBoundaryIs"] * len(polygon.interiors)]
        body = "".join(
            f"<{kind}><LinearRing><coordinates>{_coordinates(shapely.get_coordinates(ring), plan)}"
            f"</coordinates></LinearRing></{kind}>"
            for kind, ring in zip(kinds, rings, strict=True)
        )
        areas.append(_placemark(f"Incident area {number}", "Needs coverage", f"<Polygon>{body}</Polygon>", "area"))
    folders = "".join(
        f"<Folder><name>{name}</name>{''.join(items)}</Folder>"
        for name, items in (
            ("Places", marks),
            ("Drives", drives),
            ("Decision points", turns),
            ("Donor sites", list(donors.values())),
            ("Donor links", links),
            ("Incident area", areas),
        )
        if items
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<name>{xml_text(plan.mission.name)}</name><description>{xml_text(CAUTION)}</description>"
        f"{_STYLES}{folders}</Document></kml>\n"
    )
