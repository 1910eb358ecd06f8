"""The drawn timeline: bars where the figures put them, night where the sun is down, wind where the forecast is."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest

from siteplanner.data.forecast import WindForecast
from siteplanner.mission import Power, Times
from siteplanner.outputs.sheets.figure_timeline import SHADES, timeline_svg
from siteplanner.planning.site.timeline import light_spans
from siteplanner.planning.study.sun import sun_times
from tests.outputs.factory import HOSTILE, make_plan, waiting

ZONE = timezone(timedelta(hours=-6))
EVENING = datetime(2026, 6, 1, 19, 30, tzinfo=ZONE)
SVG = "{http://www.w3.org/2000/svg}"


def dispatched(plan, moment=EVENING, **parts):
    mission = plan.mission.model_copy(update={"times": Times(dispatch=moment), **parts})
    return waiting(replace(plan, mission=mission))


def windy(plan, start, speeds):
    times = tuple(start + timedelta(hours=k) for k in range(len(speeds)))
    none = (math.nan,) * len(speeds)
    return waiting(replace(plan, forecast=WindForecast(times, tuple(speeds), none, none)))


def rects(svg, fill):
    """(x, width) of each bar with this fill, in order."""
    found = [r for r in ET.fromstring(svg).iter(f"{SVG}rect") if r.get("x") and re.fullmatch(fill, r.get("fill"))]
    return [(float(r.get("x")), float(r.get("width"))) for r in found]


def words(svg):
    return [t.text for t in ET.fromstring(svg).iter(f"{SVG}text")]


def test_parts_stand_end_to_end_on_one_scale(plan):
    timeline = plan.best.on_site.timeline
    svg = timeline_svg(plan, plan.best)
    # the left half: from 14 to (760 - 28 - 22) / 2 further on; its end is 1.04 x the late end of the last part
    across, whole = 355.0, 1.04 * timeline.moments.late_min
    bars = rects(svg, "#aaa") + rects(svg, "#333")[:1]
    start = 0.0
    for part, (x, width) in zip(timeline.moments.parts, bars, strict=True):
        assert x == pytest.approx(14 + across * start / whole, abs=0.06)
        assert width == pytest.approx(max(across * (part.end_mean_min - start) / whole, 1.5), abs=0.11)
        start = part.end_mean_min
    # each end is named by what is reached then: "Drive: 28 to 42 min" was read as how long the drive takes
    ends = [f"{p.end_early_min:.0f} to {p.end_late_min:.0f} min" for p in timeline.moments.parts]
    reached = ("Under way by", "Drive done by", "On the spot by", "Mast up by", "On air by")
    assert {f"{what} {when}" for what, when in zip(reached, ends, strict=True)} <= set(words(svg))
    assert timeline.moments.arrival is timeline.moments.parts[2]


def test_no_line_strikes_through_words(plan):
    """Hour lines leave out the words of each lane; letters are 11 high and stand on their line."""
    late = dispatched(plan)
    for drawn in (timeline_svg(late, late.best), timeline_svg(late, late.best, width=388)):
        root = ET.fromstring(drawn)
        texts = [
            (float(t.get("x")), float(t.get("y")), 5.5 * len(t.text))
            for t in root.iter(f"{SVG}text")
            if t.get("font-size") == "11" and t.get("font-weight") == "normal"
        ]
        lines = [
            (float(x), float(a), float(b))
            for p in root.iter(f"{SVG}path")
            if p.get("stroke") == "#777"
            for x, a, b in re.findall(r"M([\d.]+) ([\d.]+)V([\d.]+)", p.get("d"))
        ]
        assert len(lines) > 10
        for x, y, wide in texts:
            assert not [line for line in lines if x < line[0] < x + wide and line[1] < y - 1 and line[2] > y - 8]


def test_refuelling_and_relief_stand_in_their_hours(plan):
    timeline = plan.best.on_site.timeline
    svg = timeline_svg(plan, plan.best, width=388, parts=False)
    ((x, width),) = rects(svg, r"url\(#h\w+\)")
    scale = 360 / timeline.span_h
    assert x == pytest.approx(14 + scale * (timeline.moments.mean_min / 60 + timeline.refuel_low_h), abs=0.06)
    assert width == pytest.approx(scale * (timeline.refuel_likely_h - timeline.refuel_low_h), abs=0.11)
    marks = [float(m) for m in re.findall(r'd="M([\d.]+) [\d.]+l-5', svg)]
    assert marks == pytest.approx([14 + scale * h for h in (12, 24, 36, 48)], abs=0.06)
    assert f"Refuel {timeline.refuel_low_h:.0f} to {timeline.refuel_likely_h:.0f} h after first service" in words(svg)


def test_night_is_shaded_from_dusk_to_dawn(plan):
    late = dispatched(plan)
    spot, timeline = plan.best.spot, late.best.on_site.timeline
    svg = timeline_svg(late, late.best, width=388, parts=False)
    # dusk of the day and dawn of the next by the function that is tested against almanacs
    dusk = sun_times(EVENING, spot.latitude, spot.longitude, spot.elevation_m)[3]
    dawn = sun_times(EVENING + timedelta(days=1), spot.latitude, spot.longitude, spot.elevation_m)[0]
    hours = [(t - EVENING).total_seconds() / 3600 for t in (dusk, dawn)]
    first = next(n for n in timeline.nights if n.kind == "dark")
    assert (first.start_h, first.end_h) == pytest.approx(hours, abs=1 / 120)  # half a minute
    x, width = rects(svg, SHADES["dark"])[1]  # the first is the key's
    scale = 360 / timeline.span_h
    assert (x, x + width) == pytest.approx([14 + scale * h for h in hours], abs=0.2)
    assert {"dark", "twilight"} <= set(words(svg))
    assert not rects(timeline_svg(plan, plan.best), "|".join(SHADES.values()))  # no dispatch time, no night


def test_light_spans_in_polar_day_and_night():
    zone = timezone(timedelta(0))
    assert light_spans(datetime(2026, 6, 21, tzinfo=zone), 48, 75, 20, 0) == ()
    (night,) = light_spans(datetime(2026, 12, 21, tzinfo=zone), 48, 85, 20, 0)
    assert (night.kind, night.start_h, night.end_h) == ("dark", 0.0, 48)


def test_a_day_has_four_changes_of_light():
    """Dispatch at midnight: dark, twilight, (day), twilight, dark, at the almanac-tested times."""
    day = datetime(2015, 8, 2, tzinfo=timezone(timedelta(hours=-7)))
    spans = light_spans(day, 24, 39, -105, 0)
    assert [s.kind for s in spans] == ["dark", "twilight", "twilight", "dark"]
    wanted = [(t - day).total_seconds() / 3600 for t in sun_times(day, 39, -105)]
    got = [spans[0].end_h, spans[1].end_h, spans[2].start_h, spans[3].start_h]
    assert got == pytest.approx(wanted, abs=1 / 120)


def test_wind_above_each_limit_is_marked_where_the_forecast_has_it(plan):
    # 45 and 50 mph are 20.12 and 22.35 m/s; above both from the first hour to the end, before that calm
    start = EVENING + timedelta(hours=4)
    late = windy(dispatched(plan), start, [5.0, 60.0, 60.0, 60.0])
    site = late.best.on_site
    svg = timeline_svg(late, late.best, width=388, parts=False)
    scale = 360 / site.timeline.span_h
    tracking = rects(svg, r"url\(#h\w+\)")[-1]
    ((stow_x, stow_width),) = rects(svg, "#000")
    for (x, width), name in ((tracking, "tracking"), ((stow_x, stow_width), "stow")):
        (span,) = [s for s in site.wind.spans if s.limit == name]
        begin = (datetime.fromisoformat(span.start) - EVENING).total_seconds() / 3600
        assert x == pytest.approx(14 + scale * begin, abs=0.06)
        assert width == pytest.approx(scale * span.hours, abs=0.3)
        assert any(f"{span.hours:.1f} h" in w for w in words(svg))
    frame = rects(svg, "#fff")[-1]
    assert frame == pytest.approx((14 + scale * 4, scale * 3), abs=0.1)


def test_wind_without_a_dispatch_time_has_its_own_clock(plan):
    blown = windy(plan, EVENING, [30.0, 30.0, 5.0])
    said = words(timeline_svg(blown, blown.best))
    assert "Wind forecast by the clock (no dispatch time given)" in said
    assert "Mon 19:30" in said
    assert not any("Above 45 mph" in w for w in words(timeline_svg(plan, plan.best)))


def test_a_forecast_for_another_day_says_so(plan):
    stale = windy(dispatched(plan), EVENING - timedelta(days=9), [5.0, 5.0])
    assert any("other hours forecast" in w for w in words(timeline_svg(stale, stale.best)))
    calm = windy(dispatched(plan), EVENING, [5.0, 5.0])
    assert any("none forecast" in w for w in words(timeline_svg(calm, calm.best)))


def test_a_tank_for_weeks_and_no_way_in(plan):
    big = dispatched(plan, power=Power(fuel_tank_l=5000))
    assert big.best.on_site.timeline.span_h == 96
    assert "later →" in words(timeline_svg(big, big.best))
    e = replace(plan.best.evaluation, access=None)
    afar = waiting(replace(plan, spots=(replace(plan.best, evaluation=e),)))
    assert timeline_svg(afar, afar.best) == ""


def test_hostile_names_stay_text_and_the_drawing_is_named():
    plan = make_plan(names=HOSTILE)
    svg = timeline_svg(plan, plan.best)
    root = ET.fromstring(svg)
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "Timeline of <img src=x onerror=alert(1)>"
    assert "first service" in root.find(f"{SVG}desc").text
    assert "<img" not in svg
