"""What is told of a drive reaches every output: other way, decision points, turning place, one way in, square code."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import gpxpy
import numpy as np
import pyogrio
import pytest
from PIL import Image
from pypdf import PdfReader
from shapely import LineString, hausdorff_distance, segmentize

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.gis.geopackage import write_geopackage
from siteplanner.outputs.gis.gpx import OTHER_WAY, VIA, routes_gpx
from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.map.panel import spot_popup
from siteplanner.outputs.map.shapes import decision_shapes, drive_shapes
from siteplanner.outputs.sheets.briefing import MOST_BYTES, briefing, briefing_text, radio_texts
from siteplanner.outputs.sheets.driver import driver_content
from siteplanner.outputs.sheets.printing import PAGES, sheet_content, sheet_pdf, sheet_png
from siteplanner.outputs.sheets.track_code import track_code
from siteplanner.planning.spots.drive_facts import Turning
from siteplanner.planning.spots.lifelines import Beside, OverWater, Section, place_at
from siteplanner.planning.spots.room import Room
from siteplanner.planning.telling.directions import step_words
from siteplanner.planning.telling.drive_record import access_record
from siteplanner.planning.telling.units import BOTH
from siteplanner.planning.telling.words import recommendation
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.directions import directions
from siteplanner.roads.lifeline import Lifeline, Stretch, Thread
from siteplanner.roads.reasons import Reason
from siteplanner.roads.ruled_out import RuledOut
from siteplanner.roads.turning import TurningPlace


@pytest.fixture(scope="module")
def told_plan(plan):
    """The factory's plan with the best spot's drive told in full; the drive to the second spot is its other way."""
    best = plan.spots[0]
    access, grid, roads = best.evaluation.access, plan.scene.elevation, plan.scene.roads
    told = access.told
    segment = int(access.route.segments[-1])
    line = roads.geometry.line[segment]
    stretches = (Stretch(segment, 0.0, line.length),)
    ends = (place_at(grid, *line.coords[k][:2]) for k in (0, -1))
    other = plan.spots[1].evaluation.access.route
    x, y = line.coords[0][:2]
    place = place_at(grid, x, y)
    told = replace(
        told,
        staging_cuts=(
            Section(
                "Mill Lane",
                True,
                "Marrow River",
                line.length,
                2100.0,
                *ends,
                (Stretch(segment, 0.0, line.length),),
                line,
            ),
        ),
        beside=(Beside("Flood", 900.0, 1400.0, 14.0, 1.25),),
        over_water=(OverWater("Mill Lane", "Marrow River", 2100.0, "Flood", 14.0, 1.25, (segment,)),),
        alternative=Alternative(
            other,
            True,
            900.0,
            720.0,
            3400.0,
            "Ridge Road",
            "Mill Lane",
        ),
        alternative_steps=directions(roads, other, grid, "County yard"),
        turning=Turning(
            Room("no", 6.2, 11.31, "steep", True),
            TurningPlace("junction", "Bluff Road", 900.0, 400.0, x, y),
            place.latitude,
            place.longitude,
            place.degrees_minutes,
            place.grid_reference,
            450.0,
            None,
        ),
        not_these=(
            RuledOut("Old Mill Lane", Reason("height limit", 2.8, 3.2, "m", "posted", structure="tunnel"), 90.0, x, y),
            RuledOut("Old Mill Lane", Reason("closure", source="closure", what="slide"), 20.0, x, y),
            RuledOut("Pass Road", Reason("grade", 19.2, 15.0, "%", "elevation", over_m=50.0), 400.0, x, y),
        ),
    )
    access = replace(
        access,
        told=told,
        lifeline=Lifeline(Thread(1, stretches), Thread(2, ())),
        drive_low_s=0.85 * access.drive_time_s,
        drive_high_s=1.4 * access.drive_time_s,
    )
    first = replace(best, evaluation=replace(best.evaluation, access=access))
    return replace(plan, spots=(first, *plan.spots[1:]))


def test_one_way_in_is_said_everywhere(told_plan):
    best = told_plan.best
    assert "one way in" in recommendation(told_plan)
    assert ["one", "way in"] in [list(box) for box in sheet_content(told_plan, "commander")["figures"]]
    hangs = "One way in from staging."
    lost = "bridges: Mill Lane over Marrow River at 2.1 km"
    assert hangs in spot_popup(best, BOTH)
    assert lost in spot_popup(best, BOTH)
    driver = sheet_content(told_plan, "driver")
    assert driver["warnings"][0][0] == "WARNING"
    assert driver["warnings"][0][1].startswith(hangs)
    assert lost in driver["warnings"][0][1].replace("\u2068", "").replace("\u2069", "")
    assert hangs in briefing(told_plan, "driver")
    # no table's head says the units here: each figure has its own
    places = re.findall(r"^ - at (.*?) (?:WARNING|Check|Not known)", briefing(told_plan, "driver"), re.MULTILINE)
    assert places
    assert all(re.fullmatch(r"\d+\.\d km \(\d+\.\d mi\)", place) for place in places), places
    assert "one way in" in briefing(told_plan, "commander").replace("WARNING: There is ", "")
    assert hangs in radio_texts(told_plan)[0]
    record = access_record(best.spot, best.evaluation.access, told_plan.spots)
    assert record["one_way_in"] is True
    assert record["ways_out"] == 2
    (lost,) = record["lifeline"]["if_lost"]
    assert (lost["parts_from"], lost["way_out_stays"], lost["bridge"]) == (["staging"], True, True)
    assert set(lost["spots_reached"]) == {r.spot.name for r in told_plan.spots[1:] if r.evaluation.access}
    assert "bridge of Mill Lane over Marrow River" in lost["sentence"]
    second = replace(told_plan, spots=told_plan.spots[1:])  # two ways out there
    assert second.best.evaluation.access.ways_out == 2
    for text in (
        spot_popup(second.best, BOTH),
        briefing(second, "driver"),
        recommendation(second),
        *radio_texts(second),
    ):
        assert "one way in" not in text.lower()


def test_a_flood_beside_the_drive_is_said_everywhere(told_plan):
    """1.4 km of the drive within 50 m of it and a bridge over its water, whether or not it touches the road."""
    said_of = "lie within 50 m of Flood: 14 m at the nearest, the road 1.2 m above its edge at the least"
    bridge = "bridge of Mill Lane over Marrow River at 2.1 km, 14 m from Flood"
    # the driver's sheet of both systems has each length in both
    in_both = (
        "lie within 50 m (164 ft) of Flood: 14 m (45 ft) at the nearest, the road 1.2 m (4 ft) above its edge at the "
        "least",
        "bridge of Mill Lane over Marrow River at 2.1 km (1.3 mi), 14 m (45 ft) from Flood",
    )
    plain = str.maketrans({"\u2068": None, "\u2069": None, "\u00a0": " ", "\u2060": None})
    driver = " ".join(text for _, text in sheet_content(told_plan, "driver")["warnings"]).translate(plain)
    record = access_record(told_plan.best.spot, told_plan.best.evaluation.access, told_plan.spots)
    for text in (spot_popup(told_plan.best, BOTH).translate(plain), " ".join(record["lifeline"]["sentences"])):
        assert said_of in " ".join(text.split())
        assert bridge in " ".join(text.split())
    assert all(words in " ".join(driver.split()) for words in in_both)
    assert "lie within 50 meters" in radio_texts(told_plan)[0]


def test_gpx_holds_decision_points_and_the_other_way(told_plan):
    read = gpxpy.parse(routes_gpx(told_plan))
    other = read.routes[-1]
    assert other.number == OTHER_WAY + 1
    assert other.name == "Other way to spot A"
    assert other.description.startswith("By Ridge Road instead of Mill Lane, 12 min longer")
    told = told_plan.best.evaluation.access.told
    assert [p.name for p in other.points if p.type != VIA] == [
        *(step_words(s) for s in told.alternative_steps),
        "Spot A",
    ]
    decisions = [p for p in read.waypoints if p.type == "decision"]
    assert [p.name for p in decisions[: len(told.steps)]] == [
        f"A{n}: {step_words(s)}" for n, s in enumerate(told.steps, 1)
    ]
    assert decisions[0].description == f"{grid_text(told.steps[0].grid_reference)}. {told.steps[0].degrees_minutes}"
    assert next(p.name for p in read.waypoints if p.type == "turning place") == "Turning place before spot A"


def test_kml_holds_the_other_way_and_the_turns(told_plan):
    names = [e.text for e in ET.fromstring(places_kml(told_plan)).iter("{http://www.opengis.net/kml/2.2}name")]
    assert "Other way to spot A" in names
    assert "Decision points" in names
    assert "A1" in names


def test_geopackage_layers_of_the_drives(told_plan, tmp_path):
    path = write_geopackage(told_plan, tmp_path / "package.gpkg")
    told = told_plan.best.evaluation.access.told
    steps = pyogrio.read_dataframe(path, layer="decision_points")
    mine = steps[steps["rank"] == 1]
    assert list(mine["text"]) == [step_words(s) for s in told.steps]
    assert mine.geometry.x.to_list() == pytest.approx([s.x for s in told.steps])
    assert list(mine["grid_reference"]) == [s.grid_reference for s in told.steps]
    other = pyogrio.read_dataframe(path, layer="alternatives").iloc[0]
    assert (other["longer_min"], other["shared_m"]) == (12.0, 900.0)
    cut = pyogrio.read_dataframe(path, layer="cut_segments").iloc[0]
    assert cut["name"] == "Mill Lane"
    assert cut.geometry.length == pytest.approx(told.staging_cuts[0].length_m)
    assert pyogrio.read_dataframe(path, layer="turning_places").iloc[0]["back_up_m"] == 450
    hazards = pyogrio.read_dataframe(path, layer="hazards_on_drives")
    assert len(hazards[hazards["rank"] == 1]) == len(told.hazards) > 0
    routes = pyogrio.read_dataframe(path, layer="routes")
    assert routes["drive_time_low_min"][0] < routes["drive_time_min"][0] < routes["drive_time_high_min"][0]


def test_the_map_draws_the_other_way_dashed_and_the_turning_place(told_plan):
    found = {f["id"]: f["properties"] for f in drive_shapes(told_plan.best, told_plan)}
    assert found["other:1"]["k"] == "other_way"
    assert "Ridge Road" in found["other:1"]["t"]
    assert "turn" in found["turning:1"]["i"]
    assert "other:2" not in {f["id"] for f in drive_shapes(told_plan.spots[1], told_plan)}
    steps = decision_shapes(told_plan.best, told_plan)
    assert len(steps) == len(told_plan.best.evaluation.access.told.steps)


def test_decision_points_have_the_numbers_of_the_driver_s_sheet_for_every_spot(told_plan):
    for ranked in told_plan.spots[:2]:
        sheet = driver_content(told_plan, ranked)["steps"]
        marks = decision_shapes(ranked, told_plan)
        assert [re.search(r">(\d+)<", m["properties"]["i"])[1] for m in marks] == [row["n"] for row in sheet]
        assert [m["properties"]["t"].split(". ", 1)[0] for m in marks] == [row["n"] for row in sheet]
        assert {m["properties"]["k"] for m in marks} == {"step"}
        steps = ranked.evaluation.access.told.steps
        for mark, step in zip(marks, steps, strict=True):
            assert mark["geometry"]["coordinates"] == pytest.approx([step.longitude, step.latitude], abs=1e-6)


def test_the_driver_s_sheet_holds_it_on_two_pages(told_plan):
    pages = PdfReader(io.BytesIO(sheet_pdf(told_plan, "driver"))).pages
    assert len(pages) <= PAGES["driver"] == 2
    text = " ".join("".join(page.extract_text() for page in pages).split())
    told = told_plan.best.evaluation.access.told
    for step in told.steps:
        assert grid_text(step.grid_reference) in text
        assert f"{step.latitude:.6f}, {step.longitude:.6f}" in text
        assert step.degrees_minutes in text
    assert "By Ridge Road instead of Mill Lane, 12 min longer" in text
    assert "Turn before it: the junction with Bluff Road" in text
    for step in told.steps:  # how far and how long since the start, at each step
        assert f"{step.running_m / 1000:.1f} ({step.running_m / 1609.344:.1f}) {step.running_s / 60:.0f} " in text
    assert NOT_THESE in text


NOT_THESE = (
    "Old Mill Lane (tunnel height limit 2.8 m (9.1 ft) is below the rig's 3.2 m (10.5 ft); closed: slide); "
    "Pass Road (grade 19 % over 50 m (164 ft) (from elevation) is above the rig's 15 %)"
)


def test_ruled_out_roads_of_quicker_ways_reach_the_driver(told_plan):
    content = driver_content(told_plan, told_plan.best)
    assert content["not_these_ways"].replace("\u200b", "") == NOT_THESE
    assert f"Not these ways: {NOT_THESE}" in briefing(told_plan, "driver").replace("\u200b", "")
    rows = access_record(told_plan.best.spot, told_plan.best.evaluation.access)["not_these_ways"]
    assert [(r["name"], r["kind"], r["figure"], r["limit"], r["unit"], r["source"], r["certain"]) for r in rows] == [
        ("Old Mill Lane", "height limit", 2.8, 3.2, "m", "posted", True),
        ("Old Mill Lane", "closure", None, None, "", "closure", True),
        ("Pass Road", "grade", 19.2, 15.0, "%", "elevation", True),
    ]
    other = told_plan.spots[1]
    assert driver_content(told_plan, other)["not_these_ways"] == ""
    assert "Not these ways" not in briefing(replace(told_plan, spots=told_plan.spots[1:]), "driver")


def test_an_independent_reader_reads_the_printed_square_code(told_plan):
    """zxing-cpp reads the page as a camera would; the sheet is made with segno."""
    import zxingcpp

    pages = [Image.open(io.BytesIO(png)).convert("L") for png in sheet_png(told_plan, "driver", ppi=200)]
    (code,) = [code for page in pages for code in zxingcpp.read_barcodes(np.asarray(page))]
    assert "QR" in str(code.format)
    assert "geo:" not in code.text  # an address that a telephone would route to for a car
    read = gpxpy.parse(code.text)  # GPX 1.1 as text: one track, and no route to work out
    assert (len(read.tracks), read.routes, read.waypoints) == (1, [], [])
    (segment,) = read.tracks[0].segments
    access, grid = told_plan.best.evaluation.access, told_plan.scene.elevation
    held = np.column_stack(grid.from_lonlat(*np.array([[p.longitude, p.latitude] for p in segment.points]).T))
    drive = LineString([*access.route.line.coords, *access.last_leg.coords])
    off = hausdorff_distance(segmentize(LineString(held), 2.0), segmentize(drive, 2.0))
    told = track_code(told_plan, told_plan.best)
    assert off <= told.off_m + 2
    content = sheet_content(told_plan, "driver")
    assert f"within {BOTH.keep(told.off_m)} of the road" in content["code_words"]


def test_radio_blocks_fit_and_lose_no_turn(told_plan):
    texts = radio_texts(told_plan)
    assert all(len(text.encode()) <= MOST_BYTES for text in texts)
    assert all(text in briefing_text(told_plan) for text in texts)
    everything = "\n".join(texts)
    told = told_plan.best.evaluation.access.told
    for number in range(1, len(told.steps) + 1):
        assert f"\n{number}. " in everything
    assert "Other way to trailer site Alfa." in everything  # ITU Radio Regulations, Appendix 14
    assert "Drive to trailer site Alfa." in everything
    assert "12 minutes longer" in everything
    long = replace(
        told, steps=tuple(replace(s, move=replace(s.move, onto=s.move.onto + " x" * 200)) for s in told.steps * 3)
    )
    access = replace(told_plan.best.evaluation.access, told=long)
    best = replace(told_plan.best, evaluation=replace(told_plan.best.evaluation, access=access))
    parts = radio_texts(told_plan, best)
    assert parts[0].startswith("Radio, part 1 of ")
    assert all(len(text.encode()) <= MOST_BYTES for text in parts)
    assert all(f"\n{n}. " in "\n".join(parts) for n in range(1, 3 * len(told.steps) + 1))


def test_the_key_of_the_driver_s_map_names_what_the_map_has(told_plan):
    key = driver_content(told_plan, told_plan.best)["map_key"]
    assert "dashed: another way; T: turning place" in key
    other = driver_content(told_plan, told_plan.spots[1])["map_key"]
    assert "T: turning place" not in other
    assert "hatched: hazard area" in other
    bare = replace(told_plan, scene=replace(told_plan.scene, overlays={}))
    assert "hatched" not in driver_content(bare, bare.best)["map_key"]
