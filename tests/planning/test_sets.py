"""Several trailers: the best sets by brute force, units that differ, one channel, what is told of them."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from siteplanner import load_mission, plan
from siteplanner.errors import InputError
from siteplanner.mission import Weights
from siteplanner.planning.choose.set_value import objective
from siteplanner.planning.choose.sets import trailer_sets
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.plan.saved import decoded, encoded
from siteplanner.planning.plan.sets_of import plan_of_unit
from siteplanner.planning.spots.levels import levels_of
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.sets import (
    channel_sentence,
    objective_sentence,
    pair_line,
    set_sentence,
    sheet_lines,
    steep_sentence,
)
from tests.planning.conftest import CRS, at, write_mission


@pytest.fixture(scope="module")
def weak_plan(tmp_path_factory):
    """The valley with a small cell that no spot serves all of it with."""
    radio = "max_radius_m = 350"
    return plan(load_mission(write_mission(tmp_path_factory.mktemp("sets"), spots=40, radio=radio)))


def served(ranked):
    """Probabilities of a spot: cells of the area, then named points."""
    c = ranked.evaluation.coverage
    return np.concatenate([c.probability.astype(float), [p.probability for p in c.must_serve]])


def best_by_brute_force(planned, size):
    """The largest value over all sets of so many judged spots that keep the spacing."""
    spots = planned.judged
    value = objective(planned.mission, planned.judge.study.area_cells, len(spots[0].evaluation.coverage.must_serve))
    chance = {r.spot.key: served(r) for r in spots}
    best = -1.0
    for chosen in itertools.combinations(spots, size):
        near = any(
            math.hypot(a.spot.x - b.spot.x, a.spot.y - b.spot.y) < planned.set_spacing_m - 1e-6
            for a, b in itertools.combinations(chosen, 2)
        )
        if not near:
            best = max(best, float((np.max([chance[r.spot.key] for r in chosen], 0) * value).sum()))
    return best


def with_units(folder, units, **changes):
    path = write_mission(folder, **changes)
    file = Path(path)
    file.write_text(file.read_text("utf-8") + "\n" + units, encoding="utf-8")
    return load_mission(path)


def test_the_best_sets_equal_brute_force(weak_plan):
    assert set(weak_plan.sets) == {1, 2, 3}
    assert weak_plan.sets[1].share < weak_plan.sets[2].share - 0.02  # so that the choice matters
    for size in (1, 2, 3):
        found = weak_plan.sets[size]
        assert found.value == pytest.approx(best_by_brute_force(weak_plan, size), abs=1e-7)
        assert found.optimal
        assert found.bound == found.value
        assert len(found.spots) == len(found.trailers) == size


def steeper(group, keys):
    """The group, the spots of these keys more likely than not too steep."""
    return replace(
        group,
        judged=tuple(
            replace(r, evaluation=replace(r.evaluation, ground=replace(r.evaluation.ground, steep_chance=0.9)))
            if r.spot.key in keys
            else r
            for r in group.judged
        ),
    )


def sets_with(planned, keys, required=()):
    group = steeper(planned.fleet[0], keys)
    judged = sorted(group.judged, key=lambda r: (r.spot.key in keys, r.rank))
    area, mission = planned.judge.study.area_cells, planned.mission
    return trailer_sets((group,), area, mission, planned.set_spacing_m, judged, None, required)


def test_no_trailer_is_sent_where_it_is_likely_too_steep_while_other_spots_pass(weak_plan):
    avoided = {r.spot.key for size in (1, 2) for r in weak_plan.sets[size].spots}
    made = sets_with(weak_plan, avoided)
    level = replace(weak_plan, judged=tuple(r for r in weak_plan.judged if r.spot.key not in avoided))
    for size in (1, 2):
        assert not {r.spot.key for r in made.by_size[size].spots} & avoided
        assert made.by_size[size].value == pytest.approx(best_by_brute_force(level, size), abs=1e-7)
        assert steep_sentence(made.by_size[size]) == ""
    assert not {r.spot.key for r in made.beside_first.spots} & avoided
    # with nothing else there, the best of what there is, and it is said
    every = {r.spot.key for r in weak_plan.judged}
    last = sets_with(weak_plan, every).by_size[2]
    assert {r.spot.key for r in last.spots} == {r.spot.key for r in weak_plan.sets[2].spots}
    first, second = (r.spot.name for r in last.spots)
    assert set_sentence(last).endswith(
        f" Spot {first} and Spot {second} are more likely than not too steep at the trailer's size."
    )


def test_where_only_a_steep_spot_serves_a_required_point_it_stays_and_is_said(weak_plan):
    serving = [r for r in weak_plan.judged if r.evaluation.coverage.must_serve[0].probability >= 0.9]
    assert 0 < len(serving) < len(weak_plan.judged)
    made = sets_with(weak_plan, {r.spot.key for r in serving}, (True,)).by_size[2]
    steep = [r for r in made.spots if r.spot.key in {s.spot.key for s in serving}]
    assert len(steep) >= 1
    assert steep[0].spot.name in steep_sentence(made)


def test_what_is_told_of_a_set_is_what_its_spots_serve_together(weak_plan):
    found, area = weak_plan.sets[2], weak_plan.judge.study.area_cells
    together = np.max([served(r) for r in found.spots], 0)
    cells = len(area.weight)
    assert found.share == pytest.approx(float((together[:cells] * area.weight).sum()), abs=1e-6)
    assert found.area_share == pytest.approx(float(together[:cells].mean()), abs=1e-6)
    assert [p.probability for p in found.points] == pytest.approx(together[cells:], abs=1e-6)
    assert found.points_served == int((together[cells:] >= 0.5).sum())
    assert found.polygons[0].share == pytest.approx(found.area_share, abs=1e-6)
    first, second = found.trailers
    assert first.share_after == pytest.approx(first.ranked.evaluation.coverage.share, abs=1e-5)
    assert second.share_after == found.share
    assert second.likely_min == second.ranked.evaluation.on_air.likely_min


def test_the_second_trailer_beside_the_best_spot_is_the_best_of_all_seconds(weak_plan):
    one = weak_plan.beside_first
    assert one.trailers[0].ranked is weak_plan.best
    value = objective(weak_plan.mission, weak_plan.judge.study.area_cells, 1)
    at_best, best = served(weak_plan.best), weak_plan.best.spot
    worths = [
        float((np.maximum(at_best, served(r)) * value).sum())
        for r in weak_plan.judged
        if math.hypot(r.spot.x - best.x, r.spot.y - best.y) >= weak_plan.set_spacing_m
    ]
    assert one.value == pytest.approx(max(worths), abs=1e-7)


def test_spots_of_a_set_are_handed_over_in_full_at_their_rank(weak_plan):
    listed = {r.spot.key: r for r in weak_plan.spots}
    for found in (*weak_plan.sets.values(), weak_plan.beside_first):
        for r in found.spots:
            assert listed[r.spot.key] is r
            assert r.on_site is not None
            assert r.evaluation.access.told is not None
    ranks = [r.rank for r in weak_plan.spots]
    assert ranks == sorted(ranks)
    by_key = {r.spot.key: r.rank for r in weak_plan.judged}
    assert all(by_key[r.spot.key] == r.rank for r in weak_plan.spots)


def test_other_weights_lead_to_the_sets_of_a_new_plan(weak_plan):
    weights = weak_plan.mission.weights.model_copy(update={"coverage": 1.0, "must_serve": 9.0})
    moved = rescore(weak_plan, weights)
    for size in (1, 2, 3):
        assert moved.sets[size].value == pytest.approx(best_by_brute_force(moved, size), abs=1e-7)
    nothing = rescore(weak_plan, Weights(coverage=0, must_serve=0, backhaul=1, ground=0, access=0))
    assert nothing.sets[2].value == pytest.approx(nothing.sets[2].share)  # the share alone where neither counts


def test_a_saved_plan_keeps_its_sets(weak_plan):
    back = decoded(*encoded(weak_plan))
    assert {k: s.value for k, s in back.sets.items()} == {k: s.value for k, s in weak_plan.sets.items()}
    assert sheet_lines(back) == sheet_lines(weak_plan)


def test_units_alike_but_for_their_start_share_one_judgement_of_service(tmp_path):
    """The drive is judged again, the service is not; the later unit waits, and each drives from its own place."""
    import geopandas as gpd
    from shapely.geometry import Point

    (lon, lat), (lon2, lat2) = (
        gpd.GeoSeries([Point(at(*xy))], crs=CRS).to_crs(4326).iloc[0].coords[0] for xy in ((200, 900), (2500, 900))
    )
    units = "\n".join(
        [
            f'[[staging]]\nname = "West"\nlatitude = {lat:.8f}\nlongitude = {lon:.8f}',
            f'[[staging]]\nname = "East"\nlatitude = {lat2:.8f}\nlongitude = {lon2:.8f}',
            '[[units]]\nname = "One"\nstaging = "West"',
            '[[units]]\nname = "Two"\nstaging = "East"\nready_from = 2026-06-03T05:25:00-06:00',
        ]
    )
    path = write_mission(tmp_path / "m", times="dispatch = 2026-06-03T04:40:00-06:00")
    file = Path(path)
    text = file.read_text("utf-8")
    start = text.index("[staging]")
    text = text[:start] + text[text.index("[", start + 1) :] + "\n" + units
    file.write_text(text, encoding="utf-8")
    planned = plan(load_mission(path))
    assert set(planned.sets) == {1, 2}  # two units, so no set of three
    assert [g.names for g in planned.fleet] == [("One",), ("Two",)]
    by_unit = {t.unit: t for t in planned.sets[2].trailers}
    assert set(by_unit) == {"One", "Two"}
    assert by_unit["One"].start == "West"
    assert by_unit["Two"].start == "East"
    two = by_unit["Two"]
    assert two.ready_min == 45
    assert two.likely_min == pytest.approx(45 + two.ranked.evaluation.on_air.likely_min)
    # what both could serve is the same, spot by spot
    coverage = [{r.spot.key: r.evaluation.coverage for r in g.judged} for g in planned.fleet]
    same = coverage[0].keys() & coverage[1].keys()
    assert len(same) > 5
    assert all(coverage[0][k] is coverage[1][k] for k in same)
    theirs, ranked = plan_of_unit(planned, two)
    assert theirs.mission.times.dispatch == planned.mission.units[1].ready_from
    assert "Two" in theirs.mission.name
    assert ranked.spot.key == two.ranked.spot.key


def test_a_unit_with_another_radio_is_judged_by_it_and_goes_where_that_serves_most(tmp_path):
    """Assignment of units to spots, by brute force over both."""
    mission = with_units(
        tmp_path / "m",
        '[[units]]\nname = "Strong"\n[[units]]\nname = "Weak"\n[units.radio]\ntx_power_dbm = 3\n'
        "[units.trailer]\nmast_stops_m = [4.0]",
        radio="tx_power_dbm = 23\nmodel_sigma_db = 2",
    )
    planned = plan(mission)
    strong, weak = planned.fleet
    assert strong.names == ("Strong",)
    assert weak.mission.radio.tx_power_dbm == 3
    assert weak.mission.radio.frequency_mhz == mission.radio.frequency_mhz
    share = [{r.spot.key: r.evaluation.coverage.share for r in g.judged} for g in planned.fleet]
    assert all(share[1][k] < share[0][k] for k in share[0].keys() & share[1].keys())
    assert all(r.evaluation.coverage.mast_height_m == 4 for r in weak.judged)
    value = objective(planned.mission, planned.judge.study.area_cells, 1)
    best = max(
        float((np.maximum(served(a), served(b)) * value).sum())
        for a in strong.judged
        for b in weak.judged
        if math.hypot(a.spot.x - b.spot.x, a.spot.y - b.spot.y) >= planned.set_spacing_m - 1e-6
    )
    assert planned.sets[2].value == pytest.approx(best, abs=1e-7)
    assert {t.unit for t in planned.sets[2].trailers} == {"Strong", "Weak"}
    assert planned.sets[1].trailers[0].unit == "Strong"
    # of one place both speak by one name
    named = {r.spot.key: r.spot.name for r in strong.judged}
    assert all(named.get(r.spot.key, r.spot.name) == r.spot.name for r in weak.judged)


def test_a_unit_whose_rig_is_too_high_gets_no_spot_that_it_cannot_reach(tmp_path):
    """Another rig has roads of its own: here none is high enough for it."""
    mission = with_units(
        tmp_path / "m",
        '[[units]]\nname = "Low"\n[[units]]\nname = "High"\n[units.rig]\nmass_kg = 5000\nforbidden_surfaces = []\n'
        "turning_radius_m = 99\n",
    )
    planned = plan(mission)
    assert [g.names for g in planned.fleet] == [("Low",), ("High",)]
    assert planned.fleet[1].judge.study.mission.rig.turning_radius_m == 99
    for e in (r.evaluation for r in planned.fleet[1].judged):
        assert not e.failed
    assert np.array_equal(planned.fleet[1].judge.study.area_cells.rows, planned.judge.study.area_cells.rows)


def test_one_channel_is_never_better_and_its_best_pair_is_that_of_brute_force(tmp_path):
    made = write_mission(
        tmp_path / "m",
        radio="shared_channel = true\nload_factor = 1.0\ntx_power_dbm = -10\nmax_radius_m = 500",
        search="sets = 2",
    )
    planned = plan(load_mission(made))
    found = planned.sets[2]
    assert found.share_one_channel < found.share_own_channels - 0.005  # so that it matters here
    assert found.one_channel
    assert found.share == found.share_one_channel
    assert found.share_one_channel <= found.share_own_channels + 1e-9
    value = objective(planned.mission, planned.judge.study.area_cells, 1)
    levels = {}
    for r in planned.judged:
        c = r.evaluation.coverage
        levels[r.spot.key] = levels_of(
            planned.judge.service, r.spot, r.spot.cell, c.mast_height_m, c.sector_bearings_deg
        )

    def together(a, b):
        """SINR by the plain formula, in decibels and powers."""
        best = np.zeros(len(value))
        for own, other in ((levels[a.spot.key], levels[b.spot.key]), (levels[b.spot.key], levels[a.spot.key])):
            noise_and_other = 1 + 10 ** (other.sent_db.astype(float) / 10)
            left = own.signal_db - 10 * np.log10(noise_and_other) - own.needed_snr_db
            chance = 0.5 * np.array([math.erfc(-m / math.sqrt(2)) for m in np.fmin(own.margin_db, left) / own.sigma_db])
            best = np.maximum(best, np.where(own.reached, chance, 0.0))
        best[-1] = min(best[-1], planned.mission.radio.most_certain_at_point)
        return float((best * value).sum())

    some = planned.judged[:12]
    far = [
        (a, b)
        for a, b in itertools.combinations(some, 2)
        if math.hypot(a.spot.x - b.spot.x, a.spot.y - b.spot.y) >= planned.set_spacing_m - 1e-6
    ]
    assert found.value >= max(together(a, b) for a, b in far) - 1e-6
    assert found.value == pytest.approx(together(*found.spots), abs=1e-6)
    assert found.optimal
    alone = levels[planned.best.spot.key]
    c = planned.best.evaluation.coverage
    chance = 0.5 * np.array([math.erfc(-m / math.sqrt(2)) for m in alone.margin_db / alone.sigma_db])
    cells = len(planned.judge.study.area_cells.weight)
    assert np.where(alone.reached, chance, 0)[:cells] == pytest.approx(c.probability, abs=1e-4)
    assert min(chance[-1], 0.95) == pytest.approx(c.must_serve[0].probability, abs=1e-6)
    assert "channel" in channel_sentence(found)


@pytest.mark.parametrize(
    ("units", "said", "field"),
    [
        ('[[units]]\nname = "A"\nstaging = "Nowhere"', "no staging point", "units[1].staging"),
        (
            '[[units]]\nname = "A"\nready_from = 2026-06-03T05:25:00-06:00',
            "needs times.dispatch",
            "units[1].ready_from",
        ),
        ('[[units]]\nname = "A"\n[[units]]\nname = "A"', "different names", None),
        ('[[units]]\nname = "A"\n[units.radio]\ntx_power_dbm = 99', "at most 60", "units[1].radio.tx_power_dbm"),
        ('[[units]]\nname = "A"\n[units.radio]\npower = 9', "no such field", "units[1].radio.power"),
        ('[[units]]\nname = ""', "", "units[1].name"),
    ],
)
def test_a_unit_that_cannot_be_is_refused_with_its_field(tmp_path, units, said, field):
    with pytest.raises(InputError) as caught:
        with_units(tmp_path / "m", units)
    assert said in str(caught.value)
    if field is not None:
        assert caught.value.field == field


def test_words_and_record_say_the_same_set(weak_plan):
    record = plan_record(weak_plan)
    assert set(record["sets"]) == {"1", "2", "3"}
    two = record["sets"]["2"]
    assert two["share"] == weak_plan.sets[2].share
    assert two["optimal"] is True
    assert two["bound"] == weak_plan.sets[2].bound
    assert two["spots"] == [r.spot.name for r in weak_plan.sets[2].spots]
    assert two["spots"][0] in pair_line(weak_plan)
    assert "200 m apart" not in objective_sentence(weak_plan)
    assert f"{weak_plan.set_spacing_m:.0f} m apart" in objective_sentence(weak_plan)
    lines = sheet_lines(weak_plan)
    assert lines[0].startswith(f"A second trailer: Spot {weak_plan.beside_first.trailers[1].ranked.spot.name} (")
    assert not any("dB" in line or "weights." in line for line in lines)
