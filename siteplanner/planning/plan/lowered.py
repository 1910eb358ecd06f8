"""What forecast wind asks of a mast that stands: the stop that stands it, what is served from there, or none at all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.site.site_wind import SiteWind, Span, site_wind
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.study.spot import Spot, Stance
from siteplanner.planning.study.study import Study

ENDS_SERVICE = frozenset({"sky_blocked", "no_backhaul"})  # limits without which nothing is carried on


@dataclass(frozen=True, eq=False)
class Lowered:
    """The mast where it stands, once the wind of the forecast is there. `stop_m` None: no stop stands it, the mast
    comes down and nothing is served. `by`: when it must be done, `until`: when it may go up again, both ISO 8601."""

    from_m: float
    stop_m: float | None
    evaluation: Evaluation | None  # from that stop, as the sectors point
    by: str
    until: str
    share: float
    required_lost: tuple[str, ...]  # required points served as it stands and not from there
    points_lost: tuple[str, ...]  # other named points, the same
    carried: bool  # a backhaul still works from there

    @property
    def hours(self) -> float:
        """From `by` to `until`."""
        return (datetime.fromisoformat(self.until) - datetime.fromisoformat(self.by)).total_seconds() / 3600

    @property
    def enough(self) -> bool:
        """Whether the lower stop still does what is required."""
        return self.stop_m is not None and self.carried and not self.required_lost


def stands_wind(wind: SiteWind | None) -> bool | None:
    """Whether a mast stands the forecast at its stop; None: no forecast, or its limit is not stated."""
    if wind is None or wind.gusts is None or not wind.mast.stated:
        return None
    return not any(span.limit == "mast" for span in wind.spans)


def lowered(judge: Judge, spot: Spot, stands: Stance, now: Evaluation, wind: SiteWind | None) -> Lowered | None:
    """None where the mast stands the forecast as it is, or where nothing says what it stands."""
    if wind is None or stands_wind(wind) is not False:
        return None
    mission, grid = judge.study.mission, judge.study.elevation
    by, until = hours_down(wind.spans)
    bare = Lowered(stands.mast_stop_m, None, None, by, until, 0.0, *_lost(judge, now.coverage, None), False)
    for stop in reversed([s for s in mission.trailer.mast_stops_m if s < stands.mast_stop_m - 1e-6]):
        if stands_wind(site_wind(mission, grid, spot, stop, judge.forecast)):
            found = evaluate(judge, spot, replace(stands, mast_stop_m=stop))
            return replace(
                bare,
                stop_m=stop,
                evaluation=found,
                share=math.nan if found.coverage is None else found.coverage.share,
                required_lost=_lost(judge, now.coverage, found.coverage)[0],
                points_lost=_lost(judge, now.coverage, found.coverage)[1],
                carried=not ENDS_SERVICE & (_codes(found.failed) - _codes(now.failed)),
            )
    return bare


def _codes(failed: Sequence[Breach]) -> set[str]:
    return {breach.code for breach in failed}


def _lost(judge: Judge, now: Coverage | None, then: Coverage | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(required, other) named points that have service now and not then; then None: nothing has."""
    if now is None:
        return (), ()
    later = {} if then is None else {p.name: p.probability for p in then.must_serve}
    lost = [
        (p.name, must)
        for p, must, needed in zip(now.must_serve, judge.study.required, chances_needed(judge.study), strict=True)
        if p.probability >= needed > later.get(p.name, 0.0)
    ]
    return tuple(name for name, must in lost if must), tuple(name for name, must in lost if not must)


def chances_needed(study: Study) -> tuple[float, ...]:
    """Of each named point the chance from which it counts as served: the mission's where it is required, else even."""
    needed = study.mission.radio.chance_needed
    return tuple(needed if must else SERVED for must in study.required)


def hours_down(spans: Sequence[Span]) -> tuple[str, str]:
    """(by when, until when) the mast is lower: the hours above its limit, and those around them in which it may be
    neither raised nor lowered."""
    above = [s for s in spans if s.limit == "mast"]
    by, until = above[0].start, above[-1].end
    at = datetime.fromisoformat
    for span in spans:
        if span.limit == "raising":
            if at(span.start) <= at(above[0].start) <= at(span.end):
                by = span.start
            if at(span.start) <= at(above[-1].end) <= at(span.end):
                until = span.end
    return by, until
