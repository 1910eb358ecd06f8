"""The timeline as SVG: the way to first service as ranges, then night, wind, refuelling and relief; black and white."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from siteplanner.outputs.words.text import xml_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.site.timeline import Timeline
from siteplanner.planning.telling.clock import day_and_time
from siteplanner.planning.telling.timeline import drawing_words, on_air_label, part_labels, refuel_label, relief_label
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.planning.telling.wind import lane_label

FONT = 'font-family="DejaVu Sans, sans-serif"'
LANE, BAR = 27.0, 9.0  # a lane: a line of words, below it the bar
WORDS = 13.5  # of the lane, for the words
HEAD, AXIS = 18.0, 32.0
SIDE = 14.0
GAP = 22.0
SHADES = {"twilight": "#ebebeb", "dark": "#d0d0d0"}
STEPS_H = (1 / 60, 1 / 12, 1 / 6, 0.25, 0.5, 1, 2, 3, 6, 12, 24, 48)


@dataclass
class _Panel:
    """One scale of time, hours from its zero on, with lanes below each other."""

    x: float
    y: float
    width: float
    to_h: float
    title: str
    lanes: int
    out: list[str] = field(default_factory=list)

    def at(self, hours: float) -> float:
        return self.x + min(max(hours, 0.0), self.to_h) / self.to_h * self.width

    @property
    def top(self) -> float:
        return self.y + HEAD

    @property
    def bottom(self) -> float:
        return self.top + LANE * self.lanes

    def lane(self, number: int) -> float:
        """Upper edge of the lane's bar."""
        return self.top + LANE * number + 14.5

    def words(self, number: int, text: str) -> None:
        self.out.append(_text(self.x + 3, self.top + LANE * number + 11, text))

    def bar(self, number: int, start_h: float, end_h: float, style: str) -> None:
        if end_h < 0 or start_h > self.to_h:
            return
        x = self.at(start_h)
        self.out.append(
            f'<rect x="{x:.1f}" y="{self.lane(number):.1f}" width="{max(self.at(end_h) - x, 1.5):.1f}" '
            f'height="{BAR:g}" {style}/>'
        )

    def reach(self, number: int, early_h: float, late_h: float) -> None:
        """A range as a line with ends, drawn over the bar."""
        y, a, b = self.lane(number) + BAR / 2, self.at(early_h), self.at(late_h)
        self.out.append(
            f'<path d="M{a:.1f} {y - 4.5:.1f}v9M{b:.1f} {y - 4.5:.1f}v9M{a:.1f} {y:.1f}H{b:.1f}" fill="none" '
            'stroke="#fff" stroke-width="3.4"/>'
            f'<path d="M{a:.1f} {y - 4.5:.1f}v9M{b:.1f} {y - 4.5:.1f}v9M{a:.1f} {y:.1f}H{b:.1f}" fill="none" '
            'stroke="#000" stroke-width="1.5"/>'
        )

    def tick(self, number: int, hours: float) -> None:
        if 0 <= hours <= self.to_h:
            y = self.lane(number) + BAR
            self.out.append(f'<path d="M{self.at(hours):.1f} {y:.1f}l-5 -{BAR:g}h10Z" fill="#000"/>')


def timeline_svg(plan: Plan, ranked: RankedSpot, *, width: float = 760.0, parts: bool = True) -> str:
    """The timeline of one spot as a whole SVG; '' where no road leads to the spot.

    Left (above, where narrow): each part of the way to first service, its mean time as a bar and the range of
    its end as a line. Right: the hours after, with night, refuelling, relief and, with a forecast, the hours above
    each wind limit. `width` in SVG units, letters are 11 high; `parts=False` leaves the first drawing out. Every
    figure is that of `RankedSpot.on_site`.
    """
    units = reader_units(plan.mission)
    site = ranked.on_site
    timeline = site.timeline
    if timeline is None:
        return ""
    key = hashlib.sha256(f"time {ranked.spot.x:.2f} {ranked.spot.y:.2f} {width:g} {parts}".encode()).hexdigest()[:8]
    beside = parts and width >= 600
    across = (width - 2 * SIDE - GAP) / 2 if beside else width - 2 * SIDE
    panels = [_parts(timeline, key, SIDE, 0.0, across, units)] if parts else []
    below = panels[0].bottom + AXIS if panels and not beside else 0.0
    panels.append(_hours(plan, site, timeline, key, SIDE + (across + GAP if beside else 0.0), below, across))
    if timeline.dispatch is None and plan.forecast is not None:
        low = max(p.bottom for p in panels) + AXIS
        panels.append(_forecast_alone(plan, site, key, SIDE, low, width - 2 * SIDE))
    height = max(p.bottom for p in panels) + AXIS
    body = "".join("".join(p.out) for p in panels)
    words = drawing_words(site, plan.forecast is not None, units.first)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-labelledby="t{key} d{key}"><title id="t{key}">Timeline of {xml_text(ranked.spot.name)}</title>'
        f'<desc id="d{key}">{xml_text(words)}</desc>{_patterns(key)}'
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>{body}</svg>'
    )


def _parts(timeline: Timeline, key: str, x: float, y: float, width: float, units: Units) -> _Panel:
    """Each part from its mean start to its mean end, with the range of its end."""
    to_h = max(1.04 * timeline.moments.late_min / 60, 0.1)
    panel = _Panel(x, y, width, to_h, "To first service (line: 9 in 10)", len(timeline.moments.parts))
    _frame(panel, timeline.dispatch, timeline)
    start = 0.0
    labels = part_labels(timeline.moments, units.first)
    for number, (part, label) in enumerate(zip(timeline.moments.parts, labels, strict=True)):
        panel.words(number, label)
        last = number == len(timeline.moments.parts) - 1
        panel.bar(number, start / 60, part.end_mean_min / 60, f'fill="{"#333" if last else "#aaa"}" stroke="#000"')
        panel.reach(number, part.end_early_min / 60, part.end_late_min / 60)
        start = part.end_mean_min
    return panel


def _hours(plan: Plan, site: OnSite, timeline: Timeline, key: str, x: float, y: float, width: float) -> _Panel:
    units = reader_units(plan.mission)
    wind = plan.forecast is not None and timeline.dispatch is not None
    panel = _Panel(x, y, width, timeline.span_h, "Hours after dispatch", 5 if wind else 3)
    _frame(panel, timeline.dispatch, timeline)
    early, mean, late = timeline.moments.early_min / 60, timeline.moments.mean_min / 60, timeline.moments.late_min / 60
    panel.words(0, on_air_label(timeline.moments, units.first))
    panel.bar(0, mean, panel.to_h, 'fill="#333" stroke="#000"')
    panel.reach(0, early, late)
    panel.words(1, refuel_label(timeline, units.first))
    low, likely = mean + timeline.refuel_low_h, mean + timeline.refuel_likely_h
    if low > panel.to_h:
        panel.out.append(_text(x + width - 3, panel.lane(1) + BAR, "later →", anchor="end"))
    panel.bar(1, low, likely, f'fill="url(#h{key})" stroke="#000"')
    panel.words(2, relief_label(timeline, units.first))
    for k in range(1, int(panel.to_h / timeline.relief_h) + 1):
        panel.tick(2, k * timeline.relief_h)
    if wind:
        zero = timeline.dispatch
        assert zero is not None
        _wind(panel, plan, site, key, zero, 3)
    return panel


def _forecast_alone(plan: Plan, site: OnSite, key: str, x: float, y: float, width: float) -> _Panel:
    """The forecast by its own clock, for a mission without a dispatch time."""
    assert plan.forecast is not None
    times = plan.forecast.times
    hours = max((times[-1] - times[0]).total_seconds() / 3600, 1.0)
    panel = _Panel(x, y, width, hours, "Wind forecast by the clock (no dispatch time given)", 2)
    _frame(panel, times[0], None)
    _wind(panel, plan, site, key, times[0], 0)
    return panel


def _wind(panel: _Panel, plan: Plan, site: OnSite, key: str, zero: datetime, lane: int) -> None:
    """Hours above each limit; an empty frame shows how far the forecast reaches."""
    units = reader_units(plan.mission)
    assert plan.forecast is not None
    wind = plan.mission.wind
    ends = [(t - zero).total_seconds() / 3600 for t in (plan.forecast.times[0], plan.forecast.times[-1])]
    for number, (limit, speed, words, style) in enumerate(
        (
            ("tracking", wind.tracking_limit_m_s, "link may drop", f'fill="url(#h{key})" stroke="#000"'),
            ("stow", wind.stow_limit_m_s, "dish stows", 'fill="#000"'),
        ),
        lane,
    ):
        spans = [s for s in site.wind.spans if s.limit == limit] if site.wind else []
        shown = ends[1] >= 0 and ends[0] <= panel.to_h
        panel.words(number, lane_label(speed, words, sum(s.hours for s in spans) if shown else None, units))
        panel.bar(number, ends[0], ends[1], 'fill="#fff" stroke="#777" stroke-width="0.7"')
        for span in spans:
            a, b = ((datetime.fromisoformat(t) - zero).total_seconds() / 3600 for t in (span.start, span.end))
            panel.bar(number, a, b, style)


def _frame(panel: _Panel, zero: datetime | None, timeline: Timeline | None) -> None:
    """Title, night, axis with hours or minutes below and the clock under them."""
    p = panel
    p.out.append(_text(p.x, p.y + 13, p.title, weight="bold"))
    kinds = {n.kind for n in (timeline.nights if timeline else ()) if n.start_h < p.to_h}
    right = p.x + p.width
    for kind, wide in (("twilight", 46.0), ("dark", 28.0)):
        if kind in kinds:
            right -= wide + 18
            p.out.append(
                f'<rect x="{right:.1f}" y="{p.y + 5:.1f}" width="12" height="9" fill="{SHADES[kind]}" stroke="#000" '
                'stroke-width="0.4"/>' + _text(right + 15, p.y + 13, kind, size=10)
            )
    for night in timeline.nights if timeline else ():
        if night.start_h < p.to_h:
            x = p.at(night.start_h)
            p.out.append(
                f'<rect x="{x:.1f}" y="{p.top:.1f}" width="{p.at(night.end_h) - x:.1f}" '
                f'height="{p.bottom - p.top:.1f}" fill="{SHADES[night.kind]}"/>'
            )
    p.out.append(
        f'<rect x="{p.x:.1f}" y="{p.top:.1f}" width="{p.width:.1f}" height="{p.bottom - p.top:.1f}" fill="none" '
        'stroke="#000" stroke-width="0.8"/>'
    )
    room = max(int(p.width / 62), 2)
    step = next((s for s in STEPS_H if p.to_h / s <= room), p.to_h)
    in_minutes = step < 1
    for k in range(int(p.to_h / step + 1e-9) + 1):
        hours = k * step
        x = p.at(hours)
        left = x - 12 if k == 0 else x  # room for the clock of the next one
        anchor = "start" if k == 0 else "end" if x > p.x + p.width - 14 else "middle"
        label = f"{hours * 60:.0f}" if in_minutes else f"{hours:g}"
        if k == 0:
            label += " min" if in_minutes else " h"
        p.out.append(
            f'<path d="{_tick(p, x)}" stroke="#777" stroke-width="0.3"/>'
            + _text(left, p.bottom + 13, label, anchor=anchor, size=10)
        )
        if zero is not None:
            moment = zero + timedelta(hours=hours)
            p.out.append(_text(left, p.bottom + 24, day_and_time(moment), anchor=anchor, size=9))


def _tick(panel: _Panel, x: float) -> str:
    """A line down the panel that leaves out the words of each lane."""
    lanes = (panel.top + LANE * number for number in range(panel.lanes))
    return "".join(f"M{x:.1f} {y + WORDS:.1f}V{y + LANE:.1f}" for y in lanes) + "v3"


def _text(x: float, y: float, words: str, *, anchor: str = "start", size: float = 11, weight: str = "normal") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" {FONT} font-weight="{weight}" '
        f'text-anchor="{anchor}">{xml_text(words)}</text>'
    )


def _patterns(key: str) -> str:
    return (
        f'<defs><pattern id="h{key}" width="5" height="5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="5" height="5" fill="#fff"/>'
        '<rect width="2" height="5" fill="#000"/></pattern></defs>'
    )
