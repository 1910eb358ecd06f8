"""What the outputs say of backhauls: words, map, GeoPackage, KML, sheets, and the same where the donor link is used."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import pyogrio
import pytest
from pyproj import Geod

from siteplanner.core.dome import DomeShare, Sector
from siteplanner.outputs.gis.geopackage import write_geopackage
from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.map.aim_shapes import aim_shapes, link_shapes
from siteplanner.outputs.map.legend import legend_html
from siteplanner.outputs.map.panel import panel_html, spot_popup
from siteplanner.outputs.map.shapes import donor_marks
from siteplanner.outputs.sheets.briefing import briefing
from siteplanner.outputs.sheets.commander import commander_content
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.planning.site.rain import Rain, RainLink
from siteplanner.planning.spots.lines import Backhaul
from siteplanner.planning.telling.aiming import aim, margin_words, rain_words, up_text
from siteplanner.planning.telling.backhaul_rows import backhaul_fact, backhaul_lines, donor_rows, terminal_sentences
from siteplanner.planning.telling.units import BOTH, METRIC
from tests.outputs.factory import DONOR_XY, HOSTILE


def with_backhauls(plan, number, backhauls):
    """The plan with other backhauls at one of its spots."""
    spots = list(plan.spots)
    e = replace(spots[number].evaluation, backhauls=tuple(backhauls))
    spots[number] = replace(spots[number], evaluation=e)
    return replace(plan, spots=tuple(spots))


@pytest.fixture(scope="module")
def linked(plan):
    """The first spot on a donor link, the second on an open-sky terminal, both without the dish."""
    dish, link = plan.spots[0].evaluation.backhauls
    (path,) = link.donors
    look = replace(dish.looks[0], margin_deg=-5.3, state="blocked")
    blocked = replace(dish, verdict="fails", margin=-5.3, looks=(look,), least_margin_deg=2.0, least_elevation_deg=10.0)
    good = replace(
        path, verdict="works", why="clear", margin_db=18.0, level_dbm=-47.0, loss_db=114.0, clearance_share=1.2
    )
    sky = Backhaul(
        "open_sky",
        "works",
        0.981,
        "share",
        DomeShare(0.981, 0.981, Sector(140.0, 160.0, 41.2, 150.0, 0.019), None),
        25.0,
    )
    made = with_backhauls(plan, 0, (blocked, replace(link, verdict="works", margin=18.0, donors=(good,))))
    return with_backhauls(made, 1, (replace(sky),))


def test_words_of_the_brief(plan):
    assert backhaul_lines(plan.spots[0].evaluation) == [
        ("used", "Dish to satellite at 103° W, clear by 34.4°"),
        ("does not work", "Donor link to Ridge tower: blocked at 3.2 km"),
    ]
    assert backhaul_lines(plan.spots[1].evaluation)[1] == (
        "not known",
        "Donor link to Ridge tower: the ground is not known beyond 1.5 km",
    )
    assert backhaul_fact(plan.spots[0].evaluation) == ("Satellite", "34° over the skyline")


def test_the_link_in_use_is_what_the_crew_aims(linked):
    e = linked.spots[0].evaluation
    assert backhaul_fact(e) == ("Donor link", "18 dB to spare")
    assert "link antenna toward Ridge tower at 214° true" in aim(linked.spots[0], METRIC)
    assert "1.2° down" in aim(linked.spots[0], METRIC)
    assert "dish" not in aim(linked.spots[0], METRIC)
    ((name, true, magnetic, tilt, *_, spare, verdict),) = donor_rows(e)
    assert (name, true, magnetic, tilt) == ("Ridge tower", "214°", "206°", "1.2° down")
    assert (spare, verdict) == ("18 dB", "works")
    assert up_text(float("nan")) == "tilt not known"


def test_the_open_sky_terminal_says_what_stands_nearest(linked):
    e = linked.spots[1].evaluation
    assert backhaul_fact(e) == ("Open sky", "98 % clear")
    assert terminal_sentences(e, METRIC) == (
        "Open-sky terminal: 98 % clear above 25°. Nearest to its view: ground up to 41° at 150° true."
    )
    assert aim(linked.spots[1], METRIC).count("dish") == 0


def test_popup_and_list(plan, linked):
    popup = spot_popup(plan.spots[0], BOTH)
    assert (
        "<b>Dish to satellite at 103&#176; W, clear by 34.4&#176;</b> (used)<br>Donor link to Ridge tower: blocked"
        in popup
    )
    page = panel_html(linked)
    assert "donor link 18 dB to spare" in page
    assert "open sky 98 &#37; clear" in page
    assert "Donor link that works" in legend_html(linked)


def test_lines_on_the_map_end_at_the_donor_and_are_crossed_where_they_are_blocked(plan, linked):
    lon, lat = plan.scene.elevation.lonlat(*DONOR_XY)
    (mark,) = donor_marks(plan)
    assert mark["geometry"]["coordinates"] == pytest.approx([lon, lat], abs=2e-6)
    assert "Donor site" in mark["properties"]["t"]
    assert "antenna 30 m" in mark["properties"]["t"]
    line, cross = link_shapes(plan.spots[0], BOTH)
    assert line["properties"]["k"] == "link_blocked"
    assert line["geometry"]["coordinates"][1] == pytest.approx([lon, lat], abs=2e-6)
    spot = plan.spots[0].spot
    _, _, away = Geod(ellps="WGS84").inv(spot.longitude, spot.latitude, *cross["geometry"]["coordinates"])
    assert away == pytest.approx(3200, abs=1)
    (good,) = link_shapes(linked.spots[0], BOTH)
    assert good["properties"]["k"] == "link"
    kinds = {f["properties"]["k"] for f in aim_shapes(linked.spots[1], linked)}
    assert not kinds & {"dish", "dish_blocked"}  # the dish is not wanted there
    assert {"dish", "link_blocked"} <= {f["properties"]["k"] for f in aim_shapes(plan.spots[0], plan)}


def test_links_in_the_geopackage(linked, tmp_path):
    path = write_geopackage(linked, tmp_path / "p.gpkg")
    links = pyogrio.read_dataframe(path, layer="donor_links")
    first = links[links["rank"] == 1].iloc[0]
    assert (first["donor"], first["verdict"], first["margin_db"]) == ("Ridge tower", "works", 18.0)
    assert first.geometry.coords[-1] == pytest.approx(DONOR_XY, abs=0.01)
    assert links[links["rank"] == 3].iloc[0]["verdict"] == "fails"
    donors = pyogrio.read_dataframe(path, layer="donor_sites")
    assert donors["height_m"].to_list() == [30.0]
    spots = pyogrio.read_dataframe(path, layer="spots")
    assert spots["backhaul"].to_list()[:3] == ["donor_link", "open_sky", "geostationary"]


def test_links_in_the_kml(linked, hostile_plan):
    space = {"k": "http://www.opengis.net/kml/2.2"}
    for plan in (linked, hostile_plan):
        root = ET.fromstring(places_kml(plan))
        folders = {f.find("k:name", space).text: f for f in root.iter("{http://www.opengis.net/kml/2.2}Folder")}
        assert len(folders["Donor links"].findall("k:Placemark", space)) >= 5
        assert folders["Donor sites"].findall("k:Placemark", space)
    names = [
        p.find("k:name", space).text
        for p in ET.fromstring(places_kml(linked)).iter("{http://www.opengis.net/kml/2.2}Placemark")
    ]
    assert "Link from spot A to Ridge tower" in names


def test_the_commander_reads_which_backhaul_and_which_others(plan, linked):
    drive = dict(commander_content(linked)["drive"])
    assert drive["Backhaul"] == "Donor link"
    assert drive["Other backhaul"] == "satellite dish does not work"
    assert ("Donor link", "backhaul") in commander_content(linked)["figures"]
    assert "Backhaul" not in dict(commander_content(plan)["drive"])
    assert dict(commander_content(plan)["drive"])["Other backhaul"] == "donor link does not work"
    assert "dB" not in str({k: v for k, v in commander_content(linked).items() if not k.endswith("svg")})


def test_the_crew_sheet_aims_the_link(linked):
    content = crew_content(linked, linked.spots[0])
    assert content["links"][0][:4] == ["Ridge tower", "214°", "206°", "1.2° down"]
    assert "before raising" in content["link_note"]
    assert "unit's manual" in content["link_note"]
    steps = " ".join(row[1] for row in content["steps"])
    assert "Link antenna: clamp it" in steps
    assert "Free the dish" not in steps
    other = crew_content(linked, linked.spots[1])
    assert other["dish"] == []
    assert "Open-sky terminal out" in " ".join(row[1] for row in other["steps"])
    text = briefing(linked, "crew", linked.spots[0])
    assert "Link to Ridge tower: 214° true (206° magnetic), 1.2° down" in text.replace("\u2068", "").replace(
        "\u2069", ""
    )


def test_hostile_donor_names_stay_text(hostile_plan):
    for ranked in hostile_plan.spots:
        popup = spot_popup(ranked, BOTH)
        assert "<script" not in popup
        for item in (*link_shapes(ranked, BOTH), *donor_marks(hostile_plan)):
            words = item["properties"]["t"]
            assert "<script" not in words
            assert "{{" not in words
    assert any("<" in name for name in HOSTILE)


def test_the_dish_s_margin_in_rain_is_told_or_is_said_to_be_unknown(plan):
    """In the app and in plan.json: a crew at a dish can do nothing with decibels of an average year."""
    evaluation = plan.spots[0].evaluation
    assert (
        margin_words(plan, evaluation)[0]
        == "Link margin toward satellite at 103° W: 3 dB in clear sky, in rain not known."
    )
    assert "Link margin" not in str(crew_content(plan, plan.spots[0]))
    link = RainLink("satellite at 103° W", -103.0, 0.5, 1.0, 99.99, 0.9, 2.0, 0.6, 1.2, 99.99, 99.99)
    wet = replace(plan, rain=Rain(11.95, 3.0, (link,), False, (), 14.25, 3.0, 120.0))
    assert "88 hours of a year 2.1 dB or less" in margin_words(wet, evaluation)[0]
    assert [w for w in rain_words(wet, evaluation) if w.startswith("Rain toward satellite at 103° W: with 3 dB")]
