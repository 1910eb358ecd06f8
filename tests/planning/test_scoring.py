"""Scores add up, weights move the order, ties are settled the same way every time."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.errors import Finding
from siteplanner.mission import Weights, mission_from_dict
from siteplanner.planning.choose.scoring import firmness, measure, place_by, rank, score
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.spots.evaluation import Access, Coverage, Evaluation, Ground, PointService
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import slope_cell
from siteplanner.planning.telling.score import behind_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN

MISSION = mission_from_dict(
    {
        "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson", "must_serve": "m.geojson"},
        "staging": {"latitude": 45, "longitude": -113},
    }
)


def evaluation(name="A", share=0.5, margin=8.5, slope=2.5, minutes=30.0, must=0.5, failed=()):
    spot = Spot(name, 0.0, float(ord(name[0])), 45.0, -113.0, "", 1500.0)
    ground = Ground(slope, 0.0, 0.0, slope, {}, 0.0, 10.0)
    look = Look("s", -103.0, 200.0, 190.0, 35.0, 5.0, 35.0 - margin, margin, math.inf, "clear")
    points = (PointService("camp", 45, -113, must, 3.0, 100.0, 10.0),)
    coverage = Coverage(share, 1.0, 12.0, (10.0, 190.0), points, ((12.0, share),))
    access = Access(minutes * 60, None, None)
    return Evaluation(spot, ground, (look,), coverage, access, None, failed)


def weighing(weights):
    return MISSION.model_copy(update={"weights": weights})


def test_utilities_by_hand():
    # margin 8.5 between 2 and 15 is a half, slope 2.5 of 5 is a half, 30 of 60 min is a half
    measured = measure(evaluation(), MISSION)
    assert {name: utility for name, (_, utility) in measured.items()} == pytest.approx(
        {"coverage": 0.5, "must_serve": 0.5, "backhaul": 0.5, "ground": 0.5, "access": 0.5}
    )
    assert measured["coverage"][0] == pytest.approx(50)
    assert measured["access"][0] == pytest.approx(30)


def test_ground_that_may_be_too_steep_earns_what_it_may_be_expected_to():
    """Utility as the mean over the true slope, by random draws of it; the slope told stays the figure shown."""
    flat = evaluation(slope=1.0)
    unsure = replace(flat, ground=replace(flat.ground, slope_uncertainty_deg=4.0))
    told, doubt = math.tan(math.radians(1.0)), math.tan(math.radians(4.0))
    parts = np.random.default_rng(1).normal(0, doubt, (200_000, 2)) + np.array([told, 0.0])
    slopes = np.degrees(np.arctan(np.hypot(*parts.T)))
    value, utility = measure(unsure, MISSION)["ground"]
    assert value == 1.0
    assert utility == pytest.approx(np.mean(np.maximum(1 - slopes / 5.0, 0)), abs=0.005)
    assert utility < 0.3 < measure(flat, MISSION)["ground"].utility
    lost = replace(flat, ground=replace(flat.ground, slope_deg=math.nan))
    assert measure(lost, MISSION)["ground"].utility == 0


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0, 1),
    st.floats(-10, 60),
    st.floats(0, 20),
    st.floats(0, 300),
    st.floats(0, 1),
    st.lists(st.floats(0, 10), min_size=5, max_size=5).filter(lambda w: sum(w) > 0.1),
)
def test_contributions_add_up_to_the_score_between_0_and_100(share, margin, slope, minutes, must, weights):
    w = Weights(**dict(zip(("coverage", "must_serve", "backhaul", "ground", "access"), weights, strict=True)))
    (ranked,) = rank([evaluation(share=share, margin=margin, slope=slope, minutes=minutes, must=must)], weighing(w))
    assert ranked.score == pytest.approx(sum(100 * c.weight * c.utility for c in ranked.criteria))
    assert sum(c.weight for c in ranked.criteria) == pytest.approx(1)
    assert -1e-9 <= ranked.score <= 100 + 1e-9


def test_a_broken_limit_keeps_a_spot_out_whatever_its_score():
    good = evaluation("A", share=1.0, failed=(Breach("steep", "slope", 9.0, 5.0, "deg"),))
    poor = evaluation("B", share=0.1)
    assert [r.spot.name for r in rank([good, poor], MISSION)] == ["B"]


def test_weights_move_the_order():
    near, far = evaluation("A", share=0.4, minutes=5), evaluation("B", share=0.7, minutes=50)
    by_access = rank([near, far], weighing(Weights(coverage=1, access=10)))
    by_coverage = rank([near, far], weighing(Weights(coverage=10, access=1)))
    assert [r.spot.name for r in by_access] == ["A", "B"]
    assert [r.spot.name for r in by_coverage] == ["B", "A"]


def test_order_of_input_never_matters():
    spots = [evaluation(n, share=0.5) for n in "ABCD"]
    assert [r.spot.name for r in rank(spots, MISSION)] == [r.spot.name for r in rank(spots[::-1], MISSION)]


def test_missing_access_earns_nothing_rather_than_dropping_the_weight():
    lines = {c.name: c for c in score(replace(evaluation(), access=None), MISSION)}
    assert lines["access"].contribution == 0
    assert lines["access"].weight > 0


def test_must_serve_weight_is_dropped_when_there_are_no_points():
    bare = replace(evaluation(), coverage=replace(evaluation().coverage, must_serve=()))
    assert "must_serve" not in {c.name for c in score(bare, MISSION)}
    assert sum(c.weight for c in score(bare, MISSION)) == pytest.approx(1)


def test_firmness_of_a_sure_and_of_a_close_first_place():
    sure = rank(
        [evaluation("A", share=0.9, margin=15, slope=0, minutes=5, must=1), evaluation("B", share=0.1)], MISSION
    )
    assert firmness(sure).whatever_the_weights
    close = rank([evaluation("A", share=0.61, minutes=30), evaluation("B", share=0.5, minutes=14)], MISSION)
    result = firmness(close)
    assert 0 < result.holds_to < 0.5
    assert result.taken_by == close[1].spot.name
    assert result.runner_up_better_on == {"A": "access", "B": "coverage"}[close[0].spot.name]
    assert firmness(close) == result  # same plan, same figure


def test_nearly_all_is_never_told_as_all():
    """The sheets print "above 99 %" in their table; the sentence above it must not say 100 %."""
    from siteplanner.planning.spots.evaluation import Coverage
    from siteplanner.planning.telling.service import share_words

    told = [share_words(Coverage(s, 0.0, 8.0, (), (), ())).split(" of ")[0] for s in (0.0, 0.004, 0.5, 0.996, 1.0)]
    assert told == ["0 %", "below 1 %", "50 %", "above 99 %", "100 %"]


def steep(name, chance, **figures):
    e = evaluation(name, **figures)
    return replace(e, ground=replace(e.ground, steep_chance=chance))


def test_a_spot_more_likely_too_steep_than_not_ranks_behind_all_others():
    """Points cannot make up for it: A has the most, and stands behind C, which has the least."""
    ranked = rank([steep("A", 0.93, share=0.9), steep("B", 0.3, share=0.5), steep("C", 0.5, share=0.2)], MISSION)
    assert [r.spot.name for r in ranked] == ["B", "C", "A"]
    assert [r.rank for r in ranked] == [1, 2, 3]
    assert ranked[2].score > ranked[0].score
    firm = firmness(ranked)
    assert (firm.judged, firm.lead_points) == (3, pytest.approx(ranked[0].score - ranked[1].score))
    assert firm.taken_by != "A"


def test_that_a_better_score_ranks_behind_is_said_with_its_reason():
    ranked = rank([steep("A", 0.93, share=0.9), steep("B", 0.3, share=0.5), steep("C", 0.6, share=0.1)], MISSION)
    assert behind_words(ranked) == (
        "Ranked behind the others whatever the score: A. Reason: more likely than not too steep at the trailer's size."
    )
    level = rank([steep("A", 0.3, share=0.9), steep("C", 0.6, share=0.1)], MISSION)
    assert behind_words(level) == ""  # the scores say it already
    assert behind_words(rank([steep("A", 0.9, share=0.5), steep("B", 0.8, share=0.9)], MISSION)) == ""
    many = rank([steep(f"S{n}", 0.9, share=0.5 + 0.01 * n) for n in range(9)] + [steep("B", 0.3, share=0.1)], MISSION)
    assert ": S8, S7, S6, S5 and 5 more. Reason" in behind_words(many)


def test_a_slope_in_a_table_has_its_doubt():
    ground = steep("A", 0.93).ground
    assert slope_cell(replace(ground, slope_deg=1.8, slope_uncertainty_deg=13.0), METRIC) == "1.8° ± 13.0°"
    assert slope_cell(replace(ground, slope_deg=1.8, slope_uncertainty_deg=math.nan), METRIC) == (
        "1.8°, doubt not known"
    )
    assert slope_cell(replace(ground, slope_deg=math.nan), METRIC) == NOT_KNOWN


def test_where_all_are_more_likely_too_steep_the_points_count():
    ranked = rank([steep("A", 0.93, share=0.5), steep("B", 0.6, share=0.9)], MISSION)
    assert [r.spot.name for r in ranked] == ["B", "A"]
    assert place_by(None, 3.0) == place_by(math.nan, 3.0) == (True, 3.0)
    assert place_by(0.51, 90.0) < place_by(0.5, 1.0)


def test_the_crew_reads_why():
    facts = {"slope_deg": 2.0, "uncertainty_deg": 9.0, "limit_deg": 5.0, "chance": 0.93, "cell_m": 83.0}
    text = said(Finding("slope_not_known_at_size", "warning", facts=facts)).message
    assert text.endswith("is 93 %; spots where that is unlikely rank before it.")
    assert (
        "ranks behind" not in said(Finding("slope_not_known_at_size", "check", facts=facts | {"chance": 0.4})).message
    )
