"""How sure the places are: every doubt drawn again, the best of many told too high, limits that may break."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from siteplanner.planning.choose.certainty import DRAWS, doubt_of, leeway, shifted, true_figure
from siteplanner.planning.choose.how_sure import how_sure
from siteplanner.planning.choose.scoring import firmness, rank
from siteplanner.planning.telling.certainty import figures_words
from siteplanner.planning.telling.record import spot_record
from tests.planning.test_scoring import MISSION, evaluation


def doubts(**figures):
    return MISSION.model_copy(update={"doubts": MISSION.doubts.model_copy(update=figures)})


NONE = {
    "share": 0.0,
    "must_serve": 0.0,
    "drive_share": 0.0,
    "sky_margin_deg": 0.0,
    "link_margin_db": 0.0,
    "season_db": 0.0,
    "handset_db": 0.0,
    "weights": 0.0,
}


def certainties(spots, mission, draws=DRAWS):
    return how_sure(spots, mission, draws).certainty


def some_spots(seed, count=12):
    rng = np.random.default_rng(seed)
    made = [
        replace(
            e := evaluation("A", *(float(v) for v in (rng.uniform(0.3, 0.9), rng.uniform(2, 15), rng.uniform(0, 5)))),
            spot=replace(e.spot, name=f"spot {n}", x=float(n)),
            access=replace(e.access, drive_time_s=60 * float(rng.uniform(5, 60))),
        )
        for n in range(count)
    ]
    return rank(made, MISSION)


def test_the_true_figure_given_the_told_one_is_that_of_two_normals():
    """True figures about 50 with 6, errors of 5: those told above 60 are truly as far off as the closed form says."""
    rng = np.random.default_rng(5)
    true = rng.normal(50, 6, 200_000)
    told = true + rng.normal(0, 5, len(true))
    mean, sd = true_figure(told, np.full(len(told), 5.0))
    high = told > 60
    assert mean[high].mean() == pytest.approx(true[high].mean(), abs=0.1)  # three standard errors
    assert sd[0] == pytest.approx(math.sqrt(36 * 25 / 61), abs=0.02)
    assert (true - mean)[high].std() == pytest.approx(sd[0], abs=0.05)


def test_without_errors_the_first_is_the_best():
    spots = some_spots(3)
    exact = MISSION.radio.model_copy(update={"model_sigma_db": 0.0})
    sure = certainties(spots, doubts(**NONE).model_copy(update={"radio": exact}))
    assert sure[spots[0].spot.key].best_chance == pytest.approx(1.0)
    assert sure[spots[0].spot.key].score_mean == pytest.approx(spots[0].score)
    assert sum(c.best_chance for c in sure.values()) == pytest.approx(1.0)


def test_a_lead_within_the_errors_is_no_certain_place():
    """Two spots that differ by their share alone: the chance is that of a difference of two normal errors."""
    spots = rank([evaluation("A", share=0.62), evaluation("B", share=0.58)], MISSION)
    sure = certainties(spots, doubts(**(NONE | {"share": 0.05})), draws=40_000)
    apart = math.hypot(0.05 * leeway(0.62), 0.05 * leeway(0.58))  # a share moves less the farther it is from a half
    assert sure[spots[0].spot.key].best_chance == pytest.approx(norm.cdf(0.04 / apart), abs=0.01)
    figure = next(f for f in sure[spots[0].spot.key].figures if f.name == "coverage")
    # 5 points hold at a half: toward all, the normal distribution is less steep
    doubt = 5 * norm.pdf(norm.ppf(0.62)) / norm.pdf(0)
    assert (figure.value, figure.doubt) == (pytest.approx(62.0), pytest.approx(doubt))
    assert figure.low == pytest.approx(62 - 1.645 * doubt, abs=0.2)
    assert figure.high == pytest.approx(62 + 1.645 * doubt, abs=0.2)


def test_the_best_of_many_alike_spots_is_told_too_high():
    """100 spots whose told shares differ by noise alone: the first is lucky, and its chance is one of a hundred."""
    rng = np.random.default_rng(11)
    made = []
    for n, share in enumerate(rng.normal(0.5, 0.05, 100)):
        e = evaluation("A", share=float(share))
        made.append(replace(e, spot=replace(e.spot, name=f"s {n}", x=float(n))))
    spots = rank(made, MISSION)
    sure = certainties(spots, doubts(**(NONE | {"share": 0.05})))
    first = sure[spots[0].spot.key]
    lead = spots[0].score - sum(r.score for r in spots) / 100
    assert spots[0].score - first.score_mean == pytest.approx(lead, rel=0.35)
    assert first.best_chance < 0.2
    assert firmness(spots).whatever_the_weights  # which says nothing of all this


def test_each_figure_has_a_doubt_of_its_own_kind():
    e = evaluation(minutes=30)
    e = replace(e, ground=replace(e.ground, slope_uncertainty_deg=0.6))
    got = {name: doubt_of(name, e, MISSION) for name in ("coverage", "must_serve", "backhaul", "ground", "access")}
    assert got == pytest.approx({"coverage": 5, "must_serve": 10, "backhaul": 1, "ground": 0.6, "access": 4.5})


def test_certainty_stands_in_the_record_and_in_words(valley_plan):
    firm = valley_plan.firmness
    assert firm.judged == len(valley_plan.judged)
    sure = [r.certainty for r in valley_plan.spots]
    assert all(c is not None and 0 <= c.best_chance <= 1 for c in sure)
    assert sure[0].best_chance == firm.best_chance
    record = spot_record(valley_plan.best)["certainty"]
    assert record["best_chance"] == sure[0].best_chance
    assert {f["name"] for f in record["figures"]} == {c.name for c in valley_plan.best.criteria}
    for c, r in zip(sure, valley_plan.spots, strict=True):
        assert c.score_low <= c.score_mean <= c.score_high
        assert all(f.low <= f.high for f in c.figures)
        assert r.score >= 0
    assert f"the best of {firm.judged} judged with a chance of" in figures_words(firm)


def test_the_same_plan_gives_the_same_certainty():
    spots = some_spots(8)
    assert certainties(spots, MISSION) == certainties(spots, MISSION)


@pytest.mark.parametrize("name", ["coverage", "must_serve", "access", "ground", "backhaul"])
def test_a_spot_whose_figure_is_off_is_else_the_same_one(valley_plan, name):
    """As the standard library's way of changing a frozen fact would make it; the spot itself stays as it is."""
    e = valley_plan.judged[3].evaluation
    before, by = repr(e), -0.125
    made = shifted(name, e, by)
    points = e.coverage.must_serve
    mean = sum(p.probability for p in points) / len(points)
    fields = {
        "coverage": {"coverage": replace(e.coverage, share=e.coverage.share + by / 100)},
        "must_serve": {
            "coverage": replace(e.coverage, must_serve=(replace(points[0], probability=max(mean + by / 100, 0.0)),))
        },
        "access": {"access": replace(e.access, drive_time_s=e.access.drive_time_s + 60 * by)},
        "ground": {"ground": replace(e.ground, slope_deg=max(e.ground.slope_deg + by, 0.0), slope_uncertainty_deg=0.0)},
        "backhaul": {
            "sky": tuple(replace(look, margin_deg=look.margin_deg + by) for look in e.sky),
            "backhauls": tuple(replace(b, margin=b.margin + by) for b in e.backhauls),
        },
    }
    assert all(b.kind != "open_sky" for b in e.backhauls)
    assert repr(made) == repr(replace(e, **fields[name])) != before
    assert repr(e) == before
