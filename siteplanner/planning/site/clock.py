"""The hours that decide: leave by, turn round by, leave the spot by, when to raise the mast, relief, outage at refuel.

Each is on the safe side of its range: the slow case of what must come before it. A hazard whose time nobody knows has
no hour here; it is named instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from siteplanner.mission import Mission
from siteplanner.planning.site.site_wind import SiteWind
from siteplanner.planning.site.timeline import Timeline


@dataclass(frozen=True)
class Threat:
    """A hazard area that reaches the spot or the drive, with its times; None: not known."""

    name: str  # '': not named
    place: Literal["spot", "drive"]
    comes: datetime | None
    goes: datetime | None


@dataclass(frozen=True)
class Clock:
    """None and empty: not known, or nothing to say. Ranges are (early, late)."""

    # dispatch so late still brings first service before the end of twilight: in nine cases of ten, and in a quick one
    dispatch_by: tuple[datetime, datetime] | None
    dispatch_too_late: bool | None  # the dispatch named is later than the first of these; None: not known
    threats: tuple[Threat, ...]  # the first to come first; those without a time last
    first_threat: Threat | None  # the one that sets the two hours below
    turn_round_by: datetime | None  # whoever is not on the spot by then goes back
    leave_spot_by: datetime | None  # take-down starts no later
    service_min: tuple[float, float] | None  # minutes on air until then; 0: none
    raising: tuple[tuple[datetime, datetime], ...] | None  # forecast hours with less wind than stops the raising
    relief_leaves_min: tuple[float, float]  # after dispatch, so that it arrives with the shift's end
    outage_min: tuple[float, float]  # at each refuelling: the engine stops, cools, is filled
    outage_h: tuple[float, float]  # after first service, the first of them


def clock(mission: Mission, timeline: Timeline, threats: Sequence[Threat], wind: SiteWind | None) -> Clock:
    """The hours of one spot, from its timeline, the hazards that threaten it and the wind there."""
    moments, times = timeline.moments, mission.times
    drive = moments.parts[1:-2]  # the drive and the last leg
    slow, quick = sum(p.high_min for p in drive), sum(p.low_min for p in drive)
    known = sorted((t for t in threats if t.comes is not None), key=lambda t: t.comes or datetime.max)
    turn: list[tuple[datetime, Threat]] = []
    for threat in known:
        assert threat.comes is not None
        way_back = slow if threat.place == "drive" else 0.0
        turn.append((threat.comes - timedelta(minutes=way_back), threat))
    back, first = min(turn, key=lambda pair: pair[0], default=(None, None))
    leave = None if back is None else back - timedelta(minutes=times.take_down_min[1])
    return Clock(
        *_daylight(timeline),
        (*known, *(t for t in threats if t.comes is None)),
        first,
        back,
        leave,
        _service(timeline, leave),
        _raising(mission, wind),
        (60 * timeline.relief_h - slow, 60 * timeline.relief_h - quick),
        mission.power.refuel_outage_min,
        (timeline.refuel_low_h, timeline.refuel_likely_h),
    )


def _daylight(timeline: Timeline) -> tuple[tuple[datetime, datetime] | None, bool | None]:
    dusk = None if timeline.light is None else timeline.light.dusk
    if dusk is None or timeline.dispatch is None:
        return None, None
    late, early = (timedelta(minutes=m) for m in (timeline.moments.late_min, timeline.moments.early_min))
    return (dusk - late, dusk - early), timeline.dispatch > dusk - late


def _service(timeline: Timeline, leave: datetime | None) -> tuple[float, float] | None:
    if leave is None or timeline.dispatch is None:
        return None
    left = (leave - timeline.dispatch).total_seconds() / 60
    return max(left - timeline.moments.late_min, 0.0), max(left - timeline.moments.early_min, 0.0)


def _raising(mission: Mission, wind: SiteWind | None) -> tuple[tuple[datetime, datetime], ...] | None:
    """The forecast's hours without those in which the wind at the mast is above the limit of raising."""
    if wind is None or wind.forecast_from is None or mission.wind.mast_limit_raising_m_s is None:
        return None
    at, end = (datetime.fromisoformat(t) for t in wind.forecast_from)
    out = []
    for span in sorted((s for s in wind.spans if s.limit == "raising"), key=lambda s: s.start):
        start, stop = datetime.fromisoformat(span.start), datetime.fromisoformat(span.end)
        if start > at:
            out.append((at, start))
        at = max(at, stop)
    return (*out, (at, end)) if end > at else tuple(out)
