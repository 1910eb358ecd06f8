"""The best pair of each sample against every pair there is, worked out another way."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from siteplanner.planning.choose.set_value import objective
from siteplanner.planning.telling.sets import pair_line, runner_up_sentence, sheet_lines


@pytest.mark.parametrize("sample", ["county_plan", "hills_plan"])
def test_the_best_pair_is_the_best_of_all_pairs(sample, request):
    """max(a, b) = (a + b + |a - b|) / 2, so that the value of a pair follows from a city-block distance in float64."""
    made = request.getfixturevalue(sample)
    # one that is more likely than not too steep is no place to send a trailer to while others pass
    spots = [r for r in made.judged if not r.evaluation.ground.steep_chance > 0.5]
    assert len(spots) < len(made.judged)
    points = len(spots[0].evaluation.coverage.must_serve)
    value = objective(made.mission, made.judge.study.area_cells, points)
    served = np.array(
        [
            np.concatenate([c.probability.astype(float), [p.probability for p in c.must_serve]])
            for c in (r.evaluation.coverage for r in spots)
        ]
    )
    alone = served @ value
    pairs = (alone[:, None] + alone + cdist(served * value, served * value, "cityblock")) / 2
    x, y = (np.array([getattr(r.spot, axis) for r in spots]) for axis in ("x", "y"))
    pairs[np.hypot(x[:, None] - x, y[:, None] - y) < made.set_spacing_m - 1e-6] = 0.0
    i, j = np.unravel_index(np.argmax(pairs), pairs.shape)
    found = made.sets[2]
    assert {r.spot.key for r in found.spots} == {spots[i].spot.key, spots[j].spot.key}
    assert found.value == pytest.approx(pairs[i, j], abs=1e-6)  # probabilities are kept as float32
    assert found.optimal
    assert made.sets[1].value == pytest.approx(alone.max(), abs=1e-6)
    assert made.sets[3].optimal
    assert made.sets[3].value > found.value
    # beside the best spot no other second is worth more
    first = next(k for k, r in enumerate(spots) if r.rank == 1)
    assert made.beside_first.value == pytest.approx(pairs[first].max(), abs=1e-6)


def test_the_county_is_told_that_the_runner_up_is_no_place_for_a_second_trailer(county_plan, county_folder):
    second, runner_up = county_plan.beside_first, county_plan.with_runner_up
    assert second.points_served == len(second.points) == 5
    assert runner_up.points_served == 4
    assert second.share > runner_up.share + 0.03
    assert runner_up_sentence(county_plan).startswith("At the runner-up, Spot B, a second trailer would serve ")
    name = second.trailers[1].ranked.spot.name
    assert "Search base" in sheet_lines(county_plan)[0]
    assert "5 of 5 named points" in sheet_lines(county_plan)[0]
    assert f"Spot A and Spot {name}" in pair_line(county_plan)
    for kind in ("driver", "crew"):
        assert (county_folder / f"{kind}_second_trailer.pdf").read_bytes().startswith(b"%PDF")
    assert "More trailers" in (county_folder / "map.html").read_text("utf-8")
    assert "sp-pair" in (county_folder / "map.html").read_text("utf-8")
