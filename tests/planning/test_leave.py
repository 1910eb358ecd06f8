"""Who is asked first: owners, who flies, who sends on the channel, the license; on the valley made by hand."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import geopandas as gpd
import pyogrio
import pypdf
import pytest
from shapely.geometry import LineString, Point, box

from siteplanner import explain, load_mission, plan
from siteplanner.core.propagation import free_space_db
from siteplanner.mission import Leave
from siteplanner.outputs.sheets.briefing import briefing_text
from siteplanner.outputs.sheets.driver import driver_content
from siteplanner.outputs.write import write_outputs
from siteplanner.planning.plan.saved import decoded, encoded
from siteplanner.planning.site.leave import Leave as Facts
from siteplanner.planning.spots.leave import landing_near, leave_findings
from siteplanner.planning.study.inputs import LeaveInputs, coverage_inputs
from siteplanner.planning.study.leave import LandingZone, kind_of, read_leave
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.leave import landing_check, landing_sentence, owner_check
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import METRIC
from tests.planning.conftest import CRS, at, write_mission

FT = 0.3048
OWNER, PHONE = "Ada Quillfeather", "+1 555 0142 777"
HOSTILE = "<script>alert('x')</script>*[a](http://x.invalid)#\u202e=1+1"


def save(folder, file, shapes, **columns):
    folder.mkdir(exist_ok=True)
    gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / file, driver="GPKG")


NEAR = Leave(known_cells_within_m=3000)
LAYERS = """parcels = "parcels.gpkg"
landing_zones = "zones.gpkg"
known_cells = "cells.gpkg"
license_area = "license.gpkg"
"""


def with_layers(folder, **tables):
    """The valley in the middle of four parcels; a runway whose length nobody stated far west; a heliport on the ridge;
    a cell on our channel beyond the valley, one far off it; a license whose border crosses the valley."""
    save(
        folder,
        "parcels.gpkg",
        [box(*at(x, 0), *at(x + 1000, 2000)) for x in (0, 1000, 2000)],
        PARCEL=["west-1", "mid-2", "east-3"],
        Owner=[OWNER] * 3,
        PHONE=[PHONE] * 3,
        address=["9 Quillfeather Way"] * 3,
    )
    save(
        folder,
        "zones.gpkg",
        [LineString([at(-5000, 900), at(-4000, 900)]), Point(at(2200, 1000)), Point(at(2900, 100))],
        name=["Old strip", "Bench helispot", HOSTILE],
        kind=["airport", "helispot", "heliport"],
        elevation_ft=[1500 / FT, 1509 / FT, None],
    )
    save(
        folder,
        "cells.gpkg",
        [Point(at(2500, 500)), Point(at(9000, 900)), Point(at(1500, 1000))],
        name=["Ridge cell", "Far cell", "Other band"],
        frequency_mhz=[768.0, 763.0, 1900.0],
        bandwidth_mhz=[10.0, None, 10.0],
        eirp_dbm=[50.0, 60.0, 60.0],
        height_m=[30.0, 30.0, 30.0],
    )
    save(folder, "license.gpkg", [box(*at(-9000, -9000), *at(2600, 9000))], name=["Region 7"])
    return write_mission(folder, layers=LAYERS, **tables)


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    return plan(load_mission(with_layers(tmp_path_factory.mktemp("asked"), spots=40)))


@pytest.fixture(scope="module")
def written(asked, tmp_path_factory):
    """Everything that leaves the program but pictures; and the package of it."""
    folder = tmp_path_factory.mktemp("asked_out")
    only = ["map.html", "commander.pdf", "crew.pdf", "briefing.txt", "plan.json", "package.gpkg", "places.kml",
            "routes.gpx", "ranking.csv", "judged.csv"]  # fmt: skip
    write_outputs(asked, folder, only=only)
    return folder


@pytest.fixture(scope="module")
def best(asked) -> Facts:
    return asked.best.evaluation.leave


def checks(made, **more):
    return {c.code: f"{c.text} | {c.why}" for c in arrival_checks(made, made.best, **more)}


def test_the_ranking_is_that_of_the_valley_without_the_layers(asked, valley_plan):
    """Leave may be had by a call: nothing here rules out or scores."""
    assert [r.spot.key for r in asked.judged] == [r.spot.key for r in valley_plan.judged]
    assert [r.score for r in asked.judged] == [r.score for r in valley_plan.judged]
    assert valley_plan.best.evaluation.leave is None


def test_the_parcel_under_the_spot_is_named_and_its_owner_on_paper_only(asked, best):
    x = asked.best.spot.x - at(0, 0)[0]
    assert best.parcel_known
    assert best.parcels[0].number == ("west-1", "mid-2", "east-3")[int(x // 1000)]
    told = checks(asked)["owner"]
    assert best.parcels[0].number in told
    assert OWNER not in told
    assert f"the owner, {OWNER}, {PHONE};" in checks(asked, owners=True)["owner"]


def text_of(path) -> str:
    return " ".join("".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def test_owner_and_phone_stand_on_the_printed_sheets_and_nowhere_else(asked, written):
    for sheet in ("crew.pdf", "commander.pdf"):
        text = text_of(written / sheet).replace(" ", "")
        assert OWNER.replace(" ", "") in text, sheet
        assert PHONE.replace(" ", "") in text, sheet
    others = [p for p in written.iterdir() if p.suffix not in (".pdf", ".zip")]
    assert len(others) >= 8
    for path in others:
        held = path.read_bytes()
        for secret in ("Quillfeather", "0142 777"):
            assert secret.encode() not in held, path.name
    assert "Quillfeather" not in repr(asked.best.evaluation.leave)
    assert set(asked.scene.overlays["parcels"].columns) == {"parcel", "geometry"}


def test_the_mission_can_leave_owners_out_altogether(asked):
    quiet = asked.mission.model_copy(update={"leave": Leave(owners_on_sheets=False)})
    made = plan(quiet, previous=asked)
    assert {(p.owner, p.phone) for p in made.judge.study.leave.parcels} == {("", "")}
    assert "Quillfeather" not in encoded(made)[0]
    assert OWNER not in checks(made, owners=True)["owner"]
    assert "Ask first: the owner;" in checks(made, owners=True)["owner"]


def test_a_runway_whose_length_is_not_known_is_asked_about_as_far_as_any_reaches(asked, best):
    strip = next(z for z in best.landing if z.name == "Old strip")
    assert strip.distance_m == pytest.approx(asked.best.spot.x - at(-4000, 0)[0], abs=60)
    assert strip.surface.paragraph == "77.9(b)(1)"
    # an independent look: 100 to 1 from the near end of the runway, both heights above sea level
    top = asked.best.spot.elevation_m + asked.best.evaluation.coverage.mast_height_m + 2.0
    allowed = 1500 + strip.distance_m / 100
    assert strip.mast_above_m == pytest.approx(top - 1500, abs=0.1)
    assert strip.verdict == ("above" if top > allowed else "below")
    assert not strip.certain
    assert strip.notice == ("file" if top > allowed else "ask")


def test_a_stated_short_runway_gives_notice_by_its_own_surface_or_none(asked):
    mission = asked.mission
    study = asked.judge.study
    inputs = LeaveInputs(study.relief, coverage_inputs(study), study.leave, mission.leave, 3.0)
    spot = replace(asked.best.spot)

    def zone(kind, away_ft, runway_ft=math.nan, elevation_m=spot.elevation_m, point=False):
        end = (spot.x - away_ft * FT, spot.y)
        shape = Point(end) if point else LineString([end, (end[0] - 500, spot.y)])
        return landing_near(inputs, LandingZone("Z", kind, runway_ft * FT, elevation_m, shape), spot, 17.0)

    # 17 m are 55.8 ft: 100 to 1 passes under them to 5,577 ft, 50 to 1 to 2,789 ft, 25 to 1 to 1,394 ft
    assert [zone("airport", d, 5000).notice for d in (5570, 5590, 19_990, 20_010)] == ["file", "none", "none", "none"]
    assert [zone("airport", d, 3200).notice for d in (2780, 2800, 10_010)] == ["file", "none", "none"]
    assert [zone("heliport", d).notice for d in (1390, 1400, 5010)] == ["file", "none", "none"]
    assert [zone("airport", d).notice for d in (5570, 5590, 19_990, 20_010)] == ["file", "ask", "ask", "none"]
    assert [zone("", d, 5000).notice for d in (5570, 19_990)] == ["file", "ask"]
    assert [zone("helispot", d).notice for d in (1390, 4990, 5010)] == ["ask", "ask", "none"]
    # a point stands for a runway that may run toward the mast
    assert zone("airport", 10_500, 5000, point=True).notice == "file"
    assert zone("airport", 10_700, 5000, point=True).notice == "none"
    # a height that nobody knows is never a calm sentence
    assert zone("heliport", 500, elevation_m=math.nan).elevation_from == "ground"  # the valley's elevation knows it
    west = LandingZone("Z", "heliport", math.nan, math.nan, Point(at(-900, 900)))  # off the elevation
    lost = landing_near(inputs, west, replace(spot, x=at(50, 0)[0]), 17.0)
    assert (lost.elevation_from, lost.verdict) == ("", "unknown")
    assert (lost.notice, lost.in_approach) == ("ask", None)
    assert "not known: its height" in landing_check(lost, METRIC)[1]
    # an approach of 8 to 1 under a mast top 17 m above the landing zone: 136 m
    assert [zone("helispot", m / FT).in_approach for m in (135, 137)] == [True, False]
    assert zone("heliport", 30).keep_m == pytest.approx(136.0)
    under = LandingZone("Z", "heliport", math.nan, spot.elevation_m, Point(spot.x, spot.y))
    low = landing_near(inputs, under, spot, 6.0)
    assert (low.verdict, low.notice, low.in_approach) == ("above", "none", True)
    assert "the mast is too low" in landing_sentence(low)


def test_what_can_hurt_somebody_is_a_warning_and_names_the_distance_to_keep(asked, best):
    zone = replace(best.landing[0], in_approach=True, keep_m=136.2, mast_above_m=17.0)
    found = {f.code: f for f in leave_findings(replace(best, landing=(zone,)))}
    assert found["landing_approach"].severity == "warning"
    assert "137 m are kept on every side" in said(found["landing_approach"]).message
    assert landing_check(zone, METRIC)[0].startswith("No mast up before those who fly agree:")


def test_a_mast_above_two_hundred_feet_is_notified_wherever_it_stands(best):
    tall = {f.code: f for f in leave_findings(replace(best, landing=(), tall=True, mast_top_m=62.0))}
    assert "61 m notice must be filed" in said(tall["mast_tall"]).message
    assert "within 5 days" in said(tall["mast_tall"]).remedy
    assert not best.tall


def test_cells_on_our_channel_are_named_with_overlap_distance_and_level(asked, best):
    assert [c.name for c in best.cells] == ["Ridge cell", "Far cell"]  # the nearest first; the other band not at all
    ridge, far = best.cells
    spot = asked.best.spot
    assert ridge.overlap_mhz == pytest.approx(5.0)
    assert (far.overlap_mhz, far.width_assumed) == (pytest.approx(10.0), True)
    away = math.hypot(spot.x - at(2500, 0)[0], spot.y - at(0, 500)[1])
    assert ridge.distance_m == pytest.approx(away)
    assert ridge.at_most_dbm == pytest.approx(50 - float(free_space_db(away, 768.0)))
    assert ridge.level_dbm <= ridge.at_most_dbm + 0.01
    assert ridge.level_dbm > ridge.at_most_dbm - 40  # open ground between them
    assert math.isnan(far.level_dbm)  # beyond the elevation
    assert ridge.noise_dbm == pytest.approx(-174 + 10 * math.log10(50 * 12 * 15_000) + 9, abs=0.1)
    words = {f.severity: said(f).message for f in asked.best.evaluation.findings if f.code == "channel_shared"}
    assert "5.0 MHz of the channels overlap" in words["check"]
    assert "How strong it arrives is not known, at most" in words["unknown"]
    assert "its width is not stated" in words["unknown"]


def test_the_field_at_the_license_border_is_told_against_the_limit(asked, best):
    held = best.license
    spot, coverage = asked.best.spot, asked.best.evaluation.coverage
    assert held.inside
    assert held.border_m == pytest.approx(at(2600, 0)[0] - spot.x, abs=1)
    # the strongest place by a closed form: never above free space from the mast with every port and no loss of pattern
    radio = asked.mission.radio
    eirp = radio.tx_power_dbm + 10 * math.log10(radio.antenna_ports) + radio.antenna_gain_dbi - radio.cable_loss_db
    slant = math.hypot(held.field_at_m, coverage.mast_height_m)
    assert held.field_at_m >= held.border_m - 15
    assert held.field_dbuv_m <= eirp - 60 + 104.8 - 20 * math.log10(slant / 1000) + 3.1  # two sectors added at most
    assert held.field_dbuv_m > 40
    assert held.spills
    assert 0 < held.part_known < 0.2  # 2 km of a border of many
    finding = next(f for f in asked.best.evaluation.findings if f.code == "license_border_field")
    assert finding.severity == "check"
    assert "the limit is 40" in said(finding).message


def test_a_spot_outside_the_license_is_told_and_not_ruled_out(asked):
    lon, lat = gpd.GeoSeries([Point(at(2640, 930))], crs=CRS).to_crs(4326).iloc[0].coords[0]
    found = explain(asked, lat, lon)
    held = found.evaluation.leave.license
    assert (held.inside, held.border_m) == (False, pytest.approx(40, abs=1))
    assert not any("license" in b.code for b in found.evaluation.failed)
    outside = next(f for f in found.evaluation.findings if f.code == "outside_license")
    assert "40 m from it" in said(outside).message or "39 m from it" in said(outside).message


def test_ask_first_stands_before_what_is_looked_at_and_after_the_wires(asked):
    codes = [c.code for c in arrival_checks(asked, asked.best)]
    assert codes[0] == "wires"
    # what is due stands before the owner, what is only asked behind
    due = [z for z in asked.best.evaluation.leave.landing if z.notice == "file" or z.in_approach]
    assert codes[1 : codes.index("owner")] == ["air"] * len(due)
    assert codes.index("owner") < codes.index("license_area") < codes.index("channel")
    assert codes.index("channel") < codes.index("level")
    assert codes.count("owner") == 1


def test_sheets_ask_without_decibels_and_the_driver_is_not_asked(asked, written):
    commander = text_of(written / "commander.pdf")
    assert "dBm" not in commander
    assert "dB over" not in commander
    assert "Ask first the neighbor of the license" in commander
    driver = driver_content(asked, asked.best)
    assert not [text for _, text in driver["warnings"] if "Ridge cell" in text or "helispot" in text]


def test_a_rerun_takes_over_what_did_not_change_and_judges_what_did(asked):
    again = plan(asked.mission, previous=asked)
    taken, asked_for = again.reused["leave"]
    assert taken == asked_for > 0
    assert checks(again) == checks(asked)
    closer = plan(asked.mission.model_copy(update={"leave": NEAR}), previous=asked)
    assert closer.reused["leave"][0] == 0
    assert closer.reused["coverage"][0] == closer.reused["coverage"][1] > 0
    assert [c.name for c in closer.best.evaluation.leave.cells] == ["Ridge cell"]


def test_the_record_holds_facts_and_sentences(asked):
    record = json.loads(json.dumps(plan_record(asked)["spots"][0]["leave"], default=str))
    assert record["parcels"][0] == asked.best.evaluation.leave.parcels[0].number
    assert {z["name"] for z in record["landing_zones"]} <= {"Old strip", "Bench helispot", HOSTILE}
    assert all({"sentence", "verdict", "notice", "keep_m"} <= set(z) for z in record["landing_zones"])
    assert record["known_cells"][0]["overlap_mhz"] == pytest.approx(5.0)
    assert record["license"]["spills"] is True


def test_map_geopackage_and_text_hold_the_layers_with_hostile_names_made_harmless(written, asked):
    page = (written / "map.html").read_text("utf-8")
    assert "<script>alert(" not in page
    for words in ("Bench helispot", "Ridge cell", "Region 7", "west-1"):
        assert words in page
    names = {name for name, _ in pyogrio.list_layers(written / "package.gpkg")}
    assert {"parcels", "landing_zone_points", "landing_zone_lines", "known_cells", "license_area"} <= names
    frame = pyogrio.read_dataframe(written / "package.gpkg", layer="parcels")
    assert set(frame.columns) == {"parcel", "geometry"}
    assert "\u202e" not in (written / "briefing.txt").read_text("utf-8")
    assert "Quillfeather" not in briefing_text(asked)


def test_a_saved_plan_still_tells_who_is_asked(asked):
    text, arrays = encoded(asked)
    again = decoded(text, arrays)
    assert checks(again, owners=True) == checks(asked, owners=True)


def test_layers_that_do_not_say_enough_say_so(tmp_path):
    folder = tmp_path / "m"
    path = with_layers(folder)
    save(folder, "zones.gpkg", [Point(at(1500, 1000))], name=["?"], kind=["pond"], runway_ft=["long"])
    save(folder, "cells.gpkg", [Point(at(1500, 1000))], frequency_mhz=[None], eirp_dbm=[1e9])
    save(folder, "parcels.gpkg", [box(*at(0, 0), *at(100, 100))], parcel=["far corner"])
    save(folder, "license.gpkg", [box(*at(0, 0), *at(1800, 9000))])
    made = plan(load_mission(path))
    codes = {f.code: said(f).message for f in made.findings}
    assert "They count as airports with a long runway" in codes["landing_kind_unknown"]
    assert "1 of 1 known cells" in codes["known_cell_no_channel"]
    assert "leaves out 50 % of the incident area" in codes["license_area_short"]
    assert {"runway_ft_doubtful", "eirp_dbm_doubtful"} <= set(codes)
    leave = made.best.evaluation.leave
    assert (leave.parcels, leave.parcel_known, leave.cells) == ((), False, ())
    assert owner_check(leave, True) == ("Landowner has agreed; noise is acceptable.", "no parcel holds the spot")
    assert checks(made)["owner"].startswith("Landowner has agreed")


def test_a_license_without_an_area_leaves_every_spot_outside_and_is_told(asked, tmp_path):
    mission = load_mission(with_layers(tmp_path / "m"))
    save(tmp_path / "m", "license.gpkg", [Point(at(0, 0))])
    read = read_leave(mission, asked.scene.elevation, box(*at(0, 0), *at(3000, 2000)), box(*at(0, 0), *at(9, 9)))
    assert read.value.judged.license_area.is_empty
    told = {f.code: said(f).message for f in read.findings}
    assert "100 % of the incident area" in told["license_area_short"]
    assert len(told) > 1  # and of the layer itself


@pytest.mark.parametrize(
    ("text", "kind"),
    [("HELISPOT", "helispot"), ("Hospital pad", "heliport"), ("Airport, public", "airport"), ("", ""), ("pond", "")],
)
def test_kinds_by_the_layers_own_words(text, kind):
    assert kind_of(text) == kind
