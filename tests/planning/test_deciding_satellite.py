"""Which satellite decides: one answer for criterion, headline, aim, trees and the backhaul's own figure."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from siteplanner import load_mission, plan
from siteplanner.mission import Mission, Sky, mission_from_dict
from siteplanner.mission.criteria import deciding
from siteplanner.planning.choose.scoring import measure, score
from siteplanner.planning.spots.backhaul import by_satellite
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.telling.aiming import aim
from siteplanner.planning.telling.trees import look_up_sentence
from siteplanner.planning.telling.units import METRIC
from siteplanner.planning.telling.words import because, best_look
from tests.planning.conftest import write_mission
from tests.planning.test_scoring import evaluation


def look(name, margin, elevation=35.0, *, state="clear", too_low=False):
    return Look(
        name, -103.0, 180.0, 170.0, elevation, 0.0, elevation - margin, margin, math.inf, state, too_low=too_low
    )


def mission(need) -> Mission:
    return mission_from_dict(
        {
            "layers": {"elevation": ["d.tif"], "incident_area": "a", "roads": "r", "must_serve": "p"},
            "staging": {"latitude": 45, "longitude": -113},
            "sky": {"need": need, "satellites": [{"longitude_deg": -103}, {"longitude_deg": -121}]},
        }
    )


def judged(need, *looks):
    sky = mission(need).sky
    return replace(evaluation(), sky=looks, backhauls=(by_satellite(sky, looks),))


def utility(need, *looks):
    return measure(judged(need, *looks), mission(need))["backhaul"]


def test_where_all_must_be_in_view_the_worst_counts():
    """Margins of 30 and 2.1 deg are worth no more than the 2.1; two of 14 are nearly full marks (2 to 15 deg)."""
    value, worth = utility("all", look("wide", 30.0), look("narrow", 2.1))
    assert (value, worth) == (pytest.approx(2.1), pytest.approx(0.1 / 13))
    assert utility("all", look("a", 14.0), look("b", 14.0))[1] == pytest.approx(12 / 13)
    unknown = look("b", math.nan, state="unknown")
    value, worth = utility("all", look("a", 14.0), unknown)
    assert math.isnan(value)
    assert worth == 0.0
    assert utility("all", look("a", 14.0), unknown, look("c", -3.0, state="blocked"))[0] == -3.0


def test_where_any_will_do_only_those_in_view_count():
    """A satellite 4.5 deg up (5 are asked for) with a margin of 6 is no help to one of 2.5."""
    low, usable = look("lo", 6.0, 4.5, state="blocked", too_low=True), look("hi", 2.5)
    e = judged("any", low, usable)
    assert measure(e, mission("any"))["backhaul"].value == pytest.approx(2.5)
    assert e.look is usable
    assert best_look(e) is usable
    assert e.backhauls[0].margin == pytest.approx(2.5)
    assert "sees hi with 2° to spare" in because_of(e)
    assert utility("any", low)[1] == 0.0
    assert utility("any", look("a", 3.0), look("b", 9.0))[0] == 9.0


def because_of(e):
    from siteplanner.planning.choose.ranked import RankedSpot

    return because(RankedSpot(1, replace(e, access=None), 50.0, ()))


@pytest.mark.parametrize("need", ["any", "all"])
def test_of_none_in_view_the_one_nearest_to_it_is_shown(need):
    behind, more = look("a", 1.0, state="blocked"), look("b", -5.0, state="blocked")
    low = look("c", 4.0, 4.0, state="blocked", too_low=True)
    unknown = look("d", math.nan, state="unknown")
    order = [unknown, behind, more, low]  # from the nearest to the farthest from being in view
    for n in range(len(order)):
        shown = deciding(order[n:], need)
        assert shown is (order[n] if need == "any" else low)
    assert deciding((), need) is None


def test_the_label_says_which_satellite_is_meant():
    labels = {
        need: {c.name: c.label for c in score(judged(need, look("a", 9.0)), mission(need))} for need in ("any", "all")
    }
    assert labels["any"]["backhaul"] == "Sky margin of the clearest satellite"
    assert labels["all"]["backhaul"] == "Sky margin of the satellite with the least"


def test_one_satellite_through_a_whole_plan(tmp_path):
    """Two satellites, the wider margin named last: headline, aim, tree limits and criterion all mean that one; where
    both are needed all mean the other, and the aim names both.
    """
    text = 'satellites = [{name = "west", longitude_deg = -150.0}, {name = "south", longitude_deg = -111.0}]'
    path = write_mission(tmp_path / "m", sky="")
    source = tmp_path / "m" / "mission.toml"
    source.write_text(
        source.read_text("utf-8").replace('satellites = [{name = "south", longitude_deg = -111.0}]', text)
    )
    assert Sky().need == "any"
    for need, name in (("any", "south"), ("all", "west")):
        mission = load_mission(path)
        made = plan(mission.model_copy(update={"sky": mission.sky.model_copy(update={"need": need})}))
        best = made.best
        e = best.evaluation
        assert e.look.satellite_name == name
        assert f"sees {name} with " in because(best)
        line = next(c for c in best.criteria if c.name == "backhaul")
        assert line.value == pytest.approx(e.look.margin_deg)
        assert e.backhauls[0].margin == pytest.approx(e.look.margin_deg)
        words = aim(best, METRIC)
        assert f"dish at {round(e.look.azimuth_deg):03d}°" in words if need == "any" else "dish for south at" in words
        trees = [t for t in e.skyline.trees if t.satellite_name == name]
        assert f"{math.floor(trees[0].tree_m)} m at 30 m" in look_up_sentence(e, METRIC)
