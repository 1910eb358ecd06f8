"""Closures, drawn tracks and hazard areas on roads, through the whole plan of the valley made by hand."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from shapely.geometry import LineString, Point, box

from siteplanner import explain, load_mission, plan
from siteplanner.cli.results import print_explanation
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.outputs.gis.geopackage import layers, write_geopackage
from siteplanner.outputs.map.road_shapes import closure_shapes, road_shapes
from siteplanner.outputs.map.shapes import staging_mark
from siteplanner.outputs.sheets.briefing import briefing
from siteplanner.outputs.sheets.driver import driver_content
from siteplanner.outputs.write import write_outputs
from siteplanner.planning.spots.evaluate import evaluate
from siteplanner.planning.study.road_layers import read_road_layers
from siteplanner.planning.telling.directions import step_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import evaluation_record, plan_record
from siteplanner.planning.telling.units import METRIC
from siteplanner.planning.telling.words import recommendation, starts_sentence
from siteplanner.roads.closures import read_dangers
from siteplanner.roads.directions import directions
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree
from tests.planning.conftest import CRS, at, write_mission
from tests.planning.reasons import reasons_of


def save(folder, file, shapes, **columns):
    folder.mkdir(exist_ok=True)
    gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / file, driver="GPKG")


BRIDGE = Point(at(1000, 905))  # on Valley Road, before the turn-off of Bench Road


@pytest.fixture(scope="module")
def closed_plan(tmp_path_factory):
    folder = tmp_path_factory.mktemp("closed")
    save(folder, "shut.gpkg", [BRIDGE], name=["Bridge out <b>"])
    return plan(load_mission(write_mission(folder, layers='closures = "shut.gpkg"')))


@pytest.fixture(scope="module")
def bypass_plan(tmp_path_factory):
    """The same closure, with a track drawn around it, and a hazard area that the track passes through."""
    folder = tmp_path_factory.mktemp("bypass")
    save(folder, "shut.gpkg", [BRIDGE], name=["Bridge out"])
    save(folder, "track.gpkg", [LineString([at(700, 890), at(700, 1300), at(1490, 1300)])])
    save(folder, "flood.gpkg", [box(*at(600, 1100), *at(800, 1200))], name=["old ford"])
    text = 'closures = "shut.gpkg"\nextra_tracks = ["track.gpkg"]'
    path = write_mission(folder, layers=text)
    with open(path, encoding="utf-8") as file:
        mission = file.read().replace('hazards = "hazard.gpkg"', 'hazards = ["hazard.gpkg", "flood.gpkg"]')
    with open(path, "w", encoding="utf-8") as file:
        file.write(mission)
    return plan(load_mission(path))


def test_where_nothing_passes_the_closure_that_did_it_is_named_and_all_is_written(tmp_path):
    save(tmp_path, "shut.gpkg", [box(*at(280, 880), *at(320, 930))], name=["Washed out"])
    path = write_mission(tmp_path, layers='closures = "shut.gpkg"')
    save(tmp_path, "keep.gpkg", [box(*at(0, 500), *at(420, 1300))], name=["yard"])  # what is left of the road
    made = plan(load_mission(path))
    assert made.best is None
    words = plan_record(made)["recommendation"]
    assert "One road alone would lead the rig to" in words
    assert "of road on the search ground, were it open: Valley Road (closed: Washed out)." in words
    names = {f.name for f in write_outputs(made, tmp_path / "out", only=["map.html", "ranking.csv", "commander.pdf"])}
    assert {"map.html", "ranking.csv", "commander.pdf"} <= names
    assert "Valley Road (closed: Washed out)" in (tmp_path / "out" / "map.html").read_text(encoding="utf-8")


def test_a_closed_bridge_takes_the_winner_out(valley_plan, closed_plan):
    best = valley_plan.best.spot
    assert best.x > at(1000, 0)[0]
    assert all(r.spot.x < at(1000, 0)[0] for r in closed_plan.judged)
    why = explain(closed_plan, best.latitude, best.longitude)
    assert not why.passes
    assert "closed before it by Bridge out <b>" in reasons_of(why.evaluation)["no_way_in"]
    codes = {f.code: said(f).message for f in closed_plan.findings}
    assert codes["roads_closed"] == "1 road is closed by 'Bridge out <b>': Valley Road (0.01 km)."
    assert "roads_not_reached" in codes


def test_a_drawn_track_leads_round_the_closure_and_is_told_as_drawn(valley_plan, bypass_plan):
    best = valley_plan.best.spot
    before = valley_plan.best.evaluation.access
    why = explain(bypass_plan, best.latitude, best.longitude)
    assert why.passes
    after = why.evaluation.access
    assert after.drive_distance_m > before.drive_distance_m + 300
    assert after.drive_time_s > before.drive_time_s
    assert why.score < valley_plan.best.score  # farther away, so worth less
    roads = bypass_plan.scene.roads
    assert roads.tags.drawn[after.route.segments].any()
    texts = " ".join(step_words(s) for s in directions(roads, after.route, bypass_plan.scene.elevation))
    assert "track drawn for this mission" in texts
    # the hazard area on the track is told on the way and among the findings, and did not close it
    assert any(f.code == "route_hazard_area" and "old ford" in said(f).message for f in after.route.findings)
    assert why.would_rank > 1  # it was the winner


def test_closed_and_drawn_roads_are_on_the_map_and_in_the_geopackage(closed_plan, bypass_plan):
    shut = [f for f in road_shapes(closed_plan) if f["properties"]["k"] == "closed"]
    assert len(shut) == 1
    assert "Valley Road" in shut[0]["properties"]["t"]
    assert "closed: Bridge out &#60;b&#62;" in shut[0]["properties"]["t"]
    mark = closure_shapes(closed_plan)[0]["properties"]
    assert mark["k"] == "closure"
    assert "Bridge out &#60;b&#62;" in mark["t"]
    assert any("drawn for this mission" in f["properties"]["t"] for f in road_shapes(bypass_plan))
    made = layers(bypass_plan)
    roads = made["roads"]
    assert roads[roads["closed_by"].notna()]["why_not"].tolist() == ["closed: Bridge out"]
    drawn = roads[roads["drawn_for_mission"]]
    assert float(drawn.length.sum()) == pytest.approx(410 + 790 + 10, abs=1)
    assert made["closures"]["name"].tolist() == ["Bridge out"]
    assert len(made["extra_tracks"]) == 1


def read(mission):
    return read_road_layers(mission, CRS, None).value


def test_hazards_close_roads_only_when_the_mission_or_the_polygon_says_so(tmp_path):
    quiet = load_mission(write_mission(tmp_path / "a"))
    loud = load_mission(write_mission(tmp_path / "b", layers="hazards_close_roads = true"))
    assert len(read(quiet).closures) == 0
    assert [c.name for c in read(quiet).dangers] == ["hazard area slide"]
    assert [c.name for c in read(loud).closures] == ["hazard area slide"]
    save(tmp_path / "a", "hazard.gpkg", [box(*at(0, 0), *at(9, 9))] * 2, NAME=["x", "y"], CLOSES_ROADS=["yes", "no"])
    assert [c.name for c in read(quiet).closures] == ["hazard area x"]


def test_column_names_of_the_roads_hold_for_tracks_that_have_them(tmp_path):
    path = write_mission(
        tmp_path,
        layers='extra_tracks = ["own.gpkg", "theirs.gpkg"]\nroad_columns = {highway = "CLASS", surface = "PAVE"}',
    )
    line = [LineString([at(300, 900), at(300, 700)])]
    roads = gpd.read_file(tmp_path / "roads.gpkg").rename(columns={"highway": "CLASS"})
    roads["PAVE"] = "gravel"
    roads.to_file(tmp_path / "roads.gpkg", driver="GPKG")
    save(tmp_path, "own.gpkg", line, surface=["sand"])
    save(tmp_path, "theirs.gpkg", line, CLASS=["service"], PAVE=["asphalt"])
    made = read(load_mission(path))
    assert made.roads["highway"].tolist()[-2:] == ["track", "service"]
    assert made.roads["surface"].tolist()[-2:] == ["sand", "asphalt"]
    assert np.count_nonzero(made.roads["drawn"] == True) == 2  # noqa: E712 - the others are NaN


def test_a_closure_file_that_cannot_be_read_names_its_field(tmp_path):
    path = write_mission(tmp_path, layers='closures = "shut.geojson"')
    (tmp_path / "shut.geojson").write_text("{", encoding="utf-8")
    with pytest.raises(InputError) as error:
        read(load_mission(path))
    assert error.value.field == "layers.closures"
    assert error.value.file.endswith("shut.geojson")


@pytest.fixture(scope="module")
def two_starts(tmp_path_factory):
    """The closed bridge, a second yard beyond it, and a third without a rig."""
    folder = tmp_path_factory.mktemp("starts")
    save(folder, "shut.gpkg", [BRIDGE], name=["Bridge out"])
    path = write_mission(folder, layers='closures = "shut.gpkg"')
    east = gpd.GeoSeries([Point(at(2250, 900)), Point(at(1510, 900))], crs=CRS).to_crs(4326)
    with open(path, encoding="utf-8") as file:
        text = file.read().replace("[staging]", '[[staging]]\nname = "West yard"')
    for name, at_, rig in (("East yard", east.iloc[0], "true"), ("Bench camp", east.iloc[1], "false")):
        text += (
            f'\n[[staging]]\nname = "{name}"\nlatitude = {at_.y:.8f}\nlongitude = {at_.x:.8f}\nrig_available = {rig}\n'
        )
    with open(path, "w", encoding="utf-8") as file:
        file.write(text)
    return plan(load_mission(path))


def test_each_spot_takes_the_staging_point_that_arrives_first(valley_plan, two_starts):
    assert [s.name for s in two_starts.mission.stagings] == ["West yard", "East yard", "Bench camp"]
    sides = {}
    for r in two_starts.judged:
        access, side = r.evaluation.access, "west" if r.spot.x < at(1000, 0)[0] else "east"
        sides[side] = access.by_staging
        # the bridge parts them: one yard each, the other has no way, the camp has no rig
        assert [s.name for s in access.by_staging] == (
            ["West yard", "East yard"] if side == "west" else ["East yard", "West yard"]
        )
        assert access.by_staging[0].drive_time_s == access.drive_time_s
        assert access.by_staging[0].drive_distance_m == access.drive_distance_m
        assert access.by_staging[1].drive_time_s is None
        assert access.route.line.coords[0][0] - at(0, 0)[0] == pytest.approx(200 if side == "west" else 2250, abs=0.1)
    assert set(sides) == {"west", "east"}  # the second yard brings the far side back
    assert all(r.evaluation.access.by_staging == () for r in valley_plan.spots)


def test_which_rig_comes_from_where_is_said(two_starts, capsys):
    best = two_starts.best
    first, second = (s.name for s in best.evaluation.access.by_staging)
    assert f"min by road from {first}" in recommendation(two_starts)
    content = driver_content(two_starts, best)
    assert first in content["heading"]
    assert ("Other starts", f"{second} no way for the rig") in [(a, bare(b)) for a, b in content["summary"]]
    assert first in briefing(two_starts, "driver")
    assert f"from {first}" in briefing(two_starts, "commander")
    record = plan_record(two_starts)
    assert [s["name"] for s in record["spots"][0]["access"]["by_staging"]] == [first, second]
    again = mission_from_dict(record["mission"], base=two_starts.mission.base)
    assert again.stagings == two_starts.mission.stagings
    said = starts_sentence([(s.name, s.drive_time_s) for s in best.evaluation.access.by_staging])
    minutes = METRIC.seconds(best.evaluation.access.drive_time_s)
    assert said == f"The drive starts at {first}, {minutes}. Not from {second}, no way for the rig."
    found = explain(two_starts, best.spot.latitude, best.spot.longitude)
    print_explanation(
        {
            **evaluation_record(found.evaluation),
            "passes": True,
            "would_rank": 1,
            "in_search_ground": True,
            "failed": [],
            "criteria": {},
            "sky_sentences": [],
        },
        found.evaluation,
        METRIC,
    )
    assert said in " ".join(capsys.readouterr().out.split())
    marks = [f["properties"] for f in staging_mark(two_starts.mission)]
    assert ["S1" in m["i"] for m in marks] == [True, False, False]
    assert "Bench camp" in marks[2]["t"]
    assert marks[2]["t"].endswith(", no rig there")
    assert layers(two_starts)["staging"]["rig_available"].tolist() == [True, True, False]
    assert set(layers(two_starts)["routes"]["staging"]) <= {"West yard", "East yard"}


def bare(text):
    return "".join(c for c in text.replace("\u00a0", " ") if c.isprintable())


def test_of_two_yards_with_a_way_the_nearer_one_is_chosen(two_starts):
    study = two_starts.judge.study
    open_network = build_network(
        gpd.read_file(two_starts.mission.path("roads.gpkg")),
        elevation=study.elevation,
        rig=study.mission.rig,
        speeds=study.mission.speeds,
        dangers=read_dangers(study.overlays["hazards"], False)[1],
    )
    trees = [drive_tree(open_network, *at(x, 900)) for x in (200, 2250)]
    judge = replace(
        two_starts.judge, study=replace(study, network=open_network, tree=trees[0], further_trees=(trees[1],))
    )
    for r in two_starts.judged:
        starts = evaluate(judge, r.spot).access.by_staging
        x = r.spot.x - at(0, 0)[0]
        assert None not in [s.drive_time_s for s in starts]
        assert starts[0].drive_time_s <= starts[1].drive_time_s
        if r.spot.y < at(0, 960)[1] and abs(x - 1225) > 100:  # beside Valley Road the way is as the crow flies
            assert starts[0].name == ("West yard" if x < 1225 else "East yard")


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ([{"name": "a", "rig_available": False}], "rig_available = true"),
        ([{"name": "a"}, {"name": "a"}], "different names"),
        ([], "staging"),
    ],
)
def test_staging_points_that_cannot_be(places, words):
    data = {
        "layers": {"elevation": "a", "incident_area": "b", "roads": "c"},
        "staging": [{"latitude": 1.0, "longitude": 2.0, **p} for p in places],
    }
    with pytest.raises(InputError, match=words):
        mission_from_dict(data)


def test_roads_that_are_shut_for_the_rig_reach_plan_json_and_the_driver(bypass_plan, closed_plan):
    for made, name in ((bypass_plan, "Bridge out"), (closed_plan, "Bridge out <b>")):
        rows = plan_record(made)["roads"]["not_for_rig"]
        mine = [r for r in rows if r["kind"] == "closure"]
        assert [(r["name"], r["what"], r["figure"], r["source"], r["certain"]) for r in mine] == [
            ("Valley Road", name, None, "closure", True)
        ]
        assert [r["name"] for r in rows] == sorted(r["name"] for r in rows)
        lon, lat = mine[0]["longitude"], mine[0]["latitude"]
        x, y = made.scene.elevation.from_lonlat(lon, lat)
        assert np.hypot(x - BRIDGE.x, y - BRIDGE.y) < 20
    told = [r for r in bypass_plan.spots if r.evaluation.access.told.not_these]
    assert told  # the track is the slower way round
    for ranked in told:
        assert [(r.name, r.reason.what) for r in ranked.evaluation.access.told.not_these] == [
            ("Valley Road", "Bridge out")
        ]
        assert driver_content(bypass_plan, ranked)["not_these_ways"] == "Valley Road (closed: Bridge out)"


def test_the_geopackage_tells_reasons_in_figures(bypass_plan, tmp_path):
    roads = bypass_plan.scene.roads
    frame = pyogrio.read_dataframe(write_geopackage(bypass_plan, tmp_path / "p.gpkg"), layer="roads")
    frame["for_rig"] = frame["for_rig"].astype(bool)
    shut = frame[~frame["for_rig"]]
    assert len(shut)
    for row in frame.to_dict("records"):
        assert (row["reasons"] > 0) == (not row["for_rig"]) == isinstance(row["reason_kind"], str)
    closed = frame[frame["reason_kind"] == "closure"]
    assert set(closed["why_not"]) == {"closed: Bridge out"}
    assert set(closed["reason_source"]) == {"closure"}
    near = [any(u.near for u in roads.judged.unknown[i]) for i in np.flatnonzero(roads.tags.for_vehicles)]
    assert (~frame["certain"].astype(bool)).tolist() == near
    assert len(closed) == int(roads.judged.only_closed.sum())
