"""GPX 1.1: Topografix schema (http://www.topografix.com/GPX/1/1/), its element order and value ranges."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import gpxpy
import numpy as np
import pytest

from siteplanner.outputs.gis.gpx import NAMESPACE, VIA, routes_gpx
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from tests.outputs.factory import make_plan

# sequences of gpxType, wptType, rteType, trkType, trksegType, metadataType, as far as they are used
ORDER = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "wpt": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix"],
    "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
    "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
    "trkseg": ["trkpt", "extensions"],
    "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"],
}
ORDER["rtept"] = ORDER["trkpt"] = ORDER["wpt"]
MANY = {"wpt", "rte", "trk", "rtept", "trkseg", "trkpt"}


def _check_schema(text: str) -> ET.Element:
    root = ET.fromstring(text)
    assert root.tag == f"{{{NAMESPACE}}}gpx"
    assert root.attrib["version"] == "1.1"
    assert root.attrib["creator"]
    for element in root.iter():
        name = element.tag.removeprefix(f"{{{NAMESPACE}}}")
        children = [child.tag.removeprefix(f"{{{NAMESPACE}}}") for child in element]
        if name not in ORDER:
            assert not children, name
            continue
        places = [ORDER[name].index(child) for child in children]
        assert places == sorted(places), (name, children)
        assert all(children.count(c) == 1 for c in children if c not in MANY), (name, children)
        if name in {"wpt", "rtept", "trkpt"}:
            assert -90 <= float(element.attrib["lat"]) <= 90
            assert -180 <= float(element.attrib["lon"]) < 180
        if name == "number":
            assert int(element.text) >= 0
    return root


def test_it_keeps_the_schema_and_a_reader_reads_it(plan):
    text = routes_gpx(plan)
    _check_schema(text)
    read = gpxpy.parse(text)
    assert read.version == "1.1"
    assert [route.number for route in read.routes] == [1, 2, 3, 4, 5, 6]
    assert [track.name for track in read.tracks] == [f"Drive to spot {c}" for c in "ABCDEF"]


def test_routes_hold_the_words_of_the_turns(plan):
    read = gpxpy.parse(routes_gpx(plan))
    for ranked, route in zip(plan.spots, read.routes, strict=True):
        assert len(route.points) >= 3
        assert all(point.name for point in route.points if point.type != VIA)
        assert route.points[-1].name == f"Spot {ranked.spot.name}"
        assert PLANNING_AID in route.description
    words = " ".join(point.name or "" for point in read.routes[0].points)
    assert "Bluff Road" in words
    assert "Mill Lane" in words


def test_tracks_follow_the_drive_and_the_last_leg(plan):
    grid = plan.scene.elevation
    for ranked, track in zip(plan.spots, gpxpy.parse(routes_gpx(plan)).tracks, strict=True):
        drive, leg = track.segments
        x, y = grid.from_lonlat([p.longitude for p in drive.points], [p.latitude for p in drive.points])
        line = np.array(ranked.evaluation.access.route.line.coords)
        assert np.hypot(x - line[:, 0], y - line[:, 1]).max() < 0.05  # metres; 1e-7 degrees are 1 cm
        # along the ellipsoid the drive is as long as in the plan, but for the scale of UTM (0.9996 to 1.001)
        assert drive.length_2d() == pytest.approx(ranked.evaluation.access.drive_distance_m, rel=0.004)
        end = grid.from_lonlat(leg.points[-1].longitude, leg.points[-1].latitude)
        assert end == pytest.approx((ranked.spot.x, ranked.spot.y), abs=0.05)
        heights = [p.elevation for p in (*drive.points, *leg.points)]
        assert all(2200 < h < 2900 for h in heights)  # the factory's hills


def test_waypoints_name_staging_spots_and_hazards(plan):
    points = gpxpy.parse(routes_gpx(plan)).waypoints
    kinds = [p.type for p in points]
    assert kinds[:7] == ["staging", *["spot"] * 6]
    assert points[0].name == "County yard"
    assert points[1].name == "Spot A"
    assert "Rank 1, score 86.2" in points[1].description
    hazards = [p for p in points if p.type == "hazard"]
    assert any("Slide below the bluff" in p.name for p in hazards)
    assert any("unpaved" in (p.description or "") for p in hazards)
    assert len({(p.name, p.description, p.latitude, p.longitude) for p in hazards}) == len(hazards)


def test_unknown_heights_are_left_out(plan):
    from dataclasses import replace

    blank = plan.scene.elevation.with_values(np.full(plan.scene.elevation.shape, np.nan, np.float32))
    bare = replace(plan, scene=replace(plan.scene, elevation=blank))
    text = routes_gpx(bare)
    assert "nan" not in text.lower().replace("name", "")
    _check_schema(text)


def test_hostile_names_stay_text(hostile_plan):
    text = routes_gpx(hostile_plan)
    text.encode("utf-8")
    root = _check_schema(text)
    names = [e.text or "" for e in root.iter(f"{{{NAMESPACE}}}name")]
    for ranked in hostile_plan.spots:
        assert clean(f"Spot {ranked.spot.name}") in names
    assert not [e for e in root.iter() if e.tag.endswith(("img", "script"))]


def test_no_spot_is_still_a_file():
    read = gpxpy.parse(routes_gpx(make_plan(0)))
    assert read.routes == read.tracks == []
    assert read.waypoints[0].type == "staging"
