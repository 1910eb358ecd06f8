"""What the next shift must know, as facts: from the last plan, the crew's report, readings, log and incident file.

All of it comes from records on the disk; what they do not say is None, NaN or empty and is told as not known.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any, Literal

from siteplanner.mission.incident import Channel, Incident
from siteplanner.mission.log import Entry, Log
from siteplanner.planning.plan.papers import Papers
from siteplanner.planning.plan.records import Place, distance_m, list_of, number, of, place_of, rows, text
from siteplanner.planning.study.sun import sun_times

From = Literal["report", "readings", "plan"]
MomentName = Literal[
    "refuel", "empty", "dusk", "dawn", "wind", "turn_round", "leave_spot", "relief", "period_end"
]  # fmt: skip
MOST_MESSAGES = 12
SERVED = 0.5


@dataclass(frozen=True)
class Stands:
    """Where the trailer stands and how; bearings true, NaN not known. `told_by`: what says so."""

    told_by: From
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    grid_reference: str
    heading_deg: float
    mast_stop_m: float
    sector_bearings_deg: tuple[float, ...]
    declination_deg: float
    satellite: str
    off_m: float  # from the planned spot
    assumed: tuple[str, ...]  # what the report left open
    reported_by: str


@dataclass(frozen=True)
class PointState:
    """A named point: chance of service now, level read there, share of the readings with service; NaN not known."""

    name: str
    chance: float
    read_dbm: float
    served: float

    @property
    def works(self) -> bool | None:
        """What was read goes before what is predicted; None: neither is known."""
        told = self.served if math.isfinite(self.served) else self.chance
        return None if not math.isfinite(told) else round(told, 2) >= SERVED  # as it is told, in hundredths


@dataclass(frozen=True)
class Fuel:
    """Fuel from the last gauge that somebody read, or that of a full tank at first service (`told_by` plan).

    Moments are None where nobody knows when that was. Early: at the highest burn.
    """

    told_by: Literal["log", "report", "plan"]
    at: datetime | None
    share: float
    refuel: tuple[datetime, datetime] | None
    empty: tuple[datetime, datetime] | None


@dataclass(frozen=True)
class NextMoment:
    """Something that comes; `early` and `late` are the same where it has one time. `name`: of the hazard or limit."""

    what: MomentName
    early: datetime
    late: datetime
    name: str = ""


@dataclass(frozen=True)
class AgainTold:
    """What planning again has said last: stay or move. Minutes without service of the move, NaN not known; `decided`:
    somebody decided something after it."""

    verdict: str
    at: datetime | None
    here: str
    there: str  # the first place that the trailer can be driven to; '' for none
    off_min: tuple[float, float]
    decided: bool


@dataclass(frozen=True)
class LeftOpen:
    """A finding of a plan.json that leaves something open: its code, its facts, and its message as written there, in
    metric units."""

    code: str
    facts: Mapping[str, Any]
    message: str


@dataclass(frozen=True)
class HandOver:
    """All of the page."""

    incident: Incident
    mission_name: str
    note: str
    prepared_at: datetime
    stands: Stands | None
    on_air_since: datetime | None
    on_air_said: str  # as the report has it, where its day is not known
    share: tuple[float, float, float]  # of the weighted area: now, low, high; NaN not known
    broken: tuple[str, ...]  # limits by their codes
    near: tuple[str, ...]
    points: tuple[PointState, ...]
    readings: int
    off_db: tuple[float, float, float]  # readings against the prediction: mean, low, high
    fuel: Fuel
    shore_power: bool
    coming: tuple[NextMoment, ...]
    channels: tuple[Channel, ...]
    cell_mhz: tuple[float, float, float]  # downlink, uplink, bandwidth
    newer_first: Place | None  # a newer plan has another spot first
    left_open: tuple[LeftOpen, ...]  # what the plan leaves open
    unread: tuple[str, ...]  # named points where nobody read
    questions: tuple[tuple[int, Entry], ...]
    decisions: tuple[tuple[int, Entry], ...]
    log: Log
    skipped: tuple[str, ...]  # files of the folder that cannot be read
    again: AgainTold | None = None


def hand_over(papers: Papers, prepared_at: datetime) -> HandOver:
    """The facts of the page. `prepared_at`: with its offset; nothing that was before it is told as coming."""
    plan, built = papers.plan, papers.as_built
    told = built if built is not None else plan
    row = next(iter(rows(told, "spots")), {})
    mission = of(told, "mission")
    stands = _stands(papers, row)
    dispatch = moment_of(of(plan, "mission", "times", "dispatch"))
    report = of(built, "as_built", "report")
    created = moment_of(of(built, "software", "created"))
    since, said = _on_air(text(of(report, "on_air_at")), dispatch, created, prepared_at)
    fuel = fuel_of(mission, papers.log, number(of(report, "fuel_pct")), since)
    points = _points(papers, row)
    return HandOver(
        incident=papers.incident,
        mission_name=text(of(mission, "name")),
        note=text(of(mission, "note")),
        prepared_at=prepared_at,
        stands=stands,
        on_air_since=since,
        on_air_said=said,
        share=_share(papers, row),
        broken=_broken(papers),
        near=tuple(text(c) for c in list_of(of(built, "as_built", "limits_near"))),
        points=points,
        readings=len(list_of(of(papers.measured, "readings"))),
        off_db=_three(of(papers.measured, "shared_error"), "mean_db", "low_db", "high_db"),
        fuel=fuel,
        shore_power=of(mission, "power", "shore_power") is True,
        coming=_coming(papers, row, stands, fuel, dispatch, prepared_at),
        channels=papers.incident.channels,
        cell_mhz=_three(of(mission, "radio"), "frequency_mhz", "uplink_frequency_mhz", "bandwidth_mhz"),
        newer_first=_newer_first(papers, stands),
        left_open=_left_open(told, row),
        unread=tuple(p.name for p in points if not (math.isfinite(p.read_dbm) or math.isfinite(p.served))),
        questions=papers.log.open_questions,
        decisions=tuple((n, e) for n, e in papers.log.entries if e.kind == "decided"),
        log=papers.log,
        skipped=papers.skipped,
        again=_again(papers),
    )


def _broken(papers: Papers) -> tuple[str, ...]:
    """Limits that are broken where it stands, by what has judged the place last."""
    found = (
        rows(papers.again, "stay", "broken") if papers.again_is_last else rows(papers.as_built, "as_built", "broken")
    )
    return tuple(text(of(b, "limit")) for b in found)


def _again(papers: Papers) -> AgainTold | None:
    held = papers.again
    if held is None:
        return None
    at = moment_of(papers.again_at)
    to = next((m for m in rows(held, "moves") if isinstance(of(m, "off_air"), dict)), None)
    off = number(of(to, "off_air", "early_min")), number(of(to, "off_air", "late_min"))
    after = [e for _, e in papers.log.entries if e.kind == "decided" and at is not None and e.logged_at >= at]
    verdict, here = text(of(held, "verdict")), text(of(held, "stay", "spot"))
    return AgainTold(verdict, at, here, text(of(to, "spot")), off, bool(after))


def moment_of(value: Any) -> datetime | None:
    """A moment of a record; None for none, or for one without its offset."""
    try:
        found = datetime.fromisoformat(text(value).replace("Z", "+00:00"))
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


def _three(value: Any, *names: str) -> tuple[float, float, float]:
    one, two, three = (number(of(value, name)) for name in names)
    return one, two, three


def _stands(papers: Papers, row: Mapping[str, Any]) -> Stands | None:
    built, read = of(papers.as_built, "as_built"), of(papers.measured, "stands")
    if not row and read is None:
        return None
    coverage, looks = of(row, "coverage"), rows(row, "sky")
    told: From = "report" if built is not None else "plan" if read is None else "readings"
    spot = row if read is None or built is not None else read
    report, stands = of(built, "report"), of(built, "stands")
    bearings = list_of(of(stands, "sector_bearings_deg")) or list_of(of(spot, "sector_bearings_deg"))
    own = told != "readings" or text(of(row, "name")) == text(of(read, "spot"))
    stop = number(of(stands, "mast_stop_m")) if stands else number(of(spot, "mast_height_m"))
    planned = [number(b) for b in list_of(of(coverage, "sector_bearings_deg"))]
    clear = [k for k in looks if text(of(k, "state")) == "clear"] if own else []
    seen = max(clear, key=lambda k: number(of(k, "margin_deg")), default={})
    return Stands(
        told_by=told,
        name=text(of(built, "planned", "name")) or text(of(spot, "name")) or text(of(spot, "spot")),
        latitude=number(of(spot, "latitude")),
        longitude=number(of(spot, "longitude")),
        elevation_m=number(of(row, "elevation_m")) if own else math.nan,
        grid_reference=text(of(row, "grid_reference")) if own else "",
        heading_deg=number(of(row, "ground", "heading_deg")) if own else math.nan,
        mast_stop_m=stop if math.isfinite(stop) else number(of(coverage, "mast_height_m")),
        sector_bearings_deg=tuple(number(b) for b in bearings) or tuple(planned),
        declination_deg=number(of(row, "magnetic", "declination_deg")),
        satellite=text(of(report, "satellite")) or text(of(seen, "satellite_name")),
        off_m=number(of(built, "distance_m")),
        assumed=tuple(text(part) for part in list_of(of(built, "assumed"))),
        reported_by=text(of(report, "reported_by")),
    )


def _on_air(
    said: str, dispatch: datetime | None, created: datetime | None, prepared_at: datetime
) -> tuple[datetime | None, str]:
    """(moment of first service, how it was said). Of a time of the day: the first such time after the dispatch; else
    the last one before the report was typed in."""
    if not said:
        return None, ""
    whole = moment_of(said)
    if whole is not None:
        return whole, said
    try:
        of_day = time.fromisoformat(said)
    except ValueError:
        return None, said
    zone = (dispatch or prepared_at).tzinfo
    if dispatch is not None:
        found = datetime.combine(dispatch.date(), of_day, zone)
        return (found if found >= dispatch else found + timedelta(days=1)), said
    if created is None:
        return None, said
    known = created.astimezone(zone)
    found = datetime.combine(known.date(), of_day, zone)
    return (found if found <= known else found - timedelta(days=1)), said


def fuel_of(mission: Any, log: Log, reported_pct: float, since: datetime | None) -> Fuel:
    """Fuel by the last gauge that somebody read: usable share over the burn, at the highest and at the lowest."""
    power = of(mission, "power")
    tank, reserve = number(of(power, "fuel_tank_l")), number(of(power, "refuel_at_share"))
    burn = [number(b) for b in list_of(of(power, "fuel_burn_l_per_h"))]
    gauges = [(e.at, e.fuel_pct / 100) for _, e in log.entries if e.fuel_pct is not None]
    told: Literal["log", "report", "plan"]
    at: datetime | None
    if gauges and (since is None or gauges[-1][0] >= since or not math.isfinite(reported_pct)):
        told, (at, share) = "log", gauges[-1]
    elif math.isfinite(reported_pct):
        told, at, share = "report", since, reported_pct / 100
    else:
        told, at, share = "plan", since, 1.0
    known = at is not None and len(burn) == 3 and all(map(math.isfinite, (tank, reserve, *burn))) and min(burn) > 0
    if at is None or not known:
        return Fuel(told, at, share, None, None)
    left, all_of_it = max(share - reserve, 0.0) * tank, share * tank
    low, high = min(burn), max(burn)
    hours = [timedelta(hours=v) for v in (left / high, left / low, all_of_it / high, all_of_it / low)]
    return Fuel(told, at, share, (at + hours[0], at + hours[1]), (at + hours[2], at + hours[3]))


def _points(papers: Papers, row: Mapping[str, Any]) -> tuple[PointState, ...]:
    held: dict[str, PointState] = {}
    for p in rows(row, "coverage", "must_serve"):
        name = text(of(p, "name"))
        held[name] = PointState(name, number(of(p, "probability")), math.nan, math.nan)
    for p in rows(papers.as_built, "as_built", "points"):
        name, served = text(of(p, "name")), of(p, "served")
        said = math.nan if not isinstance(served, bool) else float(served)
        held[name] = PointState(name, number(of(p, "now")), number(of(p, "read_dbm")), said)
    for p in rows(papers.measured, "points"):
        name = text(of(p, "name"))
        was = held.get(name, PointState(name, math.nan, math.nan, math.nan))
        read = number(of(p, "read")) > 0
        share = number(of(p, "served")) / number(of(p, "read")) if read else math.nan
        level = number(of(p, "measured_dbm"))
        held[name] = PointState(
            name, number(of(p, "now")), level if math.isfinite(level) else was.read_dbm,
            share if math.isfinite(share) else was.served,
        )  # fmt: skip
    return tuple(held.values())


def _share(papers: Papers, row: Mapping[str, Any]) -> tuple[float, float, float]:
    if papers.again_is_last:
        return number(of(papers.again, "stay", "share")), math.nan, math.nan
    if papers.measured is not None:
        return _three(of(papers.measured, "share_now"), "share", "low", "high")
    if papers.as_built is not None:
        return number(of(papers.as_built, "as_built", "share", "now")), math.nan, math.nan
    return _three(of(row, "coverage"), "share", "share_low", "share_high")


def _coming(
    papers: Papers, row: Mapping[str, Any], stands: Stands | None, fuel: Fuel, dispatch: datetime | None, now: datetime
) -> tuple[NextMoment, ...]:
    out: list[NextMoment] = []
    if fuel.refuel is not None and fuel.empty is not None:
        out += [NextMoment("refuel", *fuel.refuel), NextMoment("empty", *fuel.empty)]
    planned = next(iter(rows(papers.plan, "spots")), {})
    for span in rows(row, "wind", "spans") or rows(planned, "wind", "spans"):
        start, end = moment_of(of(span, "start")), moment_of(of(span, "end"))
        if start is not None and end is not None:
            out.append(NextMoment("wind", start, end, text(of(span, "limit"))))
    clock = of(planned, "clock")
    threat = text(of(clock, "first_threat", "name"))
    for what in ("turn_round", "leave_spot"):
        by = moment_of(of(clock, f"{what}_by"))
        if by is not None:
            out.append(NextMoment("turn_round" if what == "turn_round" else "leave_spot", by, by, threat))
    shift = number(of(papers.plan, "mission", "times", "shift_h"))
    if dispatch is not None and math.isfinite(shift):
        relief = dispatch + timedelta(hours=shift)
        out.append(NextMoment("relief", relief, relief))
    if papers.incident.period_to is not None:
        out.append(NextMoment("period_end", papers.incident.period_to, papers.incident.period_to))
    zone = dispatch.tzinfo if dispatch is not None else now.tzinfo
    out = [m for m in (*out, *_light(stands, now.astimezone(zone))) if m.late >= now]
    return tuple(sorted(out, key=lambda m: m.early.astimezone(UTC)))


def _light(stands: Stands | None, now: datetime) -> list[NextMoment]:
    """The next civil dusk and dawn where the trailer stands."""
    if stands is None or not math.isfinite(stands.latitude + stands.longitude):
        return []
    height = stands.elevation_m if math.isfinite(stands.elevation_m) else 0.0
    dawns: list[datetime | None] = []
    dusks: list[datetime | None] = []
    for day in (now, now + timedelta(days=1)):
        dawn, _, _, dusk = sun_times(day, stands.latitude, stands.longitude, height)
        dawns.append(dawn)
        dusks.append(dusk)
    out = []
    for what, moments in (("dusk", dusks), ("dawn", dawns)):
        first = next((m for m in moments if m is not None and m >= now), None)
        if first is not None:
            out.append(NextMoment("dusk" if what == "dusk" else "dawn", first, first))
    return out


def _newer_first(papers: Papers, stands: Stands | None) -> Place | None:
    """The first spot of a plan that is newer than the report, where that is another place."""
    first = next((p for p in map(place_of, rows(papers.plan, "spots")) if p is not None), None)
    if first is None or stands is None or not papers.plan_is_newer:
        return None
    here = Place(stands.name, math.nan, stands.latitude, stands.longitude, "")
    near = number(of(papers.plan, "search", "spacing_used_m")) / 2
    return None if distance_m(first, here) <= max(near if math.isfinite(near) else 0.0, 50.0) else first


def _left_open(told: Any, row: Mapping[str, Any]) -> tuple[LeftOpen, ...]:
    """What the plan and the place leave open, each message once."""
    found: dict[str, LeftOpen] = {}
    for f in (*rows(row, "findings"), *rows(told, "findings")):
        message, facts = text(of(f, "message")), of(f, "facts")
        if message and of(f, "severity") in ("unknown", "check"):
            held = facts if isinstance(facts, Mapping) else {}
            found.setdefault(message, LeftOpen(text(of(f, "code")), held, message))
    return tuple(found.values())[:MOST_MESSAGES]
