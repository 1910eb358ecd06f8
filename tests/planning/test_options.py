"""Options differ in kind, none is beaten in everything, and all that was judged leaves the tool: by brute force."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import combinations

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely.geometry import Point

from siteplanner import load_mission, plan
from siteplanner.mission import Weights
from siteplanner.outputs.write import json_text, write_outputs
from siteplanner.planning.choose.certainty import draw
from siteplanner.planning.choose.flips import flips
from siteplanner.planning.choose.how_sure import how_sure
from siteplanner.planning.choose.overlap import overlap
from siteplanner.planning.choose.ranked import Tied
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.telling.options import NO_OTHER, missed_lines, missed_words, tied_words
from siteplanner.planning.telling.record import plan_record
from tests.planning.conftest import CRS, at, write_mission
from tests.planning.test_certainty import NONE
from tests.planning.test_scoring import MISSION, evaluation


def two_camps(folder, required=None, **changes) -> str:
    """The valley with two camps 790 m apart and a radio that reaches 380 m: no spot serves both."""
    changes = {"radio": "max_radius_m = 380", "spots": 40, **changes}
    path = write_mission(folder, **changes)
    (folder / "points.gpkg").unlink()
    columns = {"name": ["west camp", "east camp"]}
    if required is not None:
        columns["required"] = required
    shapes = [Point(at(1400, 1600)), Point(at(2050, 1150))]
    gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / "points.gpkg", driver="GPKG")
    return path


@pytest.fixture(scope="session")
def camps(tmp_path_factory):
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("camps"), search='service_rasters = "options"')))


@pytest.fixture(scope="session", params=["valley", "camps"])
def made(request, valley_plan, camps):
    return {"valley": valley_plan, "camps": camps}[request.param]


def own_overlap(one, other, weight) -> float:
    """Cell by cell, in plain numbers."""
    both = most = 0.0
    for a, b, w in zip(one.tolist(), other.tolist(), weight.tolist(), strict=True):
        both, most = both + w * min(a, b), most + w * max(a, b)
    return both / most if most else math.nan


def own_free_m(one, two) -> float:
    """Metres of road whose loss cuts `two` off and not `one`, metre by metre."""
    metres = {(s.segment, m) for s in two.lifeline.staging.stretches for m in range(*sorted(round(v) for v in s[1:]))}
    mine = {(s.segment, m) for s in one.lifeline.staging.stretches for m in range(*sorted(round(v) for v in s[1:]))}
    return len(metres - mine)


def served(ranked) -> set[str]:
    return {p.name for p in ranked.evaluation.coverage.must_serve if p.probability >= 0.5}


def test_options_are_few_by_rank_and_handed_over(made):
    ranks = [o.ranked.rank for o in made.options]
    assert 2 <= len(ranks) <= 5
    assert ranks == sorted(set(ranks))
    assert ranks[0] == 1
    keys = {r.spot.key for r in made.spots}
    assert all(o.ranked.spot.key in keys for o in made.options)
    assert all(o.ranked.evaluation.skyline is not None for o in made.options)  # with their details
    named = [o.ranked.spot.name for o in made.options if o.ranked.spot.origin == "search"]
    assert named == ["A", "B", "C", "D", "E"][: len(named)]  # letters go to the options first


def test_every_two_options_differ_in_kind(made):
    weight = made.area.weight
    for better, other in combinations([o.ranked for o in made.options], 2):
        a, b = better.evaluation, other.evaluation
        alike = own_overlap(a.coverage.probability, b.coverage.probability, weight)
        ways = [alike < 0.7, own_free_m(b.access, a.access) >= 1000, bool(served(other) - served(better))]
        assert any(ways), (better.spot.name, other.spot.name, alike)


def test_the_overlap_told_is_the_one_of_the_cells(made):
    first = made.options[0].ranked.evaluation.coverage.probability
    for option in made.options:
        own = own_overlap(first, option.ranked.evaluation.coverage.probability, made.area.weight)
        assert option.overlap == pytest.approx(own, rel=1e-5)
    assert made.options[0].overlap == pytest.approx(1.0)


def figures(row) -> list[float]:
    """Of one row of plan.json, more is better; unknown is NaN. Farther than 500 m (20 m up) is no better."""

    def less(value) -> float:
        return math.nan if value is None else -value

    def more(value, most=math.inf) -> float:
        return math.nan if value is None else min(value, most)

    line = row["lifeline"]
    return [
        row["share"], more(row["people_served"]), *row["polygons"], *row["points"], less(row["on_air_min"][1]),
        less(row["drive_min"]), less(line["cut_m"]), less(line["bridges"]), more(line["ways_out"]),
        less(abs(row["steepest_pct"])), less(row["last_leg_m"]), more(row["hazard_m"], 500), more(row["water_m"], 500),
        more(row["above_channel_m"], 20), row["criteria"]["backhaul"]["utility"], less(row["slope_deg"]),
    ]  # fmt: skip


def test_no_option_is_beaten_in_everything_by_another_judged_spot(made):
    rows = {r["rank"]: figures(r) for r in json.loads(json_text(plan_record(made)))["judged"]}
    rows = {rank: [math.nan if v is None else v for v in values] for rank, values in rows.items()}
    for option in made.options:
        own = rows[option.ranked.rank]
        for place, other in rows.items():
            pairs = [(o, m) for o, m in zip(other, own, strict=True) if not (math.isnan(o) and math.isnan(m))]
            beats = all(o >= m for o, m in pairs) and any(o > m for o, m in pairs)
            assert not beats, f"{place} beats {option.ranked.rank}"


def test_prices_are_the_two_spots_figures(made):
    first = made.options[0].ranked.evaluation
    for option in made.options[1:]:
        e = option.ranked.evaluation
        for side, sign in ((option.price.gains, 1), (option.price.costs, -1)):
            for d in side:
                better = d.here - d.first if d.figure.more_is_better else d.first - d.here
                assert sign * better > 0
        told = {d.figure.name: d for d in (*option.price.gains, *option.price.costs)}
        if "share" in told:
            assert (told["share"].here, told["share"].first) == (e.coverage.share, first.coverage.share)
        if "on_air" in told:
            assert (told["on_air"].here, told["on_air"].first) == (e.on_air.mean_min, first.on_air.mean_min)
        assert abs(e.coverage.share - first.coverage.share) < 0.02 or "share" in told


def test_what_an_option_is_best_at_is_true_of_all_judged(made):
    rows = json.loads(json_text(plan_record(made)))["judged"]
    for option in made.options:
        assert option.best_at
        for best in option.best_at:
            if best.figure.name == "share" and best.among == "judged":
                others = [r["share"] for r in rows if r["rank"] != option.ranked.rank]
                assert best.value > max(others)
            if best.figure.name == "drive" and best.among == "options":
                others = [o.ranked.evaluation.access.drive_time_s for o in made.options if o is not option]
                assert best.value < min(others) / 60


def test_a_trigger_names_the_point_and_the_latest_moment(camps):
    first = camps.options[0]
    assert first.trigger is None
    other = next(o for o in camps.options if "point" in o.differs)
    (missing,) = served(other.ranked) - served(first.ranked)
    assert other.trigger.points == (missing,)
    # by hand: both drives follow Valley Road and part where the first leaves it or the other does
    shared = other.trigger.parts.distance_m
    there, here = first.ranked.evaluation.access, other.ranked.evaluation.access
    assert 0 < shared <= min(there.route.distance_m, here.route.distance_m) + 1e-6
    same = shared_metres(there.route.line, here.route.line)
    assert shared == pytest.approx(same, abs=2.0)
    assert other.trigger.decide_by_min < first.ranked.evaluation.on_air.arrival.end_late_min
    sentence = plan_record(camps)["options"][[o.ranked.rank for o in camps.options].index(other.ranked.rank)]
    assert f"Choose it if {missing} must be served" in sentence["sentences"]["trigger"]


def shared_metres(one, other) -> float:
    """How far two lines run together from their starts, metre by metre."""
    metres = 0
    while metres < min(one.length, other.length) and one.interpolate(metres).distance(other.interpolate(metres)) < 0.5:
        metres += 1
    return metres


def test_overlaps_from_two_written_rasters(camps, tmp_path):
    write_outputs(camps, tmp_path, only=["plan.json", "service_*.tif"])
    record = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    files = {}
    for path in tmp_path.glob("service_*.tif"):
        with rasterio.open(path) as held:
            assert held.dtypes == ("uint8",)
            assert held.compression.value.lower() == "deflate"
            assert held.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
            tags = held.tags()
            files[int(tags["RANK"])] = held.read(1).astype(float)
            (spot,) = [s for s in record["judged"] if s["rank"] == int(tags["RANK"])]
            assert tags["KEY"].split() == [f"{spot['x']:.2f}", f"{spot['y']:.2f}"]
            assert spot["grid_reference"] in path.name
    assert sorted(files) == [o["rank"] for o in record["options"]]
    for option in record["options"]:
        one, other = files[1], files[option["rank"]]
        inside = (one != 255) & (other != 255)
        a, b = one[inside] / 100, other[inside] / 100  # one polygon of one weight: every cell counts alike
        by_hand = np.minimum(a, b).sum() / np.maximum(a, b).sum()
        most = 0.005 * inside.sum() * 2 / np.maximum(a, b).sum()  # half a per cent a cell in both sums
        assert option["overlap"] == pytest.approx(by_hand, abs=most)
        assert most < 0.03


def test_rasters_of_a_plan_before_are_taken_away(camps, tmp_path):
    (tmp_path / "service_old.tif").write_bytes(b"of another plan")
    (tmp_path / "mine.tif").write_bytes(b"the user's")
    made = write_outputs(camps, tmp_path, only=["service_*.tif"])
    assert len(made) == len(camps.options)
    assert not (tmp_path / "service_old.tif").exists()
    assert (tmp_path / "mine.tif").exists()


def test_every_judged_spot_leaves_in_the_table_the_layer_and_the_record(camps, tmp_path):
    import csv

    write_outputs(camps, tmp_path, only=["plan.json", "judged.csv", "package.gpkg"])
    record = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    with (tmp_path / "judged.csv").open(encoding="utf-8-sig", newline="") as held:
        rows = list(csv.DictReader(held))
    layer = gpd.read_file(tmp_path / "package.gpkg", layer="judged_spots")
    assert len(rows) == len(layer) == len(record["judged"]) == len(camps.judged) > len(camps.spots)
    for ranked, row, told in zip(camps.judged, rows, record["judged"], strict=True):
        points = [p.probability for p in ranked.evaluation.coverage.must_serve]
        assert [float(row["chance_1_west_camp"]), float(row["chance_2_east_camp"])] == pytest.approx(points, abs=1e-5)
        assert told["points"] == pytest.approx(points, abs=1e-5)
        cut = ranked.evaluation.access.lifeline.staging.length_m
        assert float(row["lifeline_cut_m"]) == pytest.approx(cut, abs=0.06)
        assert told["lifeline"]["cut_m"] == pytest.approx(cut, abs=0.06)
        assert set(told["criteria"]) == {c.name for c in ranked.criteria}
    at_spot = {(round(p.x), round(p.y)) for p in layer.geometry}
    assert at_spot == {(round(r.spot.x), round(r.spot.y)) for r in camps.judged}


def test_one_option_is_said_as_no_other(tmp_path):
    alone = plan(load_mission(write_mission(tmp_path / "v", search="listed_spots = 1")))
    assert len(alone.options) == 1  # places of further trailers are listed too, and are no options
    record = plan_record(alone)
    assert record["options_note"] == NO_OTHER
    assert plan_record(plan(load_mission(two_camps(tmp_path / "w"))))["options_note"] == ""


def test_other_weights_choose_the_options_again_without_physics(camps, monkeypatch):
    from siteplanner.planning.spots import evaluate

    monkeypatch.setattr(evaluate, "predict_coverage", lambda *_, **__: pytest.fail("physics"))
    found = rescore(camps, Weights(coverage=0.1, must_serve=0, backhaul=0, ground=0, access=5))
    assert found.judged[0].spot.key != camps.judged[0].spot.key
    assert found.options[0].ranked.spot.key == found.judged[0].spot.key
    assert [o.ranked.rank for o in found.options] == sorted(o.ranked.rank for o in found.options)
    names = {r.spot.key: r.spot.name for r in camps.judged}
    assert all(o.ranked.spot.name == names[o.ranked.spot.key] for o in found.options)
    back = rescore(found, camps.mission.weights)
    assert [o.ranked.spot.key for o in back.options] == [o.ranked.spot.key for o in camps.options]
    assert [o.overlap for o in back.options] == [o.overlap for o in camps.options]


def test_a_point_that_the_first_does_not_serve_names_the_best_spot_that_does(camps):
    (missed,) = camps.missed_points
    able = [r for r in camps.judged if missed.name in served(r)]
    assert missed.name not in served(camps.best)
    assert (missed.served_by, missed.best.spot.key) == (len(able), able[0].spot.key)
    assert missed.chance == next(p.probability for p in able[0].evaluation.coverage.must_serve if p.name == missed.name)
    text = missed_words(missed)
    assert text.startswith(f"{missed.name} is not served from the first spot")
    assert f"spot {missed.best.spot.name}".lower() in text.lower()
    assert missed_lines(camps.missed_points) == [text]


def test_overlap_of_nothing_is_not_known_and_of_the_same_is_one():
    p, w = np.array([0.2, 0.9, 0.0]), np.array([1.0, 2.0, 3.0])
    assert overlap(p, p, w) == 1.0
    assert overlap(p, np.array([0.4, 0.3, 0.0]), w) == pytest.approx((0.2 + 0.6) / (0.4 + 1.8))  # closed form
    assert math.isnan(overlap(0 * p, 0 * p, w))


def test_spots_that_nobody_can_part_are_named_together(camps):
    """The same spots in the table of ties, in `Plan.tied` and in the sentence: all three from the draws in common."""
    one, two, three = camps.judged[:3]
    ties = Tied(three.spot.name, 3, 0.45, 0.2), Tied(two.spot.name, 2, 0.4, 0.3)
    close = replace(camps, firmness=replace(camps.firmness, ties=ties))
    assert [r.rank for r in close.tied] == [1, 2, 3]
    names = f"spots {one.spot.name}, {two.spot.name} and {three.spot.name}"
    assert tied_words(close.tied).startswith(f"Too close to call: the scores of {names} differ by less")
    assert plan_record(close)["tied"]["spots"] == [r.spot.name for r in close.tied]
    assert replace(camps, firmness=replace(camps.firmness, ties=())).tied == ()
    assert replace(camps, firmness=None).tied == ()


def test_spots_that_share_their_errors_are_not_tied_though_their_ranges_lie_on_each_other(camps):
    """Two spots, one model error for both: the ranges of their scores overlap, and yet the first is always ahead."""
    mission = MISSION.model_copy(
        update={"doubts": MISSION.doubts.model_copy(update={**NONE, "season_db": 4.0})}
    )  # fmt: skip
    made = []
    for name, share in (("A", 0.62), ("B", 0.60)):
        e = evaluation(name, share=share)
        wide = replace(e.coverage, share_low=share - 0.2, share_high=share + 0.2, must_serve=())
        made.append(replace(e, coverage=wide))
    spots = rank(made, mission)
    sure = how_sure(spots, mission)
    first, second = (sure.certainty[r.spot.key] for r in spots)
    assert second.score_high > first.score_mean > second.score_mean > first.score_low
    assert sure.firmness.ties == ()


def test_every_option_is_held_against_the_first(camps):
    """What would make an option lead is looked for, however far down the ranking the option stands."""
    made = [evaluation(name, share=0.6 - 0.01 * k) for k, name in enumerate("ABCDEFGH")]
    spots = rank(made, MISSION)
    drawn = draw(spots, MISSION)
    assert "H" not in {f.leader for f in flips(drawn, MISSION)}
    assert "H" in {f.leader for f in flips(drawn, MISSION, [7])}
    drawn, rows = camps.fixed.drawn(camps.judged, camps.mission), [o.ranked.rank - 1 for o in camps.options]
    assert camps.firmness.flips == flips(drawn, camps.mission, rows)
