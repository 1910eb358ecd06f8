"""Three-point estimates, daylight, fuel, wind at a spot, forecast tables."""

from __future__ import annotations

import functools
import json
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pvlib
import pytest
from affine import Affine
from pyproj import CRS
from scipy.stats import beta, norm

from siteplanner.core.constants import MPH_M_S
from siteplanner.data.forecast import WindForecast, read_forecast
from siteplanner.data.grid import Grid
from siteplanner.errors import InputError
from siteplanner.mission import Layers, Mission, Power, Staging, Times
from siteplanner.planning.limits.keep_away import antenna_keep_away
from siteplanner.planning.site.site_wind import site_wind
from siteplanner.planning.site.timeline import pert, time_on_air, timeline
from siteplanner.planning.study import sun
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.sun import sun_elevations_deg, sun_times
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.timeline import light_record
from siteplanner.planning.telling.times import range_words

LAYERS = Layers(elevation=("dem.tif",), incident_area="area.geojson", roads="roads.gpkg")
STAGING = Staging(latitude=44.0, longitude=-113.0)
MISSION = Mission(layers=LAYERS, staging=STAGING)
LOW = 0.4572 ** (1 / 9.5)  # wind at 2 m of that at 10 m, see `test_speed_up_on_a_ridge_by_hand`
DRIVE = (1800.0, 60.0)  # seconds on the road, seconds over the last leg


# means by two textbook pages, (a + 4m + b) / 6; spreads of the beta distribution with that mean and shapes that add up
# to 6, closed form sqrt((mean - a) (b - mean) / 7)
@pytest.mark.parametrize(
    ("points", "mean", "spread"),
    [((4, 6, 12), 6.667, 1.4254), ((5, 8, 14), 8.5, 1.6583), ((2, 5, 14), 6, 2.1381), ((3, 3, 4), 3.16667, 0.14086)],
)
def test_pert(points, mean, spread):
    assert pert(*points) == pytest.approx((mean, spread), abs=1e-3)
    low, likely, high = points
    a, b = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
    assert spread == pytest.approx((high - low) * float(beta(a, b).std()), abs=1e-3)


def test_on_air_by_hand():
    """Hitch 10/15/25, drive 25.5/30/42, leg 0.7/1/3, set-up 30/45/60, acquisition 3/6/15."""
    air = time_on_air(MISSION, *DRIVE)
    means = [95 / 6, 187.5 / 6, 7.7 / 6, 45.0, 7.0]
    ends = [(10, 25), (25.5, 42), (0.7, 3), (30, 60), (3, 15)]
    spreads = [np.sqrt((m - a) * (b - m) / 7) for m, (a, b) in zip(means, ends, strict=True)]
    assert air.mean_min == pytest.approx(sum(means))
    # correlation 0.5 between any two: variance is the sum of all products, halved off the diagonal
    together = np.outer(spreads, spreads) * (0.5 + 0.5 * np.eye(5))
    low, high = sum(a for a, _ in ends), sum(b for _, b in ends)
    m, v = (sum(means) - low) / (high - low), together.sum() / (high - low) ** 2
    k = m * (1 - m) / v - 1
    whole = beta(m * k, (1 - m) * k, low, high - low)
    assert (air.early_min, air.late_min) == pytest.approx((whole.ppf(0.05), whole.ppf(0.95)))
    at = np.linspace(low, high, 200_001)
    assert air.likely_min == pytest.approx(at[np.argmax(whole.pdf(at))], abs=1e-3)
    assert [p.name for p in air.parts][1:3] == ["Drive", "Last leg"]
    assert "PERT" in range_words(air)
    assert "alike by 0.5" in range_words(air)


STEPS = np.linspace(-8.0, 8.0, 4001)
"""Standard normal: beyond it lies 1 of 10^15."""


def minutes_by_luck(part):
    """Minutes of a part at each of `STEPS`: the quantile of its own beta distribution at that luck."""
    low, likely, high = part.low_min, part.likely_min, part.high_min
    a, b = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
    return low + (high - low) * beta.ppf(norm.cdf(STEPS), a, b)


@functools.cache
def luck(draws=200_000, parts=5):
    """Standard normal, (1 + parts, draws): what parts have in common, then what each has for itself."""
    return np.random.default_rng(1).standard_normal((1 + parts, draws))


def drawn(air, alike):
    """Minutes to first service, each part from its own beta distribution; parts go together by a Gaussian copula.

    Quantiles are read between `STEPS`: within 0.001 minutes of those of each draw by itself, see below.
    """
    common, *own = luck()
    total = np.zeros(common.size)
    for part, alone in zip(air.parts, own, strict=True):
        total += np.interp(np.sqrt(alike) * common + np.sqrt(1 - alike) * alone, STEPS, minutes_by_luck(part))
    return total


def test_quantiles_between_the_steps_are_those_of_each_draw():
    common = luck()[0, :2000]
    for part in time_on_air(MISSION, 14_400.0, 20.0).parts:
        low, likely, high = part.low_min, part.likely_min, part.high_min
        a, b = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
        by_itself = low + (high - low) * beta.ppf(norm.cdf(common), a, b)
        assert np.interp(common, STEPS, minutes_by_luck(part)) == pytest.approx(by_itself, abs=1e-3)


@pytest.mark.parametrize("alike", [0.0, 0.3, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("drive", [DRIVE, (600.0, 300.0), (14_400.0, 20.0)])
def test_the_range_holds_nine_cases_in_ten_of_what_it_assumes(drive, alike):
    """A spread of (high - low) / 6 and independence held 86 % of independent parts, and 52 to 78 % of alike ones."""
    air = time_on_air(MISSION.model_copy(update={"times": Times(parts_alike=alike)}), *drive)
    total = drawn(air, alike)
    assert total.mean() == pytest.approx(air.mean_min, rel=0.002)
    inside = np.mean((total >= air.early_min) & (total <= air.late_min))
    assert 0.85 <= inside <= 0.95
    assert inside == pytest.approx(0.90, abs=0.02)


def test_mean_is_the_mean_and_likely_the_most_likely():
    air = time_on_air(MISSION, *DRIVE)
    total = drawn(air, 0.5)
    counts, edges = np.histogram(total, bins=60)
    peak = np.polynomial.Polynomial.fit(edges[:-1] + np.diff(edges) / 2, counts, 8)
    at = np.linspace(total.min() + 10, total.max() - 10, 2000)
    assert air.likely_min == pytest.approx(at[np.argmax(peak(at))], abs=1.5)
    together = sum(p.likely_min for p in air.parts)
    assert together < air.likely_min < air.mean_min


def test_one_skewed_part_never_ends_before_its_own_low():
    mission = Mission(
        layers=LAYERS,
        staging=STAGING,
        trailer={"hitch_up_min": (10, 10, 60), "set_up_min": (0, 0, 0), "acquisition_min": (0, 0, 0)},
    )
    # one part: 5 % point of its own beta distribution, shapes 1 and 5: 10 + 50 (1 - 0.95^(1/5)), closed form
    assert time_on_air(mission, 0.0, 0.0).early_min == pytest.approx(10 + 50 * (1 - 0.95**0.2))


# NREL SPA report examples as stored with pvlib's tests; USNO tables for 39 N 105 W
@pytest.mark.parametrize(
    ("day", "offset_h", "latitude", "longitude", "rise", "fall", "tolerance_s"),
    [
        ((1994, 1, 2), 0, 35, 0, "07:08:12", "16:59:55", 3),
        ((1996, 7, 5), 0, -35, 0, "07:08:15", "17:01:04", 3),
        ((2004, 12, 4), 0, -35, 0, "04:38:57", "19:02:02", 3),
        ((2015, 1, 2), -7, 39, -105, "07:19:00", "16:49:00", 60),
        ((2015, 8, 2), -7, 39, -105, "05:01:00", "19:10:00", 60),
    ],
)
def test_sunrise_and_sunset(day, offset_h, latitude, longitude, rise, fall, tolerance_s):
    zone = timezone(timedelta(hours=offset_h))
    dawn, sunrise, sunset, dusk = sun_times(datetime(*day, 12, tzinfo=zone), latitude, longitude)
    for found, words in ((sunrise, rise), (sunset, fall)):
        wanted = datetime.combine(found.date(), datetime.strptime(words, "%H:%M:%S").time(), zone)
        assert abs((found - wanted).total_seconds()) <= tolerance_s
    assert dawn < sunrise < sunset < dusk
    assert 20 <= (sunrise - dawn).total_seconds() / 60 <= 40  # civil twilight at these latitudes


def test_solar_elevation_of_the_spa_example():
    zone = timezone(timedelta(hours=-7))
    (height,) = sun_elevations_deg([datetime(2003, 10, 17, 12, 30, 30, tzinfo=zone)], 39.742476, -105.1786, 1830.14)
    assert height == pytest.approx(39.872046, abs=1e-3)  # NREL SPA report, geometric elevation (delta T 67 s)


def test_zenith_and_azimuth_of_the_spa_example():
    """NREL SPA report: zenith 50.11162, azimuth 194.34024, delta T 67 s, 820 hPa, 11 C; as our sun room calls it."""
    zone = timezone(timedelta(hours=-7))
    moment = pd.DatetimeIndex([datetime(2003, 10, 17, 12, 30, 30, tzinfo=zone)])
    table = pvlib.solarposition.get_solarposition(
        moment,
        39.742476,
        -105.1786,
        altitude=1830.14,
        pressure=82_000,
        temperature=11,
        delta_t=67,
        atmos_refract=0.5667,
    )
    assert float(table["apparent_zenith"].iloc[0]) == pytest.approx(50.11162, abs=1e-5)
    assert float(table["azimuth"].iloc[0]) == pytest.approx(194.34024, abs=1e-5)
    # geometric elevation plus refraction 0.016332 is 90 - zenith; ours has the day's own delta T
    (height,) = sun_elevations_deg([moment[0].to_pydatetime()], 39.742476, -105.1786, 1830.14)
    assert 90 - height - 0.016332 == pytest.approx(50.11162, abs=1e-3)


def test_sunrise_and_sunset_of_the_spa_example_day():
    # by pvlib.spa and skyfield for 39.742476 N 105.1786 W: rise 06:12:43, set 17:18:51 on local 17 Oct 2003, 17:20:19
    # on the 16th
    zone = timezone(timedelta(hours=-7))
    for day, fall in ((17, (17, 18, 51)), (16, (17, 20, 19))):
        _, sunrise, sunset, _ = sun_times(datetime(2003, 10, day, 9, tzinfo=zone), 39.742476, -105.1786, 1830.14)
        assert abs((sunset - datetime(2003, 10, day, *fall, tzinfo=zone)).total_seconds()) <= 5
        if day == 17:
            assert abs((sunrise - datetime(2003, 10, 17, 6, 12, 43, tzinfo=zone)).total_seconds()) <= 5


def test_the_crossings_of_a_day_are_found_in_two_questions(monkeypatch):
    asked, really = [], sun.sun_elevations_deg
    monkeypatch.setattr(
        sun, "sun_elevations_deg", lambda moments, *at: asked.append(len(moments)) or really(moments, *at)
    )
    times = sun_times(datetime(2003, 10, 17, tzinfo=UTC), 10.25, 20.5, 3.0)
    assert asked == [289, 4 * 301]
    levels = (sun.CIVIL_DEG, sun.SUNRISE_DEG, sun.SUNRISE_DEG, sun.CIVIL_DEG)
    assert really(list(times), 10.25, 20.5, 3.0) == pytest.approx(levels, abs=2e-5)  # within 0.005 s of the crossing
    assert sun_times(datetime(2026, 12, 21, 12, tzinfo=UTC), 89, 20) == (None, None, None, None)
    assert len(asked) == 3  # nothing to refine, nothing asked


def test_midnight_sun_and_polar_night_are_no_times():
    assert sun_times(datetime(2026, 6, 21, 12, tzinfo=UTC), 70, 20)[1:3] == (None, None)
    assert sun_times(datetime(2026, 12, 21, 12, tzinfo=UTC), 80, 20) == (None, None, None, None)


def _timeline(hour):
    zone = timezone(timedelta(hours=-7))
    times = Times(dispatch=datetime(2015, 8, 2, hour, 0, tzinfo=zone), shift_h=10)
    mission = MISSION.model_copy(update={"times": times, "power": Power(fuel_tank_l=100, refuel_at_share=0.2)})
    return timeline(mission, time_on_air(mission, *DRIVE), 39.0, -105.0, 1600.0)


def test_light_on_arrival_fuel_and_relief():
    noon, night, evening = _timeline(12), _timeline(22), _timeline(18)
    assert light_record(noon.light)["sentence"] == "Daylight from arrival to first service."
    assert night.light.arrival == ("dark", "dark")
    assert "lamps for the work" in light_record(night.light)["sentence"]
    assert evening.light.arrival == ("day", "day")  # 18:41 to 18:55; the sun sets at 19:10
    assert light_record(evening.light)["at_first_service"] == "twilight (early) to dark (late)"
    assert noon.moments.arrival.name == "Last leg"
    assert noon.clock(60).isoformat() == "2015-08-02T13:00:00-07:00"
    # 100 l at 1.5, 2.5, 4 l/h; 80 l down to the reserve
    assert (noon.fuel_low_h, noon.fuel_likely_h) == pytest.approx((25, 40))
    assert (noon.refuel_low_h, noon.refuel_likely_h, noon.relief_h) == pytest.approx((20, 32, 10))
    assert timeline(MISSION, time_on_air(MISSION, *DRIVE), 39.0, -105.0, 0.0).light is None


def _ridge_grid(height=60.0, half=150.0):
    """A north-south ridge through the middle, its foot 2 x half away; 20 m cells."""
    x = (np.arange(400) - 199.5) * 20.0
    z = np.maximum(0, height * (1 - np.abs(x) / (2 * half))) + 500
    values = np.broadcast_to(z, (400, 400)).astype(np.float32)
    return Grid(values.copy(), Affine(20, 0, 496_000, 0, -20, 4_904_000), CRS.from_epsg(32612))


def _spot(x=500_000.0, y=4_900_000.0):
    return Spot("A", x, y, 44.25, -111.0, "", 560.0)


def test_speed_up_on_a_ridge_by_hand():
    wind = site_wind(MISSION, _ridge_grid(), _spot(499_990.0), 12.0, None)
    west = next(s for s in wind.speed_ups if s.from_deg == 270)
    # the spot's own cell is the crest: 58 m above the foot, L_h the way back to half of that on the tent's side
    height = 58.0
    half = height / 2 / (60 / 300)
    k1 = 1.45 * height / half
    assert west.landform == "ridge"
    # below 10 m the gusts' profile of ASCE 7-16 Table 26.11-1, exposure C, no lower than 15 ft: (4.572 / 10)^(1/9.5)
    low = 0.4572 ** (1 / 9.5)
    assert low == pytest.approx(0.92085, abs=1e-4)
    assert west.ground == pytest.approx(1 + k1 * np.exp(-3 * 2 / half), rel=0.03)
    assert west.at_dish == pytest.approx(low * west.ground)
    assert west.at_mast == pytest.approx((1 + k1 * np.exp(-3 * 12 / half)) * 1.2 ** (1 / 7), rel=0.03)
    along = next(s for s in wind.speed_ups if s.from_deg == 0)
    assert (along.ground, along.at_dish) == (pytest.approx(1.0, abs=1e-6), pytest.approx(low))
    assert wind.worst.at_dish >= west.at_dish
    assert wind.open_tracking_limit_m_s == pytest.approx(45 * MPH_M_S / wind.worst.at_dish)


def test_wind_is_not_known_where_the_ground_is_not():
    grid = _ridge_grid()
    grid.values[:, :170] = np.nan  # unknown beyond 600 m west
    wind = site_wind(MISSION, grid, _spot(), 12.0, None)
    # 800 m of known ground are asked for: 600 m / cos 22.5 are too little, 600 m / cos 45 enough
    assert wind.unknown_bearings == 3
    assert all(not 240 <= s.from_deg <= 300 for s in wind.speed_ups)


def _forecast(speeds, gusts=None, direction=0.0):
    start = datetime(2026, 6, 1, 6, tzinfo=UTC)
    n = len(speeds)
    gusts = gusts or [float("nan")] * n
    times = tuple(start + timedelta(hours=k) for k in range(n))
    return WindForecast(times, tuple(speeds), tuple(gusts), (direction,) * n)


def test_hours_above_each_limit():
    # wind along the ridge: no speed-up at the dish. 45 mph = 20.1168, 50 mph = 22.352 m/s; at 2 m 0.92085 of it
    gusts = [g / LOW for g in (15.1168, 25.1168, 25.1168, 15.1168)]
    wind = site_wind(MISSION, _ridge_grid(), _spot(), 12.0, _forecast([10.0, 10, 10, 10], gusts))
    tracking, stow = (next(s for s in wind.spans if s.limit == name) for name in ("tracking", "stow"))
    assert (tracking.start, tracking.hours) == ("2026-06-01T06:30+00:00", pytest.approx(2.0))
    assert stow.hours == pytest.approx(1 + 2 * 2.7648 / 10)
    assert wind.forecast_peak_dish_m_s == pytest.approx(25.1168)
    # the dish's limit says nothing of the mast; what field manuals raise any mast in (25 mph) stands in for none stated
    assert [f.code for f in wind.findings] == ["wind_raising", "wind_stow", "wind_tracking", "wind_mast_not_stated"]
    calm = site_wind(MISSION, _ridge_grid(), _spot(), 12.0, _forecast([5.0, 6.0]))
    assert (calm.spans, [f.code for f in calm.findings]) == ((), ["wind_mast_not_stated"])


def test_forecast_from_the_side_counts_with_the_speed_up():
    along, across, unknown = (
        site_wind(MISSION, _ridge_grid(), _spot(), 12.0, _forecast([10.0, 10.0], [15.0, 15.0], direction))
        for direction in (0.0, 270.0, float("nan"))
    )
    assert along.forecast_peak_dish_m_s == pytest.approx(15.0 * LOW)
    assert across.forecast_peak_dish_m_s > 20 * LOW
    assert unknown.forecast_peak_dish_m_s == pytest.approx(15 * unknown.worst.at_dish)


def test_a_forecast_file(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text("Time,Speed,Gust,Direction_deg\n2026-06-01T06:00-06:00,20,35,270\n2026-06-01T13:00Z,25,,\n")
    forecast, record = read_forecast(path, "mph")
    assert forecast.speed_m_s == pytest.approx((20 * MPH_M_S, 25 * MPH_M_S))
    assert forecast.gusts_m_s(1.5) == pytest.approx((35 * MPH_M_S, 37.5 * MPH_M_S))
    assert forecast.rows_with_gust == 1
    assert forecast.times[0].utcoffset() == timedelta(hours=-6)
    assert (record.role, record.count, len(record.sha256)) == ("wind forecast", 2, 64)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,gust\n", "no column speed"),
        ("time,speed\n", "is empty"),
        ("time,speed\n2026-06-01T06:00,5\n", "no offset"),
        ("time,speed\nnoon,5\n", "not a time"),
        (f"time,speed\n{'a' * 200_000},5\n", "cannot be read as a table"),
        (f"{'a' * 200_000},speed\n", "cannot be read as a table"),
        ("time,speed\n2026-06-01T06:00Z,fast\n", "not a number"),
        ("time,speed\n2026-06-01T06:00Z,\n", "not a number"),
        ("time,speed\n2026-06-01T06:00Z,-3\n", "not plausible"),
        ("time,speed\n2026-06-01T06:00Z,5\n2026-06-01T06:00Z,5\n", "Row 3 is not later"),
    ],
)
def test_bad_forecasts_name_row_and_remedy(tmp_path, text, words):
    path = tmp_path / "wind.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=words):
        read_forecast(path)


def test_keep_away_of_the_default_radio():
    public, workers = antenna_keep_away(MISSION, 12.0, [10.0, 190.0])
    # 2 ports of 33 dBm + 14 dBi - 1.5 dB = 45.5 dBm; OET 65 eq. (8): R = sqrt(2.56 EIRP / 4 pi S), S = 763/1500 mW/cm2
    eirp = 2 * 10 ** (15.5 / 10)
    assert public.all_sectors_factor == pytest.approx(1.01)  # the other sector's back, 20 dB down
    assert public.eirp_w == pytest.approx(eirp)
    assert public.main_beam_m == pytest.approx(np.sqrt(1.01 * 2.56 * eirp / (4 * np.pi * 10 * 763 / 1500)))
    assert workers.main_beam_m == pytest.approx(public.main_beam_m / np.sqrt(5))
    assert public.ground_share == pytest.approx(5 * workers.ground_share)
    # ICNIRP 2020 Table 5 (from memory): f/200 and f/40 W/m2, stricter than f/1500 and f/300 mW/cm2
    assert public.icnirp_main_beam_m == pytest.approx(np.sqrt(1.01 * 2.56 * eirp / (4 * np.pi * 763 / 200)))
    assert workers.icnirp_main_beam_m == pytest.approx(public.icnirp_main_beam_m / np.sqrt(5))
    assert public.keep_m == public.icnirp_main_beam_m > public.main_beam_m
    assert public.ground_share < 0.2
    assert (public.averaging_min, workers.averaging_min) == (30, 6)


class TestKeepAwayOfEveryAntenna:
    @pytest.mark.parametrize(("apart_deg", "factor"), [(60, 1.13), (30, 1.72), (0, 2.0)])
    def test_sectors_add_up(self, apart_deg, factor):
        """The first was 1.0 whatever stood beside it: 60 degrees apart the distance was short by 6 %, on one bearing by
        41 %."""
        (public, _) = antenna_keep_away(MISSION, 12.0, [100.0, 100.0 + apart_deg])
        assert public.all_sectors_factor == pytest.approx(factor, abs=0.01)
        alone, _ = antenna_keep_away(MISSION, 12.0, [100.0])
        assert public.keep_m == pytest.approx(alone.keep_m * np.sqrt(public.all_sectors_factor))

    def test_unknown_bearings_count_as_one(self):
        assert antenna_keep_away(MISSION, 12.0)[0].all_sectors_factor == 2.0

    def test_the_link_antenna_has_rows(self):
        # 23 dBm + 23 dBi = 46 dBm at 5.8 GHz, limit 1 mW/cm2: sqrt(2.56 x 39.8 / (4 pi x 10)) = 0.90 m
        rows = [r for r in antenna_keep_away(MISSION, 12.0, [0.0], link_mhz=5800.0) if r.antenna == "link"]
        assert [r.people for r in rows] == ["public", "workers"]
        assert rows[0].keep_m == pytest.approx(0.9006, abs=1e-3)

    def test_the_dish_has_rows_where_its_power_is_stated(self):
        assert {r.antenna for r in antenna_keep_away(MISSION, 12.0, [0.0], dish=True)} == {"sector"}
        sky = MISSION.sky.model_copy(update={"transmit_power_w": 4.0})
        told = antenna_keep_away(MISSION.model_copy(update={"sky": sky}), 12.0, [0.0], dish=True)
        public = next(r for r in told if r.antenna == "dish" and r.people == "public")
        # 4 W over a dish of 1.2 m: 4 P / A = 16 / 1.131 W/m2 = 1.415 mW/cm2 of 1.0; near field to 17.1 m at 14.25 GHz
        assert public.aperture_mw_cm2 == pytest.approx(1.4147, abs=1e-4)
        assert public.limit_mw_cm2 == 1.0
        assert public.keep_m == pytest.approx(17.11 * 1.4147, abs=0.05)


def test_the_record_holds_times_wind_and_distances(valley_plan):
    record = json.loads(json.dumps(plan_record(valley_plan)))
    spot = record["spots"][0]
    air = spot["on_air"]
    assert spot["timeline"]["mean_min"] == pytest.approx(air["mean_min"])
    assert spot["timeline"]["likely_min"] == pytest.approx(air["likely_min"])
    assert air["likely_min"] > sum(
        likely for _, _, likely, _ in air["parts"]
    )  # the mode of the sum, not a sum of modes
    assert air["low_min"] < air["likely_min"] < air["mean_min"] < air["high_min"]
    assert spot["wind"]["method"].startswith("ASCE 7-16")
    assert {row["people"] for row in spot["radio_exposure"]} == {"public", "workers"}
    for row in spot["radio_exposure"]:
        assert row["keep_m"] == max(row["main_beam_m"], row["icnirp_main_beam_m"])
