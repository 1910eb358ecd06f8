"""Wind at a spot: gusts of a forecast that has none, limits of dish and mast, height, conditions of the speed-up."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from siteplanner.core.constants import MPH_M_S
from siteplanner.core.wind import (
    gust_over_mean,
    landform_along,
    speed_at_height,
    topographic_factor,
    unmet_conditions,
    with_height,
)
from siteplanner.data.forecast import WindForecast
from siteplanner.data.grid import Grid
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.planning.site.mast_wind import mast_limit
from siteplanner.planning.site.site_wind import site_wind
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.units import BOTH, US
from siteplanner.planning.telling.wind import (
    gusts_words,
    limits_sentence,
    mast_wind_rows,
    mast_words,
    site_wind_sentences,
)

LIMITS = (45 * MPH_M_S, 50 * MPH_M_S)
LOW = 0.4572 ** (1 / 9.5)  # a dish at 2 m: ASCE 7-16 Table 26.11-1, exposure C, as at 15 ft


def mission(**parts):
    return mission_from_dict(
        {
            "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"},
            "staging": {"latitude": 44.25, "longitude": -111},
            **parts,
        }
    )


def plain():
    transform = Affine(20, 0, 496_000, 0, -20, 4_904_000)
    return Grid(np.full((400, 400), 500, np.float32), transform, CRS.from_epsg(32612))


def wind_at(made, mean, gust=None, stop=12.0):
    start = datetime(2026, 6, 1, 6, tzinfo=UTC)
    n = len(mean)
    times = tuple(start + timedelta(hours=k) for k in range(n))
    forecast = WindForecast(times, tuple(mean), tuple(gust or [math.nan] * n), (0.0,) * n)
    return site_wind(made, plain(), Spot("A", 500_000.0, 4_900_000.0, 44.25, -111.0, "", 500.0), stop, forecast)


def told(wind):
    head = limits_sentence(*LIMITS, BOTH, "gust" if wind is None else wind.limits_hold_for)
    return " ".join([head, *site_wind_sentences(wind, BOTH)])


def durst(seconds):
    """Highest mean of so many seconds over that of an hour: the fit of the Coastal Engineering Manual (from memory)."""
    return 1.277 + 0.296 * math.tanh(0.9 * math.log10(45 / seconds))


# WMO/TD-No. 1555 (2010) Table 1.1, in-land, roughly open terrain: 3 s gust over a mean of 3600, 600, 180, 120, 60 s
@pytest.mark.parametrize(("minutes", "factor"), [(60, 1.75), (10, 1.66), (3, 1.58), (2, 1.55), (1, 1.49)])
def test_the_gust_factor_is_that_of_the_table(minutes, factor):
    assert gust_over_mean(minutes) == factor
    assert wind_at(mission(wind={"forecast_mean_min": minutes}), [10.0]).gusts.factor == factor
    # never below the Durst curve over flat open country, which the example of ASCE 7-95 Figure C6-1 reads as 1.53 for
    # 3 s and 1.28 for 45 s over an hour
    assert (durst(3), durst(45), durst(3600)) == pytest.approx((1.53, 1.28, 1.0), abs=0.025)
    assert factor > durst(3) / durst(60 * minutes)
    with pytest.raises(ValueError, match="1, 2, 3, 10, 60"):
        gust_over_mean(5)


def test_a_forecast_without_gusts_is_not_taken_as_gusts():
    """19.5 m/s of mean wind: 32 m/s of gusts, and 30 at a dish 2 m up, above the stow limit of 22.4 m/s."""
    wind = wind_at(mission(), [10.0, 19.5, 19.5, 10.0])
    assert wind.forecast_peak_dish_m_s == pytest.approx(19.5 * 1.66 * LOW)
    # "raising": what field manuals say of any mast, 25 mph, where the mission states nothing
    assert {s.limit for s in wind.spans} == {"stow", "tracking", "raising"}
    assert "wind_stow" in [f.code for f in wind.findings]
    assert "no gusts: mean of 10 min (column speed) times 1.66 (WMO/TD-1555 Table 1.1, in-land)" in told(wind)
    own = wind_at(mission(wind={"gust_factor": 1.4}), [19.5])
    assert own.forecast_peak_dish_m_s == pytest.approx(19.5 * 1.4 * LOW)
    assert "times 1.40 (as the mission says)" in told(own)


def test_which_column_is_gust_and_which_is_mean_is_said():
    with_gusts = wind_at(mission(), [10.0, 10.0], [15.0, 15.0])
    assert gusts_words(with_gusts.gusts) == "Gusts: column gust; mean of 10 min: column speed."
    some = wind_at(mission(), [10.0, 10.0], [15.0, math.nan])
    assert "column gust in 1 of 2 rows; in the others mean" in gusts_words(some.gusts)
    assert some.forecast_peak_dish_m_s == pytest.approx(16.6 * LOW)


def test_limits_may_hold_for_the_mean():
    forecast = [19.5, 19.5], [30.0, 30.0]
    assert {s.limit for s in wind_at(mission(), *forecast).spans} == {"stow", "tracking", "raising"}
    mean = wind_at(mission(wind={"limits_hold_for": "mean"}), *forecast)
    assert {s.limit for s in mean.spans} == {"raising"}
    assert mean.forecast_peak_dish_m_s == pytest.approx(19.5 * LOW)
    assert "Forecast mean wind at the dish here" in told(mean)
    assert "counted in mean wind." in told(mean)


def test_the_mast_is_never_held_to_the_dishs_limit():
    wind = wind_at(mission(), [10.0], [45.0])
    assert not wind.mast.stated
    # "raising": what field manuals say of any mast, 25 mph, where the mission states nothing
    assert {s.limit for s in wind.spans} == {"stow", "tracking", "raising"}
    assert "Mast wind limit not stated: read the manual" in told(wind)
    (raising,) = [f for f in wind.findings if f.code == "wind_raising"]
    assert "above 25 mph" in said(raising, US).message
    assert "this unit's own limit is not stated" in said(raising, US).message
    (finding,) = [f for f in wind.findings if f.code.startswith("wind_mast")]
    assert (finding.code, finding.severity) == ("wind_mast_not_stated", "unknown")
    assert (
        "Mast wind limit and limit for raising not stated: read the manual (12 m, not guyed)" in said(finding).message
    )
    bare = site_wind(mission(), plain(), Spot("A", 500_000.0, 4_900_000.0, 44.25, -111.0, "", 500.0), 12.0, None)
    assert [f.code for f in bare.findings] == ["wind_mast_not_stated"]


STATED = {
    "mast_limit_unguyed_m_s": [30.0, 24.0, 18.0],
    "mast_limit_guyed_m_s": [40.0, 36.0, 32.0],
    "mast_limit_raising_m_s": 12.0,
}


@pytest.mark.parametrize(
    ("guyed", "stop", "limit"),
    [(False, 8, 30), (False, 12, 24), (False, 15, 18), (True, 8, 40), (True, 15, 32), (False, 10, 24), (False, 99, 18)],
)
def test_limits_of_the_mast_by_stop_and_guys(guyed, stop, limit):
    found = mast_limit(mission(wind={**STATED, "mast_guyed": guyed}), stop)
    assert (found.limit_m_s, found.guyed, found.raising_m_s) == (limit, guyed, 12.0)


def test_hours_above_the_masts_own_limit():
    # at 12 m over open ground the larger of (12/10)^(1/7) and ln(12/0.03)/ln(10/0.03)
    height = max(1.2 ** (1 / 7), math.log(400) / math.log(1000 / 3))
    gusts = [g / height for g in (20.0, 28.0, 28.0, 20.0)]
    wind = wind_at(mission(wind=STATED), [5.0] * 4, gusts)
    (over,) = [s for s in wind.spans if s.limit == "mast"]
    assert over.hours == pytest.approx(2.0)  # above 24 from half past six to half past eight
    (raising,) = [s for s in wind.spans if s.limit == "raising"]
    assert raising.hours == pytest.approx(3.0)
    codes = [f.code for f in wind.findings]
    assert codes[:2] == ["wind_mast", "wind_raising"]
    assert "above its limit of 54 mph (24 m/s) (not guyed) for about 2.0 h" in said(wind.findings[0], BOTH).message
    assert "Use a lower stop (8 m)" in said(wind.findings[0]).remedy
    assert "not a rating" in said(wind.findings[0]).remedy
    assert "Above the mast's limit: 2026-06-01 06:30 to 2026-06-01 08:30" in told(wind)
    guyed = wind_at(mission(wind={**STATED, "mast_guyed": True}), [5.0] * 4, gusts)
    assert not [s for s in guyed.spans if s.limit == "mast"]


def test_a_guyed_mast_without_a_limit_of_its_own_is_held_to_the_one_without_guys():
    found = mast_limit(mission(wind={"mast_limit_unguyed_m_s": 20, "mast_guyed": True}), 8)
    assert found.limit_m_s == 20
    assert math.isnan(mast_limit(mission(wind={"mast_limit_guyed_m_s": 20}), 8).limit_m_s)


def test_as_many_limits_as_stops():
    with pytest.raises(InputError, match="mast_limit_unguyed_m_s needs a figure for each of the 3"):
        mission(wind={"mast_limit_unguyed_m_s": [30, 20]})
    with pytest.raises(InputError, match="above 0"):
        mission(wind={"mast_limit_guyed_m_s": [0]})


def test_height_counts_both_ways():
    # ASCE 7-16 Table 26.10-1, exposure C, K_z at 15 ft and less 0.85, at 33 ft 1.00: speeds as their roots
    assert with_height(2.0, "C") == pytest.approx(math.sqrt(0.85 / 1.0), abs=0.003)
    assert with_height(2.0, "C") == with_height(4.572, "C") < with_height(7.0, "C") < with_height(10.0, "C") == 1.0
    # exposure D, 15 ft: 1.03, 33 ft: 1.18; exposure B starts at 30 ft, so nothing is taken off
    assert with_height(2.0, "D") == pytest.approx(math.sqrt(1.03 / 1.18), abs=0.005)
    assert with_height(2.0, "B") == 1.0
    assert with_height(15.0, "C") == pytest.approx(
        max(float(speed_at_height(1, 15)), math.log(500) / math.log(1000 / 3))
    )


def tent(d, height=60.0, half=150.0, at=0.0):
    return np.maximum(0, height * (1 - np.abs(d - at) / (2 * half)))


D = np.arange(-3300, 801, 10.0)


@pytest.mark.parametrize(
    ("other", "unmet"),
    [
        (0.0, ()),  # the ridge alone
        (25.0, ()),  # a rise of less than half its height
        (45.0, ("not_isolated", "not_twice_as_high")),
        (60.0, ("not_isolated", "not_twice_as_high")),
    ],
)
def test_conditions_of_the_rule_on_a_ridge(other, unmet):
    z = 500 + tent(D) + tent(D, other or 1e-9, 150, -2000)
    form = landform_along(D, z)
    assert unmet_conditions(D, z, form) == unmet


def test_a_low_ridge_is_isolated_within_a_hundred_times_its_height():
    """H = 6 m: 600 m upwind; another ridge 2 km upwind breaks only the second condition."""
    z = tent(D, 6, 12) + tent(D, 6, 12, -2000)
    form = landform_along(D, z)
    assert topographic_factor(form.landform, "C", form.height_m, form.half_length_m, 0, 2) > 1
    assert unmet_conditions(D, z, form) == ("not_twice_as_high",)


def test_the_lower_half_and_a_short_profile_are_named():
    z = tent(D, 60, 100, 150)
    form = landform_along(D, z)
    assert form.from_crest_m < -100
    assert unmet_conditions(D, z, form) == ("lower_half",)
    short = D[D >= -1000]
    form = landform_along(short, tent(short, 60, 150))
    assert unmet_conditions(short, tent(short, 60, 150), form) == ("upwind_not_known",)


def test_where_the_rule_does_not_hold_the_sheet_says_so():
    x = (np.arange(400) - 199.5) * 20.0
    z = np.maximum(tent(x), tent(x, at=-1500))
    values = np.broadcast_to(z + 500, (400, 400)).astype(np.float32).copy()
    grid = Grid(values, Affine(20, 0, 496_000, 0, -20, 4_904_000), CRS.from_epsg(32612))
    wind = site_wind(mission(), grid, Spot("A", 499_990.0, 4_900_000.0, 44.25, -111.0, "", 560.0), 12.0, None)
    (west,) = [s for s in wind.speed_ups if s.from_deg == 270]
    assert "not_isolated" in west.unmet
    text = told(wind)
    assert "a rough figure as" in text
    assert "ASCE 7-16 section 26.8.1" in text


def test_field_manuals_speak_where_the_mission_does_not_state_what_the_mast_is_raised_in():
    """25 mph: above it, extra care and a hand on the windward guy (US Army Subcourse SS0732, Antenna erection)."""
    silent = mast_limit(mission(), 8)
    assert math.isnan(silent.raising_m_s)
    assert not silent.raising_stated
    assert silent.raise_below_m_s == pytest.approx(25 * 0.44704)  # NIST SP 811, appendix B.8
    said_so = mast_limit(mission(wind={"mast_limit_raising_m_s": 9.0}), 8)
    assert (said_so.raise_below_m_s, said_so.raising_stated) == (9.0, True)
    # gusts, also where the mast's own limits are means: 8 m/s of mean wind are 13 m/s of gusts
    calm = wind_at(mission(wind={"mast_limits_hold_for": "mean"}), [8.0, 8.0])
    assert {s.limit for s in calm.spans} == {"raising"}
    told_of = mast_words(silent, "gust", US)
    assert told_of.startswith(
        "Mast wind limit not stated: read the manual (26.2 ft, not guyed); raise and lower it below"
    )
    assert "25 mph (Beaufort 6: big branches move, wires hum), a common figure of field manuals" in told_of


def test_each_stop_of_the_mast_with_and_without_guys():
    rows = mast_wind_rows(mission(wind={"mast_limit_unguyed_m_s": [30.0, 24.0, 18.0]}), US)
    # 30, 24, 18 m/s / 0.44704
    assert rows == [
        ["26.2 ft", "67 mph", "see manual"],
        ["39.4 ft", "54 mph", "see manual"],
        ["49.2 ft", "40 mph", "see manual"],
    ]
    assert mast_wind_rows(mission(), US) == []  # nothing stated: never the dish's limits in their place
