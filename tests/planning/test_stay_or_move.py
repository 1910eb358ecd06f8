"""Wind that comes, alone, and gains held against their doubt: stay, lower the mast, take it down or move."""

from __future__ import annotations

import json
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
from scipy.special import ndtr
from shapely.geometry import Point

from siteplanner import plan
from siteplanner.mission import load_mission, mission_from_dict
from siteplanner.outputs.write import json_text
from siteplanner.planning.choose.certainty import doubt_of
from siteplanner.planning.choose.difference import point_gain, share_gain
from siteplanner.planning.choose.shared_errors import radio_spread_db
from siteplanner.planning.plan.again import planned_again
from siteplanner.planning.plan.lowered import hours_down
from siteplanner.planning.plan.units_left import units_left
from siteplanner.planning.site.site_wind import Span
from siteplanner.planning.telling.again import again_record, breaks_lines, headline
from siteplanner.planning.telling.record import plan_record
from tests.glossary import told
from tests.planning.conftest import CRS, at

HEAD = "time,speed,gust\n"
CALM = "2026-06-03T{:02d}:00:00-06:00,4,6\n"


@pytest.fixture(scope="module")
def record(valley_plan):
    return json.loads(json_text(plan_record(valley_plan)))


@pytest.fixture(scope="module")
def windy(valley_plan, valley_mission, record, tmp_path_factory):
    """windy(gust in the afternoon, limits of the stops, tx power, required) -> stay or move."""
    folder = tmp_path_factory.mktemp("windy")
    for file in load_mission(valley_mission).base.iterdir():
        (folder / file.name).symlink_to(file)
    points = gpd.GeoDataFrame({"name": ["ridge"]}, geometry=[Point(at(2250, 1650))], crs=CRS)
    points.to_file(folder / "ridge.gpkg")
    kept = [valley_plan.kept]

    def ask(gust: float, limits, power_dbm: float = 33.0, required=(), was=None):
        rows = [CALM.format(h) for h in (6, 12)] + [f"2026-06-03T{h}:00:00-06:00,{gust / 2},{gust}\n" for h in (14, 18)]
        (folder / "wind.csv").write_text(HEAD + "".join(rows) + CALM.format(20))
        data = load_mission(folder / "mission.toml").parameters()
        data["layers"] |= {"wind_forecast": "wind.csv", "must_serve": ["ridge.gpkg"]}
        data["wind"] |= {"mast_limit_unguyed_m_s": limits, "mast_limit_raising_m_s": 12.0}
        data["radio"] |= {"tx_power_dbm": power_dbm}
        data["site"] |= {"required_points": list(required)}
        data["search"] |= {"max_spots": 4, "refined_spots": 1, "listed_spots": 2, "sets": 1}
        mission = mission_from_dict(data, base=folder)
        found = planned_again(was or record, mission, None, "plan.json", previous=kept[0])
        kept[0] = found.plan.kept
        return found

    return ask


def test_wind_above_the_stop_alone_asks_for_a_lower_one(windy, record):
    stops = record["mission"]["trailer"]["mast_stops_m"]
    limits = [30.0] * (len(stops) - 1) + [18.0]
    calm = windy(15.0, limits)
    assert calm.stay.lowered is None
    assert calm.stay.stands_wind is True
    assert calm.verdict in ("stay", "depends")
    found = windy(22.0, limits)
    low = found.stay.lowered
    assert record["spots"][0]["coverage"]["mast_height_m"] == stops[-1]
    assert (low.from_m, low.stop_m) == (stops[-1], stops[-2])
    assert low.enough
    assert found.verdict in ("lower", "depends")
    assert found.must_act == (found.verdict == "lower")
    # by hand: gusts of the forecast, over flat ground times the height's factor, pass 12 m/s on the way from 6 at
    # 12:00 to 22 at 14:00 and again from 18:00 to 20:00
    assert low.by.startswith("2026-06-03T12:")
    assert low.until.startswith("2026-06-03T19:")
    words = headline(found)
    assert "lower it to" in words
    assert "by Wed 03 Jun 12:" in words
    assert not told("again", [words, *breaks_lines(found)])
    held = json.loads(json_text(again_record(found)))
    assert held["stay"]["lowered"]["stop_m"] == stops[-2]


def test_wind_above_every_stop_takes_the_mast_down(windy, record):
    found = windy(40.0, [15.0] * len(record["mission"]["trailer"]["mast_stops_m"]))
    low = found.stay.lowered
    assert low.stop_m is None
    assert low.share == 0.0
    assert not low.carried
    assert found.verdict == "down"  # the wind is the same at every spot here: none stands it
    assert all(m.stands_wind is False for m in found.moves)
    assert "no service until Wed 03 Jun" in headline(found)
    assert low.hours == pytest.approx(7, abs=1.0)


def test_a_required_point_that_the_lower_stop_loses_is_a_reason_to_move(windy, record, valley_plan):
    """The lowest stop stands the wind; from there the required point behind the rise has no service."""
    stops = record["mission"]["trailer"]["mast_stops_m"]
    found = windy(22.0, [30.0] + [18.0] * (len(stops) - 1), power_dbm=4.0, required=("ridge",))
    low = found.stay.lowered
    assert low.stop_m == stops[0]
    needed = found.plan.mission.radio.chance_needed
    now = found.stay.evaluation.coverage.must_serve[0].probability
    then = low.evaluation.coverage.must_serve[0].probability
    assert (low.required_lost == ("ridge",)) == (now >= needed > then)
    assert low.required_lost == ("ridge",), (now, then, needed)
    assert not low.enough
    assert found.verdict == ("move" if found.best is not None else "lower")
    assert "ridge" in headline(found)


def test_no_limit_of_the_mast_is_never_calm(windy):
    found = windy(40.0, [])
    assert found.stay.stands_wind is None
    assert found.stay.lowered is None
    assert any("not stated" in line for line in breaks_lines(found))
    if found.verdict == "stay":
        assert "not stated" in headline(found)


def test_hours_in_which_the_mast_is_lower():
    def span(limit, start, end):
        return Span(limit, f"2026-06-03T{start}-06:00", f"2026-06-03T{end}-06:00", 0.0)

    mast, raising = span("mast", "13:00", "18:00"), span("raising", "12:30", "19:00")
    assert hours_down((mast, raising)) == (raising.start, raising.end)
    assert hours_down((mast,)) == (mast.start, mast.end)
    assert hours_down((mast, span("raising", "09:00", "10:00"))) == (mast.start, mast.end)


def test_a_gain_is_held_against_the_doubt_of_both_shares(valley_plan):
    """The shared errors cancel where the two places make the same of them; the spread of the rest by hand."""
    mission = valley_plan.mission
    one, other = (r.evaluation for r in valley_plan.judged[:2])
    even = [
        replace(e, coverage=replace(e.coverage, share=share, share_low=share - 0.1, share_high=share + 0.1,
                                    elevation=None))
        for e, share in ((one, 0.52), (other, 0.50))
    ]  # fmt: skip
    gain = share_gain(*even, mission, 0.50, None)
    assert gain.told == pytest.approx(0.02)
    own = np.hypot(*(doubt_of("coverage", e, mission) / 100 for e in even))
    shared = radio_spread_db(mission) / mission.radio.model_sigma_db * 0.1
    assert (gain.high - gain.low) / 2 / 1.6449 == pytest.approx(own, rel=0.1)  # of the shared 0.1 next to nothing
    assert shared > own / 2
    assert not gain.clear  # 2 % is within the doubt
    assert share_gain(even[0], even[1], mission, 0.50 - 4 * own, None).clear
    # the same draws of the model at both: a place against itself gains nothing, with the doubt of its own errors alone
    assert share_gain(even[0], even[0], mission, 0.52, None) == share_gain(even[0], even[0], mission, 0.52, None)
    assert share_gain(even[0], even[0], mission, 0.52, None).high == pytest.approx(0.0, abs=1e-9)


def test_a_point_is_gained_beyond_its_doubt_alone(valley_plan):
    mission, e = valley_plan.mission, valley_plan.judged[0].evaluation
    point = e.coverage.must_serve[0]
    sigma = mission.radio.sigma_db

    def at_margin(db):
        return replace(point, margin_db=db, probability=float(ndtr(db / sigma)))

    assert not point_gain(at_margin(0.2), at_margin(-0.2), e, mission).clear  # 51 % against 49 %
    assert point_gain(at_margin(8.0), at_margin(-8.0), e, mission).clear


@pytest.fixture(scope="module")
def lost(valley_plan, valley_mission):
    """A mission of two units, and the same without the second, around a trailer that stands as planned."""
    base = load_mission(valley_mission)
    few = {"max_spots": 8, "refined_spots": 1, "listed_spots": 3, "sets": 2}
    data = {**base.parameters(), "units": [{"name": "Unit 1"}, {"name": "Unit 2"}]}
    data["radio"] |= {"tx_power_dbm": -8.0}
    data["search"] |= few
    both = plan(mission_from_dict(data, base=base.base), None, valley_plan.kept)
    alone = mission_from_dict({**data, "units": data["units"][:1]}, base=base.base)
    record = json.loads(json_text(plan_record(both)))
    return both, planned_again(record, alone, None, "plan.json", previous=both.kept)


def test_a_lost_unit_alone_says_what_the_others_serve_and_who_should_move(lost):
    both, found = lost
    left, pair = found.left, both.sets[2]
    assert left.gone == ("Unit 2",)
    assert left.was_share == pytest.approx(pair.area_share)
    stands = {t.unit: t.ranked for t in pair.trailers}
    # by hand: one trailer serves with its own chance alone, on the cells' weights
    area = both.area
    own = {name: r.evaluation.coverage.probability for name, r in stands.items()}
    together = np.maximum(own["Unit 1"], own["Unit 2"]) @ area.weight
    assert left.was_share == pytest.approx(float(together), abs=2e-3)
    assert left.share == pytest.approx(float(own["Unit 1"] @ area.weight), abs=1e-4)
    (unit,) = left.left
    assert (unit.name, unit.evaluation.spot.name) == ("Unit 1", stands["Unit 1"].spot.name)
    assert left.move is None
    assert found.verdict == "stay"
    best = max(float(r.evaluation.coverage.probability @ area.weight) for r in found.plan.judged)
    words = headline(found)
    assert "Lost: Unit 2." in words
    assert "Unit 1 at spot" in words
    assert "No move of one of them is sure to serve more." in words
    assert best - left.share < 0.25
    assert json.loads(json_text(again_record(found)))["units_left"]["gone"] == ["Unit 2"]


def test_the_unit_that_is_left_at_a_poor_place_should_move(lost):
    both, found = lost
    record = json.loads(json_text(plan_record(both)))
    poor = both.judged[-1]
    row = next(t for t in record["sets"]["2"]["trailers"] if t["unit"] == "Unit 1")
    row |= {"spot": poor.spot.name, "latitude": poor.spot.latitude, "longitude": poor.spot.longitude}
    left = units_left(record, found.plan, ("Unit 2",), found.stay.evaluation, False)
    weight = both.area.weight
    assert left.share == pytest.approx(float(poor.evaluation.coverage.probability @ weight), abs=1e-4)
    move = left.move
    assert (move.unit, move.here) == ("Unit 1", poor.spot.name)
    best = max(float(r.evaluation.coverage.probability @ weight) for r in found.plan.judged)
    assert move.share == pytest.approx(best, abs=1e-4)
    assert move.held.told == pytest.approx(move.share - left.share)
    assert move.held.clear
    assert move.off.mean_min > 60
    asked = replace(found, left=left)
    assert asked.verdict == "depends"
    assert f"Moving Unit 1 from spot {poor.spot.name} to spot {move.there}" in headline(asked)
    assert not told("again", [headline(asked)])
