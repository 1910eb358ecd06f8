"""Sun outages against closed forms and an independent library's sun; seasons, offsets, words, plan.json."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from siteplanner.core.antenna import dish_beam_deg
from siteplanner.core.geodesy import look_angles
from siteplanner.mission import Layers, Mission, Satellite, Sky, Staging
from siteplanner.outputs.write import json_text
from siteplanner.planning.site.sun_outage import (
    SatelliteOutages,
    half_width_deg,
    hour_angle_declination,
    outages_of,
    sun_outages,
)
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.sun import outage_sentence

MOUNTAIN = timezone(timedelta(hours=-6))
FIRST = datetime(2026, 6, 3, 4, 40, tzinfo=MOUNTAIN)
PLAINS = (38.5, -98.0, 500.0, -103.0)  # latitude, longitude, height, slot


@pytest.fixture(scope="module")
def outages():
    return outages_of(*PLAINS, FIRST, half_width_deg(1.2, 12.0))


@pytest.mark.parametrize(
    ("latitude", "longitude", "slot", "declination"),
    [(38.5, -98.0, -103.0, -6.062), (40.0, -105.0, -125.0, -6.189), (60.0, 24.94, 10.0, -8.011)],
)
def test_declination_of_a_satellite_as_the_dish_sees_it(latitude, longitude, slot, declination):
    """Closed form: asin of the ray's component along the Earth's axis, WGS 84 vectors, worked out independently."""
    azimuth, elevation, _ = look_angles(latitude, longitude, 0.0, slot)
    assert float(hour_angle_declination(latitude, azimuth, elevation)[1]) == pytest.approx(declination, abs=1e-3)


def test_the_beam_of_a_dish():
    """Handbook rule, from memory: 70 wavelengths / diameter; 1.2 m at 12 GHz: 1.457 deg."""
    assert dish_beam_deg(1.2, 12.0) == pytest.approx(1.457, abs=1e-3)
    assert half_width_deg(1.2, 12.0) == pytest.approx(1.457 / 2 + 0.267, abs=1e-3)


def test_length_and_days_as_geometry_says(outages):
    """(1.457 + 0.53) deg at 0.25 deg a minute: at most 7.9 min (10 %); 0.4 deg a day of declination: about 5 days."""
    seasons = SatelliteOutages("slot", -103.0, outages).seasons
    assert [4 <= len(season) <= 6 for season in seasons] == [True, True]
    assert 7.9 * 0.9 <= max(o.minutes for o in outages) <= 7.9 * 1.1
    # before the March, after the September equinox in the north
    assert [(s[0].start.month, s[-1].start.month) for s in seasons] == [(10, 10), (3, 3)]
    assert all(FIRST <= o.start < FIRST + timedelta(days=366) for o in outages)
    assert {o.start.utcoffset() for o in outages} == {timedelta(hours=-6)}


def test_start_end_and_middle_by_an_independent_library(outages):
    """astropy (its sun by another theory): at start and end the sun is half a beam and its radius away."""
    from astropy import units
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_sun
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        place = EarthLocation.from_geodetic(-98.0, 38.5, 500.0)
        moments = [m for o in outages for m in (o.start, o.end, o.start + (o.end - o.start) / 2)]
        frame = AltAz(obstime=Time([m.astimezone(UTC).replace(tzinfo=None) for m in moments]), location=place)
        sun = get_sun(frame.obstime).transform_to(frame)
        azimuth, elevation, _ = look_angles(38.5, -98.0, 500.0, -103.0)
        slot = SkyCoord(azimuth * units.deg, elevation * units.deg, frame=frame)
        apart = sun.separation(slot).deg.reshape(-1, 3)
    half = half_width_deg(1.2, 12.0)
    # 0.005 deg are 1.2 s of the sun's way; near the season's ends it grazes the beam, so the angle is what to compare
    np.testing.assert_allclose(apart[:, :2], half, atol=0.005)
    np.testing.assert_allclose(apart[:, 2], [o.closest_deg for o in outages], atol=0.005)


def test_in_the_south_the_seasons_are_the_other_way_round():
    found = outages_of(-33.0, 151.0, 0.0, 160.0, datetime(2026, 1, 1, tzinfo=UTC), 1.0)
    assert {o.start.month for o in found} <= {3, 4, 8, 9}
    assert all(o.start.day > 20 for o in found if o.start.month == 3)  # after the March equinox
    assert all(o.start.day < 23 for o in found if o.start.month == 9)  # before the September one


def test_a_season_under_way_is_cut_at_dispatch(outages):
    third = outages[2]
    later = outages_of(*PLAINS, third.start + timedelta(minutes=2), half_width_deg(1.2, 12.0))
    assert abs(later[0].start - third.start) < timedelta(seconds=2)  # the pass that is on is still told
    assert len(SatelliteOutages("slot", -103.0, later).seasons[0]) == 3


def test_a_larger_dish_has_shorter_outages():
    small, large = (outages_of(*PLAINS, FIRST, half_width_deg(d, 12.0)) for d in (0.75, 2.4))
    assert len(small) > len(large)
    assert max(o.minutes for o in small) > 1.5 * max(o.minutes for o in large)


def test_across_the_180th_meridian_and_below_the_horizon():
    assert len(outages_of(60.0, 179.9, 0.0, -175.0, FIRST, 1.0)) >= 6
    assert outages_of(45.0, -113.0, 0.0, 60.0, FIRST, 1.0) == ()


def test_in_words():
    mission = Mission(
        layers=Layers(elevation=("a.tif",), incident_area="b", roads="c"),
        staging=Staging(latitude=38.5, longitude=-98.0),
        sky=Sky(
            satellites=(
                Satellite(name="satellite at 103° W", longitude_deg=-103.0),
                Satellite(name="far", longitude_deg=60.0),
            ),
            downlink_ghz=12.0,
        ),
        times={"dispatch": FIRST.isoformat()},
    )
    here, far = sun_outages(mission, 38.5, -98.0, 500.0).satellites
    assert outage_sentence(here) == (
        "Sun behind satellite at 103° W: 6 to 10 Oct 2026, daily between 12:38 and 12:46 (-06:00), "
        "up to 9 min without link."
    )
    assert outage_sentence(far) == "Sun behind far: not within a year."


def test_the_plan_carries_them(valley_plan):
    record = json.loads(json_text(plan_record(valley_plan)))["sun_outages"]
    (one,) = record["satellites"]
    assert one["satellite_name"] == "south"
    assert len(one["outages"]) == len(valley_plan.sun.satellites[0].outages) >= 8
    assert one["outages"][0]["start_utc"].endswith("+00:00")
    assert record["half_width_deg"] == pytest.approx(half_width_deg(1.2, 11.95), abs=1e-3)
