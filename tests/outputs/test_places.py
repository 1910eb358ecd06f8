from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.words.text import balloon

KML = "{http://www.opengis.net/kml/2.2}"


def test_places_hold_spots_drives_and_area(plan):
    root = ET.fromstring(places_kml(plan))
    names = [e.text for e in root.iter(f"{KML}name")]
    assert "Spot A" in names
    assert "Drive to spot F" in names
    assert "Incident area 1" in names
    first = next(p for p in root.iter(f"{KML}Placemark") if p.findtext(f"{KML}name") == "Spot A")
    lon, lat = map(float, first.findtext(f"{KML}Point/{KML}coordinates").split(","))
    assert (lat, lon) == pytest.approx((plan.spots[0].spot.latitude, plan.spots[0].spot.longitude), abs=1e-7)


def test_rings_are_closed(plan):
    root = ET.fromstring(places_kml(plan))
    for ring in root.iter(f"{KML}LinearRing"):
        places = ring.findtext(f"{KML}coordinates").split()
        assert places[0] == places[-1]
        assert len(places) >= 4


def test_hostile_names_stay_text(hostile_plan):
    names = [e.text for e in ET.fromstring(places_kml(hostile_plan)).iter(f"{KML}name")]
    for ranked in hostile_plan.spots:
        assert balloon(f"Spot {ranked.spot.name}") in names
