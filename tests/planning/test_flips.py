"""What would make another spot first, in units, with its chance; roads that take several spots out; near ties."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from siteplanner.planning.choose.certainty import draw
from siteplanner.planning.choose.how_sure import how_sure
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.spots.backhaul import by_satellite
from siteplanner.planning.spots.lines import Backhaul
from siteplanner.planning.telling.certainty import first_if_words, flips_words, ties_words
from siteplanner.planning.telling.units import METRIC
from siteplanner.roads.near_limit import NearLimit
from tests.planning.test_certainty import NONE, doubts
from tests.planning.test_scoring import MISSION, evaluation

STEEP = NearLimit(7, "Bench Road", 13.5, 1.5, 15.0, False)


def ranked(*made):
    return rank(made, MISSION)


def behind(e, *roads):
    return replace(e, access=replace(e.access, near_limit=roads))


def placed(e, x):
    return replace(e, spot=replace(e.spot, x=float(x)))


def flip_of(firm, spot, criterion="", cause=""):
    return next(f for f in firm.flips if (f.spot, f.criterion, f.cause) == (spot, criterion, cause))


def rescored(spots, changed):
    """Who is first when one spot's evaluation is another one."""
    return rank([changed if r.spot.name == changed.spot.name else r.evaluation for r in spots], MISSION)[0].spot.name


@pytest.mark.parametrize(
    ("criterion", "change"),
    [
        ("access", lambda e, by: replace(e, access=replace(e.access, drive_time_s=e.access.drive_time_s + 60 * by))),
        ("coverage", lambda e, by: replace(e, coverage=replace(e.coverage, share=e.coverage.share - by / 100))),
        ("ground", lambda e, by: replace(e, ground=replace(e.ground, slope_deg=e.ground.slope_deg + by))),
    ],
)
def test_the_smallest_change_is_the_one_at_which_the_order_turns(criterion, change):
    """Judged again with a little less of it the first stays, with a little more another leads."""
    spots = ranked(evaluation("A", share=0.62, minutes=20), evaluation("B", share=0.60, minutes=22))
    flip = flip_of(how_sure(spots, MISSION).firmness, "A", criterion)
    assert (flip.leader, spots[0].spot.name) == ("B", "A")
    assert rescored(spots, change(spots[0].evaluation, 0.999 * flip.amount)) == "A"
    assert rescored(spots, change(spots[0].evaluation, 1.001 * flip.amount)) == "B"


def test_a_rival_that_gets_better_takes_the_lead():
    spots = ranked(evaluation("A", share=0.62), evaluation("B", share=0.60), evaluation("C", share=0.57))
    firm = how_sure(spots, MISSION).firmness
    assert flip_of(firm, "B", "coverage").amount == pytest.approx(2.0, abs=1e-6)
    assert flip_of(firm, "C", "coverage").amount == pytest.approx(5.0, abs=1e-6)
    assert flip_of(firm, "C", "coverage").leader == "C"
    # every reader is told: the sentence of sheet, map and page, and the option's own line
    told = flips_words(firm)
    assert "spot B serves at least 62 % of the weighted area" in told
    assert "Spot C leads if spot C serves at least 62 % of the weighted area" in told
    chance = flip_of(firm, "C", "coverage").chance
    assert first_if_words(firm, "C").endswith(f"62 % of the weighted area (chance {METRIC.share(chance)}).")
    assert first_if_words(firm, "A") == ""


def test_what_no_change_of_a_figure_can_do_is_no_flip():
    far = ranked(evaluation("A", share=0.9, minutes=5), evaluation("B", share=0.1, minutes=50))
    assert not [f for f in how_sure(far, MISSION).firmness.flips if f.criterion in ("ground", "backhaul")]
    assert flips_words(how_sure(far, MISSION).firmness) == ""


def test_the_chance_of_a_flip_is_that_of_the_spots_own_error():
    """Two spots are no sample: the drive errs by 15 % of 30 min, and 6 min more hand the lead over."""
    spots = ranked(evaluation("A", minutes=30), evaluation("B", minutes=36))
    flip = flip_of(how_sure(spots, MISSION, 40_000).firmness, "A", "access")
    assert flip.amount == pytest.approx(6.0, abs=1e-6)
    assert flip.chance == pytest.approx(norm.sf(6 / 4.5), abs=0.005)


def test_a_road_too_steep_takes_every_spot_behind_it():
    """A and B hang on one road, C does not: with A goes B, and C leads."""
    spots = ranked(
        behind(evaluation("A", share=0.7), STEEP),
        behind(evaluation("B", share=0.65), STEEP),
        evaluation("C", share=0.6),
    )
    drawn = draw(spots, doubts(**NONE), 40_000)
    lost = drawn.lost("road")
    assert (lost[0] == lost[1]).all()
    assert lost[0].mean() == pytest.approx(norm.sf(1.0), abs=0.01)
    assert not lost[2].any()
    firm = how_sure(spots, MISSION).firmness
    flip = flip_of(firm, "A", cause="road")
    assert (flip.leader, flip.road, flip.amount) == ("C", "Bench Road", pytest.approx(1.5))
    assert flip.chance == pytest.approx(norm.sf(1.0))
    assert "Spot C leads if Bench Road is too steep for the rig (16 %)" in flips_words(firm)
    sure = how_sure(spots, MISSION).certainty[spots[0].spot.key]
    assert dict(sure.lost)["road"] == pytest.approx(norm.sf(1.0), abs=0.03)
    assert sure.lost_chance >= dict(sure.lost)["road"]


def test_a_road_with_a_way_round_takes_nothing():
    spots = ranked(behind(evaluation("A", share=0.7), replace(STEEP, way_round=True)), evaluation("B", share=0.65))
    assert not draw(spots, MISSION).lost("road").any()
    assert not [f for f in how_sure(spots, MISSION).firmness.flips if f.cause]


def test_a_gentler_part_of_the_same_road_is_lost_only_with_the_steeper_one():
    gentle = replace(STEEP, segment=9, grade_pct=12.5)
    spots = ranked(behind(evaluation("A", share=0.7), STEEP), behind(evaluation("B", share=0.65), gentle))
    steep, less = draw(spots, MISSION, 20_000).lost("road")
    assert less.sum() < steep.sum()
    assert not (less & ~steep).any()


def test_where_every_spot_hangs_on_a_road_none_may_pass():
    spots = ranked(behind(evaluation("A", share=0.7), STEEP), behind(evaluation("B", share=0.65), STEEP))
    firm = how_sure(spots, doubts(**NONE), 20_000).firmness
    assert firm.none_chance == pytest.approx(norm.sf(1.0), abs=0.01)
    assert flip_of(firm, "A", cause="road").leader == ""
    assert "Bench Road" not in flips_words(firm)


def test_a_second_backhaul_keeps_a_spot_whose_sky_is_blocked():
    mission = MISSION.model_copy(
        update={"backhaul": MISSION.backhaul.model_copy(update={"wanted": ("geostationary", "open_sky")})}
    )
    e = evaluation("A", margin=2.5)
    dish = by_satellite(mission.sky, e.sky)
    alone = replace(e, backhauls=(dish, Backhaul("open_sky", "fails", 0.2, "share")))
    both = replace(e, backhauls=(dish, Backhaul("open_sky", "works", 0.99, "share")))
    lost = draw(rank([alone], mission), mission, 20_000).lost("backhaul")
    assert lost.mean() == pytest.approx(norm.cdf(-0.5), abs=0.01)  # half a degree to spare, known to one
    assert not draw(rank([both], mission), mission).lost("backhaul").any()


def test_the_ground_is_lost_as_often_as_its_own_chance_says():
    from siteplanner.core.parking import chance_above

    e = evaluation("A", slope=4.0)
    e = replace(e, ground=replace(e.ground, slope_uncertainty_deg=1.2))
    lost = draw(ranked(e), MISSION, 40_000).lost("ground")
    assert lost.mean() == pytest.approx(chance_above(4.0, 5.0, 1.2), abs=0.01)


def test_spots_that_share_their_errors_are_told_apart_and_others_tie():
    """The radio model moves both alike: what parts them is their own error alone."""
    alike = doubts(**(NONE | {"share": 0.001}))
    made = []
    for e in (evaluation("A", share=0.55), evaluation("B", share=0.53)):
        ends = {"share_low": e.coverage.share - 0.1, "share_high": e.coverage.share + 0.1}
        made.append(replace(e, coverage=replace(e.coverage, **ends)))
    assert how_sure(rank(made, alike), alike).firmness.ties == ()
    wide = doubts(**(NONE | {"share": 0.05}))
    firm = how_sure(rank(made, wide), wide, 20_000).firmness
    (tied,) = firm.ties
    assert (tied.spot, tied.rank) == ("B", 2)
    assert tied.ahead_chance == pytest.approx(norm.cdf(-0.02 / math.hypot(0.05, 0.05)), abs=0.02)
    assert ties_words(firm).startswith("A near tie: spot B is ahead of it with a chance of")


def test_a_group_of_alike_spots_is_told_as_a_group():
    spots = ranked(*(placed(evaluation(n, share=0.6 - 0.001 * k), k) for k, n in enumerate("ABCDEF")))
    firm = how_sure(spots, MISSION).firmness
    assert {t.spot for t in firm.ties} == set("BCDEF")
    assert "and 2 more are each ahead of it" in ties_words(firm)
    assert sum(t.best_chance for t in firm.ties) + firm.best_chance == pytest.approx(1.0)


def test_the_errors_that_all_share_leave_the_mean_where_it_was_told():
    from siteplanner.planning.choose.shared_errors import Shared, points_off, share_off

    e = evaluation(share=0.7).coverage
    served = replace(e, share_low=0.62, share_high=0.77)
    z = np.random.default_rng(3).standard_normal(200_000)
    moved = share_off(served, Shared(z, z), MISSION)
    assert moved.mean() == pytest.approx(0.0, abs=0.05)
    assert np.percentile(moved, 16) == pytest.approx(-8, abs=1.0)  # one error down is what was told, season on top
    assert (np.diff(moved[np.argsort(z)]) >= 0).all()
    assert points_off(served, Shared(z, z), MISSION).mean() == pytest.approx(0.0, abs=0.2)


def test_certainty_is_quick():
    """300 spots, 2,000 draws: well under a second and a half of processor time."""
    import time

    rng = np.random.default_rng(1)
    made = []
    for k in range(300):
        e = evaluation(
            "A", share=float(rng.uniform(0.3, 0.9)), minutes=float(rng.uniform(5, 50)), margin=9.0, slope=1.0
        )
        e = replace(e, ground=replace(e.ground, slope_uncertainty_deg=1.0))
        e = replace(
            e, coverage=replace(e.coverage, share_low=e.coverage.share - 0.1, share_high=e.coverage.share + 0.1)
        )
        made.append(placed(behind(replace(e, spot=replace(e.spot, name=f"s {k}")), STEEP), k))
    spots = rank(made, MISSION)
    how_sure(spots[:5], MISSION)
    start = time.process_time()
    how_sure(spots, MISSION)
    assert time.process_time() - start < 1.5
