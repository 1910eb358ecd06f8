"""A trailer that stands, row by row against its plan: stand, aim, times, service, what phones read; and its record."""

from __future__ import annotations

import math
from dataclasses import asdict
from datetime import datetime, time
from typing import Any

from siteplanner.data.grid_reference import grid_text
from siteplanner.mission.report import Level
from siteplanner.planning.plan.as_built import AsBuilt, PointNow, TimeOff
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.aiming import both_bearings
from siteplanner.planning.telling.as_built import MARK, as_built_head, broken_sentences, limits_sentence
from siteplanner.planning.telling.clock import minutes_range
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

AS_PLANNED = "not reported: taken as planned"
SAME_DEG = 0.5  # less is the same bearing to whole degrees
GAIN = 0.02  # of the area, from which on turning the sectors is worth a word; common practice
Row = tuple[str, str, str, str]
COLUMNS = ("What", "As planned", "As built", "Off")


def as_built_rows(made: AsBuilt, e: Evaluation, units: Units = METRIC) -> list[Row]:
    """(what, as planned, as built, off): place, stand, aim, times, service; what was not reported is said so."""
    return [
        *_stand_rows(made, e, units),
        *_dish_rows(made, e, units),
        *[_time_row(t, units) for t in made.times],
        *_told_rows(made),
        *service_rows(made, units),
    ]


def _stand_rows(made: AsBuilt, e: Evaluation, units: Units) -> list[Row]:
    plan, stands, spot = made.planned, made.stands, e.spot
    off = (
        f"{units.distance(made.distance_m)} toward {units.bearing(made.bearing_deg)} true, ± {units.keep(made.doubt_m)}"
    )
    heading = plan.heading_deg
    rows = [
        ("Place, degrees", _degrees(plan.latitude, plan.longitude), _degrees(spot.latitude, spot.longitude), off),
        ("Place, grid", grid_text(plan.grid_reference), grid_text(spot.grid_reference), ""),
        (
            "Tongue points to",
            both_bearings(heading, e, units),
            AS_PLANNED if "heading" in made.assumed else both_bearings(stands.heading_deg, e, units),
            turned_words(made.heading_off_deg, units),
        ),
        (
            "Mast stop",
            units.stop(plan.mast_stop_m),
            AS_PLANNED if "stop" in made.assumed else units.stop(stands.mast_stop_m),
            _higher(made.stop_off_m, units),
        ),
    ]
    if not made.sectors_moved:
        told = ", ".join(units.bearing(b) for b in plan.sector_bearings_deg)
        return [*rows, ("Sectors point to, true", told or "all round", AS_PLANNED, "")]
    for number, s in enumerate(made.sectors, 1):
        both = both_bearings(s.planned_deg, e, units), both_bearings(s.built_deg, e, units)
        rows.append((f"Sector {number} points to", *both, turned_words(s.off_deg, units)))
    return rows


def _dish_rows(made: AsBuilt, e: Evaluation, units: Units) -> list[Row]:
    """New look angles beside those of the plan; the margin over the skyline of each."""
    if not e.dish_wanted:
        return []
    was = {look.satellite_name: look for look in made.planned.looks}
    out: list[Row] = []
    for look in e.sky:
        old = was.get(look.satellite_name)
        planned = "not in the plan" if old is None else _look(old.azimuth_deg, old.elevation_deg, units)
        now = _look(look.azimuth_deg, look.elevation_deg, units)
        state = "clear" if look.clear else "not clear"
        known = math.isfinite(look.margin_deg)
        spare = f"{state}, {units.angle(look.margin_deg)} above the skyline" if known else "skyline not known"
        out.append((f"Dish toward {look.satellite_name}", planned, now, spare))
    if found := made.report.satellite:
        out.append(("Satellite found", "", found, ""))
    return out


def _look(azimuth_deg: float, elevation_deg: float, units: Units) -> str:
    return f"azimuth {units.angle(azimuth_deg)} true, {units.angle(elevation_deg)} up"


def _time_row(t: TimeOff, units: Units) -> Row:
    what = {"on_air": "On air after dispatch", "set_up": "From arrival to on air"}[t.what]
    late = "later" if t.off_min > 0 else "earlier"
    off = f"{units.minutes(abs(t.off_min))} {late} than the average"
    inside = ", within the range" if t.within else ", outside the range"
    planned = minutes_range(t.planned.early_min, t.planned.late_min, units)
    return what, planned, units.minutes(t.took_min), f"{off}{inside}"


def _told_rows(made: AsBuilt) -> list[Row]:
    r = made.report
    said = (
        ("Arrived at", clock(r.arrived_at)),
        ("Dish locked at", clock(r.locked_at)),
        ("On air at", clock(r.on_air_at)),
        ("Fuel in the tank", "" if r.fuel_pct is None else METRIC.share(r.fuel_pct / 100)),
        ("Hours on the meter", "" if r.meter_h is None else f"{r.meter_h:g}"),
        ("Photos", ", ".join(r.photos)),
        ("What was different", r.different),
        ("Said by", r.reported_by),
    )
    return [(what, "", text, "") for what, text in said if text]


def clock(moment: datetime | time | None) -> str:
    """`14:35`, with its day where that was said; '' for none."""
    if moment is None:
        return ""
    return f"{moment:%b %d, %H:%M}" if isinstance(moment, datetime) else f"{moment:%H:%M}"


def service_rows(made: AsBuilt, units: Units = METRIC) -> list[Row]:
    """Predicted service of the place as it stands: share of the area, then each named point, with what was read."""
    off = points_off(made.share - made.planned.share, units)
    rows: list[Row] = [
        ("Incident area served, predicted", _share(made.planned.share, units), _share(made.share, units), off)
    ]
    for point in made.points:
        rows.append((point.name, _share(point.planned, units), _share(point.now, units), read_words(point, units)))
    return rows


def read_words(point: PointNow, units: Units = METRIC) -> str:
    """What a phone showed at a point, against what is expected there; else whether that changed with the place."""
    if point.read is not None:
        return level_words(point.read, point.expected_dbm, units)
    had, has = point.planned >= SERVED, point.now >= SERVED
    if had == has or not math.isfinite(point.planned):
        return ""
    return "service is likely now" if has else "service is no longer likely"


def level_words(read: Level, expected_dbm: float, units: Units) -> str:
    """`-98 dBm read, -93 dBm expected`; `no service found, ...`."""
    expected = f"{units.figure(expected_dbm, 'dBm')} expected" if math.isfinite(expected_dbm) else "nothing expected"
    parts = [] if read.served is None else ["service found" if read.served else "no service found"]
    if read.rsrp_dbm is not None:
        parts.append(f"{units.figure(read.rsrp_dbm, 'dBm')} read, {expected}")
    return ", ".join(parts)


def turn_sectors_words(made: AsBuilt, units: Units = METRIC) -> str:
    """What turning the sectors to the best bearings of this place would give; '' where that is little."""
    if not made.best_share - made.share > GAIN:
        return ""
    return (
        f"With the sectors turned to the best bearings for this place {units.share(made.best_share)} would be served "
        f"in place of {units.share(made.share)}."
    )


def as_built_lines(made: AsBuilt, e: Evaluation, units: Units = METRIC) -> list[str]:
    """Everything, a line each, the worst first."""
    lines = [f"{as_built_head(made, units)}.", limits_sentence(made, units)]
    lines += [f"{MARK}, broken: {text}" for text in broken_sentences(made, units)]
    for what, planned, built, off in as_built_rows(made, e, units):
        told = [f"planned {planned}" if planned else "", built, off]
        lines.append(f"{what}{units.colon} {'; '.join(filter(None, told))}")
    return [*lines, *filter(None, [turn_sectors_words(made, units)])]


def turned_words(off_deg: float, units: Units) -> str:
    """`12° clockwise`; '' where it was not reported."""
    if not math.isfinite(off_deg):
        return ""
    if abs(off_deg) < SAME_DEG:
        return "as planned"
    return f"{units.angle(abs(off_deg), 0)} {'clockwise' if off_deg > 0 else 'counterclockwise'}"


def _higher(off_m: float, units: Units) -> str:
    if not math.isfinite(off_m):
        return ""
    if abs(off_m) < 0.05:
        return "as planned"
    return f"{units.length(abs(off_m), 1)} {'higher' if off_m > 0 else 'lower'}"


def points_off(share: float, units: Units) -> str:
    """A change of a share in words: `3 % of the area less`."""
    if not math.isfinite(share):
        return NOT_KNOWN
    if abs(share) < 0.005:
        return "as planned"
    return f"{units.share(abs(share))} of the area {'more' if share > 0 else 'less'}"


def _share(share: float, units: Units) -> str:
    return units.share(share) if math.isfinite(share) else NOT_KNOWN


def _degrees(latitude: float, longitude: float) -> str:
    return f"{latitude:.5f}, {longitude:.5f}"


def as_built_record(made: AsBuilt, e: Evaluation) -> dict[str, Any]:
    """As plain values: the report as it came, what was planned, what is off, what is broken."""
    times = [{**asdict(t), "off_min": t.off_min, "within": t.within} for t in made.times]
    planned = asdict(made.planned) | {"dispatch": clock_record(made.planned.dispatch)}
    return {
        "sentence": f"{as_built_head(made)}.",
        "limits_sentence": limits_sentence(made),
        "report": made.report.model_dump(mode="json", exclude_none=True),
        "planned": planned,
        "stands": asdict(made.stands),
        "assumed": list(made.assumed),
        "declination_deg": made.declination_deg,
        "distance_m": made.distance_m,
        "bearing_deg": made.bearing_deg,
        "place_doubt_m": made.doubt_m,
        "heading_off_deg": made.heading_off_deg,
        "mast_stop_off_m": made.stop_off_m,
        "sectors": [{**asdict(s), "off_deg": s.off_deg} for s in made.sectors],
        "times": times,
        "broken": [{"limit": b.code, "reason": breach_words(b)} for b in made.broken],
        "limits_near": list(made.near),
        "share": {"planned": made.planned.share, "now": made.share, "best_bearings": made.best_share},
        "points": [_point_record(p) for p in made.points],
        "lines": as_built_lines(made, e),
        "called": [asdict(spot) for spot in made.called],
    }


def clock_record(moment: datetime | None) -> str | None:
    """A moment as ISO 8601 with its offset."""
    return None if moment is None else moment.isoformat()


def _point_record(p: PointNow) -> dict[str, Any]:
    return {
        "name": p.name,
        "planned": p.planned,
        "now": p.now,
        "expected_dbm": p.expected_dbm,
        "read_dbm": None if p.read is None else p.read.rsrp_dbm,
        "served": None if p.read is None else p.read.served,
    }
