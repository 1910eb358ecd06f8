"""The hours that decide: by hand, from the slow case of what must come before them; unknown stays unknown."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import geopandas as gpd
import pytest
from shapely.geometry import box

from siteplanner.data.rise import Rise, read_rise, with_times
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.planning.site.clock import Threat, clock
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.site.site_wind import MastLimit, SiteWind, Span
from siteplanner.planning.site.timeline import time_on_air, timeline
from siteplanner.planning.telling.clock import go_rows

NOON = datetime.fromisoformat("2026-06-01T12:00:00-06:00")
BASE = {
    "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"},
    "staging": {"latitude": 45, "longitude": -113},
    "times": {"dispatch": NOON},
    "wind": {"mast_limit_raising_m_s": 10.0},
}
MISSION = mission_from_dict(BASE)


def hours(*threats, wind=None, mission=MISSION, drive_s=1200.0):
    made = time_on_air(mission, drive_s, 120.0)
    return clock(mission, timeline(mission, made, 45.0, -113.0, 1500.0), threats, wind), made


def at(hour, minute=0):
    return NOON.replace(hour=hour, minute=minute)


def wind_with(*spans, forecast=("2026-06-01T12:00:00-06:00", "2026-06-01T22:00:00-06:00")):
    mast = MastLimit(8.0, False, 20.0, 10.0)
    blank = SiteWind((), None, 0, None, None, "gust", mast, "gust", None, None, None, (), "", ())
    return replace(blank, spans=spans, forecast_from=forecast)


def test_a_flood_on_the_drive_sets_turn_round_and_leave():
    """Back over the road in the slow case: 1.4 times 20 min and 3 times 2 min; take-down 45 min before that."""
    found, air = hours(Threat("Flood", "drive", at(18), None))
    slow = air.parts[1].high_min + air.parts[2].high_min
    assert slow == pytest.approx(1.4 * 20 + 3 * 2)
    assert found.turn_round_by == at(18) - timedelta(minutes=slow)
    assert found.leave_spot_by == found.turn_round_by - timedelta(minutes=45)
    left = (found.leave_spot_by - NOON).total_seconds() / 60
    assert found.service_min == (pytest.approx(left - air.late_min), pytest.approx(left - air.early_min))


def test_water_at_the_spot_needs_no_way_back_and_the_worse_one_decides():
    found, _ = hours(Threat("Flood", "spot", at(18), None))
    assert found.turn_round_by == at(18)
    both, air = hours(Threat("Flood", "spot", at(18), None), Threat("Slide", "drive", at(18, 10), None))
    slow = air.parts[1].high_min + air.parts[2].high_min
    assert both.first_threat.name == "Slide"
    assert both.turn_round_by == at(18, 10) - timedelta(minutes=slow)


def test_a_hazard_without_an_hour_is_named_and_gives_none():
    found, _ = hours(Threat("Flood", "drive", None, None))
    assert (found.turn_round_by, found.leave_spot_by, found.service_min, found.first_threat) == (None,) * 4
    rows = dict(go_rows(found))
    assert rows["Hour unknown"].startswith("Flood: ask when it comes")
    assert "Turn round" not in rows


def test_no_time_on_air_is_said():
    found, _ = hours(Threat("Flood", "drive", at(13), None))
    assert found.service_min == (0.0, 0.0)
    assert "no time on air: do not go" in dict(go_rows(found))["Leave spot"]


def test_dispatch_for_a_set_up_before_dark():
    """Dusk less the slow way to first service; the sun's times have tests of their own."""
    found, air = hours()
    made = timeline(MISSION, air, 45.0, -113.0, 1500.0)
    assert found.dispatch_by == (
        made.light.dusk - timedelta(minutes=air.late_min),
        made.light.dusk - timedelta(minutes=air.early_min),
    )
    assert found.dispatch_too_late is False
    evening = mission_from_dict({**BASE, "times": {"dispatch": NOON.replace(hour=21)}})
    assert hours(mission=evening)[0].dispatch_too_late is True
    unsaid = mission_from_dict({**BASE, "times": {}})
    assert (hours(mission=unsaid)[0].dispatch_by, hours(mission=unsaid)[0].dispatch_too_late) == (None, None)


def test_hours_in_which_the_wind_lets_the_mast_be_raised():
    none = hours(wind=wind_with())[0].raising
    assert none == ((at(12), at(22)),)
    some = hours(wind=wind_with(_span("15:00", "17:00"), _span("20:00", "22:00")))[0].raising
    assert some == ((at(12), at(15)), (at(17), at(20)))
    assert hours(wind=wind_with(_span("12:00", "22:00")))[0].raising == ()
    assert hours(wind=wind_with(forecast=None))[0].raising is None
    silent = mission_from_dict({**BASE, "wind": {}})
    assert hours(wind=wind_with(), mission=silent)[0].raising is None
    assert "not known" in dict(go_rows(hours(wind=None)[0]))["Raise, lower"]


def _span(start, end):
    return Span("raising", f"2026-06-01T{start}-06:00", f"2026-06-01T{end}-06:00", 2.0)


def test_relief_leaves_so_that_it_arrives_with_the_shift_and_refuelling_is_off_air():
    found, air = hours()
    slow, quick = (sum(getattr(p, end) for p in air.parts[1:3]) for end in ("high_min", "low_min"))
    assert found.relief_leaves_min == (pytest.approx(720 - slow), pytest.approx(720 - quick))
    assert found.outage_min == (30.0, 45.0)
    assert dict(go_rows(found))["Off air"].startswith("30 to 45 min at each refueling")


def test_what_a_hazard_may_reach():
    near = HazardNear("Flood", 30.0, False, near_drive=True, near_spot=True, comes=at(18))
    assert [(t.place, t.comes) for t in near.threats] == [("drive", at(18)), ("spot", at(18))]
    assert HazardNear("Flood", 3000.0, False).threats == ()


RISE = Rise((at(12), at(16), at(20)), (1.0, 3.0, 1.0))


def test_a_level_is_reached_on_the_straight_line_between_rows():
    assert RISE.above(2.0) == (at(14), at(18))
    assert RISE.above(0.5) == (at(12), None)
    assert RISE.above(3.5) == (None, None)


def areas(**columns):
    return gpd.GeoDataFrame(columns, geometry=[box(0, 0, 1, 1)] * len(next(iter(columns.values()))), crs=32612)


def test_times_of_a_layer_go_before_those_of_a_level():
    made = with_times(areas(level_m=[2.0, 2.0, 9.0, None], **{"from": ["", at(13).isoformat(), "", None]}), RISE, ["h"])
    assert made["from"].tolist() == [at(14).isoformat(), at(13).isoformat(), "", ""]
    assert made["until"].tolist() == [at(18).isoformat(), at(18).isoformat(), "", ""]


@pytest.mark.parametrize(
    ("columns", "field", "said"),
    [
        ({"from": ["noon"]}, "hazards.from", "is not a time"),
        ({"until": ["2026-06-01T12:00:00"]}, "hazards.until", "no offset"),
        ({"level_m": ["high"]}, "hazards.level_m", "is no level"),
        ({"from": [at(14).isoformat()], "until": [at(13).isoformat()]}, "hazards.until", "ends before it starts"),
    ],
)
def test_wrong_times_are_named(columns, field, said):
    with pytest.raises(InputError, match=said) as wrong:
        with_times(areas(**columns), None, ["flood.gpkg"])
    assert wrong.value.field == field
    assert wrong.value.remedy


def test_a_forecast_of_rise_is_read_and_vetted(tmp_path):
    good = tmp_path / "rise.csv"
    good.write_text(f"time,level_m\n{at(12).isoformat()},1.0\n{at(16).isoformat()},3.0\n")
    rise, record = read_rise(good)
    assert (rise.level_m, record.role) == ((1.0, 3.0), "rise forecast")
    good.write_text("time,height\n")
    with pytest.raises(InputError, match="no column level_m"):
        read_rise(good)
    good.write_text(f"time,level_m\n{at(12).isoformat()},1.0\n{at(12).isoformat()},3.0\n")
    with pytest.raises(InputError, match="not later"):
        read_rise(good)
    with pytest.raises(InputError, match="no such file"):
        read_rise(tmp_path / "none.csv")
