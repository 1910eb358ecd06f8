"""An atlas answers as the plan does at the same places; what is finished stays, what has changed is done again."""

from __future__ import annotations

import csv
import errno
import json
import shutil
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely.geometry import LineString, Point, box

from siteplanner import load_mission, plan
from siteplanner.errors import Cancelled, InputError, OutputError
from siteplanner.mission import Weights
from siteplanner.mission.region import load_region
from siteplanner.outputs import atlas as region_map
from siteplanner.planning.atlas import settlements
from siteplanner.planning.atlas import tile as tile_module
from siteplanner.planning.atlas.answer import exact_plan, open_atlas, quick_answer
from siteplanner.planning.atlas.build import build_atlas
from siteplanner.planning.atlas.folder import HEAD, read_value
from siteplanner.planning.atlas.ground import with_shared
from siteplanner.planning.atlas.settlements import read_towns, region_service
from siteplanner.planning.atlas.values import packed, unpacked
from siteplanner.planning.telling.atlas import level_words, quick_words, settlement_words
from siteplanner.planning.telling.units import METRIC
from tests.atlas.scene import save, write_day, write_region
from tests.planning.conftest import at

SHARE = 0.01  # of the served share, between the lattice and the plan's own cells
POINT = 0.05  # of a chance of service at a named point
TIE = 0.5  # points of a score that such a difference can move


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """(region file, folder of the atlas, what was built)."""
    folder = tmp_path_factory.mktemp("region")
    region = write_region(folder)
    return region, folder / "atlas", build_atlas(region, folder / "atlas", workers=1)


@pytest.fixture(scope="module")
def answered(built, tmp_path_factory):
    """(quick answer, the plan alone with the same places as its own spots, the exact plan)."""
    folder = tmp_path_factory.mktemp("day")
    asked = load_mission(write_day(folder))
    quick = quick_answer(open_atlas(built[1]), asked)
    alone = plan(load_mission(write_day(folder, [(r.spot.x, r.spot.y) for r in quick.ranked])))
    return quick, alone, exact_plan(quick, asked)


def contents(atlas: Path) -> dict[str, bytes]:
    """What an atlas says, file by file; the digests of its inputs' places aside."""
    return {
        str(path.relative_to(atlas)): path.read_bytes()
        for path in sorted(atlas.rglob("*"))
        if path.is_file() and path.name not in (HEAD, "tile.json", "roads.zip")
    }


def test_an_atlas_answers_as_the_plan_at_the_same_places(answered):
    quick, alone, _ = answered
    theirs = {r.spot.key: r for r in alone.judged if r.spot.origin == "user"}
    assert len(quick.ranked) >= 6
    assert {r.spot.key for r in quick.ranked} == set(theirs)
    for r in quick.ranked:
        one, other = r.evaluation, theirs[r.spot.key].evaluation
        assert one.coverage.share == pytest.approx(other.coverage.share, abs=SHARE)
        assert one.coverage.mast_height_m == other.coverage.mast_height_m
        points = zip(one.coverage.must_serve, other.coverage.must_serve, strict=True)
        assert all(abs(p.probability - q.probability) < POINT for p, q in points)
        assert one.access.drive_time_s == pytest.approx(other.access.drive_time_s, abs=1e-6)
        assert one.ground.slope_deg == other.ground.slope_deg
        assert one.ground.heading_deg == other.ground.heading_deg
        assert [look.margin_deg for look in one.sky] == pytest.approx([look.margin_deg for look in other.sky], abs=0.01)
        assert [b.verdict for b in one.backhauls] == [b.verdict for b in other.backhauls]
        assert one.line.distance_m == pytest.approx(other.line.distance_m)
    assert min(r.evaluation.coverage.share for r in quick.ranked) < 0.9  # the radio decides something here
    scores = [theirs[r.spot.key].score for r in quick.ranked]
    assert all(ahead > behind - TIE for ahead, behind in pairwise(scores))


def test_after_the_exact_pass_the_figures_are_the_plan_s_own(answered):
    quick, alone, exact = answered
    theirs = {r.spot.key: r.evaluation for r in alone.judged if r.spot.origin == "user"}
    ours = [r.evaluation for r in exact.judged if r.spot.origin == "search"]
    assert len(ours) >= 6
    for e in ours:
        other = theirs[e.spot.key]
        assert e.coverage.share == other.coverage.share
        assert e.coverage.sector_bearings_deg == other.coverage.sector_bearings_deg
        assert np.array_equal(e.coverage.probability, other.coverage.probability)
        assert [p.probability for p in e.coverage.must_serve] == [p.probability for p in other.coverage.must_serve]
        # as text: a figure that nobody knows is NaN, and equals nothing
        assert repr((e.ground, e.sky, e.backhauls)) == repr((other.ground, other.sky, other.backhauls))
        assert e.access.drive_time_s == other.access.drive_time_s
    assert {r.spot.key for r in exact.spots} >= {r.spot.key for r in quick.ranked[:3]}
    called = {r.spot.key: r.spot.name for r in quick.to_be_judged}
    assert all(called.get(e.spot.key, e.spot.name) == e.spot.name for e in ours)  # a place keeps its name
    assert set(quick.sets) == set(exact.sets) == {1, 2}


def test_places_that_coarser_cells_do_not_tell_apart_are_told(answered):
    quick, alone, _ = answered
    listed = quick.ranked[: quick.mission.search.listed_spots]
    theirs = {r.spot.key: r.score for r in alone.judged}
    level = {r.spot.name for group in quick.level for r in group}
    for one, other in pairwise(listed):  # where the plan turns two round, it is told that nobody could know
        assert theirs[one.spot.key] > theirs[other.spot.key] or {one.spot.name, other.spot.name} <= level
    tied = replace(quick, ranked=(listed[0], replace(listed[1], score=listed[0].score - 0.4), *quick.ranked[2:]))
    assert [r.rank for r in tied.level[0]][:2] == [1, 2]
    assert level_words(tied).startswith("Too close to call from the atlas alone: A")
    apart = tuple(replace(r, score=90.0 - r.rank) for r in quick.ranked)
    assert level_words(replace(quick, ranked=apart)) == ""


def test_search_ground_outside_the_region_is_told(answered):
    quick, *_ = answered
    assert 0.1 < quick.outside < 0.9
    assert "of the search ground lies outside the region" in quick_words(quick, METRIC)
    assert "outside" not in quick_words(replace(quick, outside=0.0), METRIC)


def test_weights_are_live_and_sets_are_of_places_apart(answered):
    quick, _, _ = answered
    by_drive = quick.weighed(Weights(coverage=0, must_serve=0, backhaul=0, ground=0, access=1))
    times = [r.evaluation.access.drive_time_s for r in by_drive.ranked]
    assert times == sorted(times)
    assert quick.sets[2].share >= quick.sets[1].share
    one, two = quick.sets[2].spots
    assert np.hypot(one.spot.x - two.spot.x, one.spot.y - two.spot.y) >= 250


def test_a_road_closed_today_is_not_driven(built, answered, tmp_path):
    quick, *_ = answered
    shut = [LineString([at(1400, 1000), at(1600, 1000)]), LineString([at(1900, 850), at(1900, 950)])]
    closed = quick_answer(open_atlas(built[1]), load_mission(write_day(tmp_path / "day", closures=shut)))
    assert closed.no_way > 0
    assert len(closed.ranked) + closed.no_way == len(quick.ranked)
    before = {r.spot.key: r.evaluation.access.drive_time_s for r in quick.ranked}
    assert all(r.evaluation.access.drive_time_s >= before[r.spot.key] - 1e-6 for r in closed.ranked)


def who_is_served(built):
    region_file, atlas, _ = built
    region = load_region(region_file)
    ground = with_shared(region, read_value(atlas / "roads"))
    towns = read_towns(region, ground)
    return ground, region_service(ground, atlas, ["001_001", "001_002"], towns, lambda share: None)


def test_the_map_of_a_region_is_written_in_three_forms_and_a_name_stays_text(built, tmp_path):
    ground, found = who_is_served(built)
    near, far = found.settlements
    hostile = replace(far, town=replace(far.town, name="=1+1<script>alert(1)</script>"))
    files = region_map.write_region(
        tmp_path, "A <b>county</b>", ground.heights, replace(found, settlements=(near, hostile)), METRIC
    )
    assert {f.name for f in files} == {"served.tif", "region.gpkg", "region.html", "settlements.csv"}
    page = (tmp_path / "region" / "region.html").read_text("utf-8")
    assert "<script>alert" not in page
    assert "<b>county" not in page
    assert page.count("Camp Town") >= 2
    with (tmp_path / "region" / "settlements.csv").open(encoding="utf-8-sig", newline="") as table:
        first, second = csv.DictReader(table)
    assert (first["settlement"], first["served"]) == ("Camp Town", "yes")
    assert (second["settlement"][0], second["served"], second["place"]) == ("'", "no", "")
    unserved = gpd.read_file(tmp_path / "region" / "region.gpkg", layer="not_served")
    low = (found.chance.values < 0.5).sum() * found.chance.cell_size_m**2
    assert unserved.geometry.area.sum() == pytest.approx(low)
    with rasterio.open(tmp_path / "region" / "served.tif") as raster:
        percent = raster.read(1)
    known = np.isfinite(found.chance.values)
    assert np.abs(percent[known] - 100 * found.chance.values[known]).max() <= 0.51
    assert (percent[~known] == 255).all()


def test_each_settlement_has_its_best_place_and_one_out_of_reach_has_none(built, answered):
    _, found = who_is_served(built)
    near, far = found.settlements
    assert (far.place, far.chance, far.served) == (None, 0.0, False)
    camp = max(p.probability for r in answered[0].ranked for p in r.evaluation.coverage.must_serve)
    # the point stands in the same cell for both; sectors aimed at the town itself serve it no worse
    assert near.town.name == "Camp Town"
    assert near.chance >= camp - 0.01
    assert 0 < found.share < 1
    low = found.chance.values[found.chance.cell(*at(500, 150))]
    assert low < 0.5  # behind the wall


def test_a_town_gets_a_place_that_is_likely_level_while_one_serves_it(built, monkeypatch):
    near, _ = who_is_served(built)[1].settlements
    places = list(settlements.places_in(built[1], ["001_001", "001_002"]))

    def with_chance(steep_chance):
        return [
            (tile, replace(p, evaluation=replace(p.evaluation, ground=replace(p.evaluation.ground, steep_chance=c))))
            for tile, p in places
            for c in [steep_chance(p)]
        ]

    monkeypatch.setattr(
        settlements, "places_in", lambda *_: with_chance(lambda p: 0.9 if p.name == near.place.name else 0.1)
    )
    other, _ = who_is_served(built)[1].settlements
    assert other.served
    assert other.place.name != near.place.name
    assert "too steep" not in settlement_words(other, METRIC)
    monkeypatch.setattr(settlements, "places_in", lambda *_: with_chance(lambda p: 0.9))
    last, _ = who_is_served(built)[1].settlements
    assert last.place.name == near.place.name
    assert "more likely than not too steep at the trailer's size" in settlement_words(last, METRIC)


def test_of_very_many_places_the_best_are_answered_in_full(built, answered, tmp_path, monkeypatch):
    quick, *_ = answered
    monkeypatch.setattr("siteplanner.planning.atlas.answer.IN_FULL", 4)
    few = quick_answer(open_atlas(built[1]), load_mission(write_day(tmp_path / "day")))
    assert few.in_reach == quick.in_reach
    assert len(few.ranked) == 4
    assert few.ranked[0].spot.key == quick.ranked[0].spot.key
    scores = {r.spot.key: r.score for r in quick.ranked}
    assert [r.score for r in few.ranked] == [scores[r.spot.key] for r in few.ranked]


def test_nothing_is_judged_again_while_nothing_changes(built):
    region, atlas, first = built
    before = contents(atlas)
    again = build_atlas(region, atlas, workers=1)
    assert (again.judged, again.tiles_before, again.places) == (0, first.tiles, first.places)
    assert contents(atlas) == before


def test_a_region_may_reach_beyond_its_elevation(tmp_path):
    region = write_region(tmp_path / "wide")
    save(tmp_path / "wide" / "outline.gpkg", [box(*at(2300, 700), *at(4500, 1100))])
    made = build_atlas(region, tmp_path / "wide" / "atlas", workers=1)
    held = json.loads((tmp_path / "wide" / "atlas" / "tiles" / "001_002" / "tile.json").read_text())
    assert (made.tiles, held["places"]) == (2, 0)
    assert build_atlas(region, tmp_path / "wide" / "atlas", workers=1).tiles_before == 2


def test_a_building_that_is_stopped_or_finds_the_disk_full_goes_on_without_loss(built, tmp_path, monkeypatch):
    _, whole, first = built
    region = write_region(tmp_path / "again")
    atlas = tmp_path / "again" / "atlas"
    writes, written = [], tile_module.write_margins

    def full_after_three(path, *rest):
        if len(writes) == 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        writes.append(path)
        written(path, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(tile_module, "write_margins", full_after_three)
        with pytest.raises(OutputError, match=r"No space left on device.*what is finished is kept"):
            build_atlas(region, atlas, workers=1)
    with pytest.raises(InputError, match="not finished"):
        open_atlas(atlas)

    def stop(pace):
        if pace.share > 0.9:
            raise Cancelled()

    with pytest.raises(Cancelled):
        build_atlas(region, atlas, workers=1, heard=stop)
    with pytest.raises(InputError, match="not finished"):
        open_atlas(atlas)
    last = build_atlas(region, atlas, workers=1)
    assert last.places == first.places
    assert last.judged < first.judged - 3
    assert contents(atlas) == contents(whole)


def test_a_changed_input_does_its_own_tiles_again_and_no_others(built, tmp_path):
    region_file, whole, first = built
    folder = tmp_path / "moved"
    shutil.copytree(region_file.parent, folder)
    atlas = folder / "atlas"
    save(folder / "keep.gpkg", [box(*at(1000, 800), *at(1200, 1000)), box(*at(300, 850), *at(400, 950))],
         name=["school", "yard"])  # fmt: skip
    again = build_atlas(folder / "region.toml", atlas, workers=1)
    assert (again.tiles, again.tiles_before) == (first.tiles, first.tiles - 1)
    heads = [json.loads((a / HEAD).read_text())["tiles"] for a in (whole, atlas)]
    assert [heads[0][name] == heads[1][name] for name in ("001_001", "001_002")] == [False, True]


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("tx_power_dbm = 3", "tx_power_dbm = 3\nfrequency_mhz = 900", "radio.frequency_mhz"),
        ("max_radius_m = 2500", "max_radius_m = 9000", "radio.max_radius_m"),
        ("[staging]", "[trailer]\nmast_stops_m = [6.0]\n[staging]", "trailer.mast_stops_m"),
    ],
)
def test_a_mission_of_another_trailer_is_refused(built, tmp_path, old, new, field):
    mission = write_day(tmp_path / "other")
    mission.write_text(mission.read_text().replace(old, new))
    with pytest.raises(InputError, match="The atlas was built for another value") as caught:
        quick_answer(open_atlas(built[1]), load_mission(mission))
    assert caught.value.field == field


def test_an_area_outside_the_region_is_refused(built, tmp_path):
    mission = write_day(tmp_path / "out")
    save(tmp_path / "out" / "area.gpkg", [box(*at(60_000, 0), *at(61_000, 900))])
    with pytest.raises(InputError, match="outside the region") as caught:
        quick_answer(open_atlas(built[1]), load_mission(mission))
    assert caught.value.field == "layers.incident_area"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: text.replace("[region]", "[regional]"), "no table `region`"),
        (lambda text: text.replace('roads = "', 'closures = "x.gpkg"\nroads = "'), "belongs to one incident"),
        (lambda text: text.replace("tile_m = 2000", "tile_m = 1"), "tile_m"),
    ],
)
def test_a_region_file_that_cannot_be_used_names_its_field(tmp_path, change, words):
    region = write_region(tmp_path / "r")
    region.write_text(change(region.read_text()))
    with pytest.raises(InputError, match=words) as caught:
        load_region(region)
    assert str(region) in str(caught.value)


def test_facts_come_back_as_they_were_and_forged_ones_are_refused(answered):
    e = answered[0].ranked[0].evaluation
    arrays = {}
    for fact in (e.ground, e.sky, e.backhauls, e.access.lifeline, {"a": (1, float("nan"))}, Point(1, 2)):
        tree = json.loads(json.dumps(packed(fact, arrays), allow_nan=False))
        assert repr(unpacked(tree, arrays)) == repr(fact)
    for forged in (
        {"!": "fact", "class": "data.records:sha256_of", "fields": {"path": "/etc/hostname"}},
        {"!": "fact", "class": "planning.workers:Cluster", "fields": {"client": 1, "stop": 2}},
        {"!": "fact", "class": "os:system", "fields": {}},
        {"!": "named", "class": "outputs.switch:Switch", "items": ["/tmp/x"]},
        {"!": "what"},
    ):
        with pytest.raises(InputError, match="does not read"):
            unpacked(forged, {})
