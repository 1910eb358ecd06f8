"""When the service starts and what comes after: three-point estimates, daylight, fuel, relief.

Method: PERT (D. G. Malcolm, J. H. Roseboom, C. E. Clark, W. Fazar, Application of a technique for research and
development program evaluation, Operations Research 7 (1959) 646-669): each part is a beta distribution between its low
and its high with mean (low + 4 likely + high) / 6. Its spread is that of this very distribution, not the rule of
(high - low) / 6, which is smaller. Parts are alike in the dark, in the rain and with a tired crew: they go together
with the correlation of times.parts_alike, so variances and covariances add up. The sum is taken as a beta distribution
between the sums of lows and highs with that mean and spread; its 5 % and 95 % points are the range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from siteplanner.mission import Mission
from siteplanner.planning.study.sun import CIVIL_DEG, SUNRISE_DEG, light_word, sun_elevations_deg, sun_times
from siteplanner.roads.waits import NO_WAITS, Waits

NINE_IN_TEN = (0.05, 0.95)
"""The points of a distribution between which nine cases in ten lie."""
DRIVE_LOW, DRIVE_HIGH = 0.85, 1.4  # of the drive time worked out; common practice, no source
LEG_LOW, LEG_HIGH = 0.7, 3.0  # the last leg with a spotter, doors opened, ground walked; common practice, no source
MOST_SHOWN_H = 96.0  # of the hours after dispatch in a drawing
ON_SITE_PARTS = 2  # set-up and acquisition: what comes after the arrival


def pert(low: float, likely: float, high: float) -> tuple[float, float]:
    """Mean and standard deviation of a three-point estimate: beta between low and high, mean of Malcolm et al. 1959.

    With shapes that add up to 6 the variance is (mean - low) (high - mean) / 7, closed form.
    """
    mean = (low + 4 * likely + high) / 6
    return mean, math.sqrt((mean - low) * (high - mean) / 7)


@dataclass(frozen=True)
class Part:
    """One part of the way to first service; minutes. `end_*` count from dispatch to the part's end: the range that
    holds nine cases in ten, the mean, and the most likely time (the mode of all parts so far together, which is more
    than their likely minutes added up).
    """

    name: str
    low_min: float
    likely_min: float
    high_min: float
    mean_min: float
    end_early_min: float
    end_likely_min: float
    end_mean_min: float
    end_late_min: float


@dataclass(frozen=True)
class Moments:
    """From dispatch to first service, part by part. Estimates lean to the late side, so the mean is later than the
    most likely time. `parts_alike`: the correlation assumed between any two parts.
    """

    parts: tuple[Part, ...]
    parts_alike: float

    @property
    def early_min(self) -> float:
        """First service at the earliest, by the range that holds nine cases in ten."""
        return self.parts[-1].end_early_min

    @property
    def likely_min(self) -> float:
        """The most likely time of first service."""
        return self.parts[-1].end_likely_min

    @property
    def mean_min(self) -> float:
        """First service on average."""
        return self.parts[-1].end_mean_min

    @property
    def late_min(self) -> float:
        """First service at the latest, by the same range."""
        return self.parts[-1].end_late_min

    @property
    def arrival(self) -> Part:
        """The part that ends on the spot: the last leg."""
        return self.parts[-ON_SITE_PARTS - 1]


@dataclass(frozen=True)
class Light:
    """Sun at the spot on the day of arrival. Times carry the dispatch time's offset; None: does not happen."""

    dawn: datetime | None  # civil twilight starts
    sunrise: datetime | None
    sunset: datetime | None
    dusk: datetime | None  # civil twilight ends
    arrival: tuple[str, str]  # day, twilight or dark: at an early and at a late one
    first_service: tuple[str, str]


@dataclass(frozen=True)
class LightSpan:
    """A time without full daylight at the spot; hours from dispatch."""

    kind: str  # twilight, dark
    start_h: float
    end_h: float


@dataclass(frozen=True)
class Timeline:
    """From dispatch to relief. Hours of fuel count from first service, relief from dispatch."""

    moments: Moments
    dispatch: datetime | None
    light: Light | None
    fuel_low_h: float  # tank empty at the highest burn
    fuel_likely_h: float
    fuel_high_h: float
    refuel_low_h: float  # reserve reached at the highest burn
    refuel_likely_h: float
    relief_h: float
    nights: tuple[LightSpan, ...] = ()  # over `span_h` hours; empty without a dispatch time

    @property
    def span_h(self) -> float:
        """Hours from dispatch that a drawing should show: past the likely refuelling and the relief."""
        return span_h(self.moments.late_min, self.refuel_likely_h, self.relief_h)

    def clock(self, minutes: float) -> datetime | None:
        """A time of day so many minutes after dispatch; None when the dispatch time is not given."""
        return None if self.dispatch is None else self.dispatch + timedelta(minutes=minutes)


def drive_range(drive_s: float, leg_s: float, waits: Waits = NO_WAITS) -> tuple[float, float, float]:
    """Low, likely and high seconds of a drive, whose likely waits are in it, and its last leg (see DRIVE_METHOD)."""
    rolling = drive_s - waits.likely_s
    low = DRIVE_LOW * rolling + waits.low_s + LEG_LOW * leg_s
    return low, drive_s + leg_s, DRIVE_HIGH * rolling + waits.high_s + LEG_HIGH * leg_s


def three_points(
    mission: Mission, drive_s: float, last_leg_s: float, waits: Waits = NO_WAITS
) -> tuple[tuple[str, float, float, float], ...]:
    """(part, low, likely, high minutes) in order, from the mission's figures and the drive worked out."""
    trailer = mission.trailer
    low, drive, high = drive_range(drive_s, 0.0, waits)
    leg_low, leg, leg_high = drive_range(0.0, last_leg_s)
    return (
        ("Hitch up and walk round", *trailer.hitch_up_min),
        ("Drive", low / 60, drive / 60, high / 60),
        ("Last leg", leg_low / 60, leg / 60, leg_high / 60),
        ("Set up, level, raise the mast", *trailer.set_up_min),
        ("Acquire the satellite, start service", *trailer.acquisition_min),
    )


def time_on_air(mission: Mission, drive_s: float, last_leg_s: float, waits: Waits = NO_WAITS) -> Moments:
    """Minutes from dispatch to first service: most likely, mean, and the range that holds nine cases in ten."""
    alike = mission.times.parts_alike
    return Moments(_parts(three_points(mission, drive_s, last_leg_s, waits), alike), alike)


def off_air(mission: Mission, drive_s: float, legs_s: float, waits: Waits = NO_WAITS) -> Moments:
    """Minutes without service when a trailer moves: from the first guy let go to first service at the other place.

    `legs_s`: over ground, at both ends. The take-down is stated quick and slow; the middle of them is taken as likely
    (common practice, no source). It has the hitching in it.
    """
    quick, slow = mission.times.take_down_min
    points = (
        ("Take down, hitch up", quick, (quick + slow) / 2, slow),
        *three_points(mission, drive_s, legs_s, waits)[1:],
    )
    return Moments(_parts(points, mission.times.parts_alike), mission.times.parts_alike)


def _parts(points: tuple[tuple[str, float, float, float], ...], alike: float) -> tuple[Part, ...]:
    out: list[Part] = []
    mean_sum = variance = spread_sum = low_sum = high_sum = 0.0
    for name, low, likely, high in points:
        mean, spread = pert(low, likely, high)
        variance += spread**2 + 2 * alike * spread * spread_sum
        mean_sum, spread_sum = mean_sum + mean, spread_sum + spread
        low_sum, high_sum = low_sum + low, high_sum + high
        early, mode, late = beta_between(low_sum, mean_sum, high_sum, variance)
        out.append(Part(name, low, likely, high, mean, early, mode, mean_sum, late))
    return tuple(out)


def beta_between(low: float, mean: float, high: float, variance: float) -> tuple[float, float, float]:
    """5 % point, mode and 95 % point of the beta distribution between low and high with this mean and variance.

    Its shapes are m k and (1 - m) k with m = (mean - low) / (high - low) and k = m (1 - m) / v - 1; the mode is
    (m k - 1) / (k - 2) of the way. Closed form; the points by scipy. All three are the mean where nothing varies.
    """
    reach = high - low
    if not variance > 0 or not reach > 0:
        return mean, mean, mean
    from scipy.special import betaincinv

    m, v = (mean - low) / reach, variance / reach**2
    k = max(m * (1 - m) / v - 1, 1e-3)
    early, late = (low + reach * float(betaincinv(m * k, (1 - m) * k, point)) for point in NINE_IN_TEN)
    # shapes of 1 and less lean on an end: the most likely is that end
    if m * k <= 1 or (1 - m) * k <= 1:
        return early, low if m <= 0.5 else high, late
    return early, low + reach * (m * k - 1) / (k - 2), late


def timeline(mission: Mission, moments: Moments, latitude: float, longitude: float, height_m: float) -> Timeline:
    """The whole timeline of one spot; daylight only when the mission names the dispatch time."""
    power, times = mission.power, mission.times
    low, likely, high = power.fuel_burn_l_per_h
    usable = power.fuel_tank_l * (1 - power.refuel_at_share)
    light: Light | None = None
    nights: tuple[LightSpan, ...] = ()
    if times.dispatch is not None:
        light = daylight(
            times.dispatch,
            moments.arrival,
            moments.parts[-1],
            latitude=latitude,
            longitude=longitude,
            height_m=height_m,
        )
        shown = span_h(moments.late_min, usable / likely, times.shift_h)
        nights = light_spans(times.dispatch, shown, latitude, longitude, height_m)
    return Timeline(
        moments=moments,
        dispatch=times.dispatch,
        light=light,
        fuel_low_h=power.fuel_tank_l / high,
        fuel_likely_h=power.fuel_tank_l / likely,
        fuel_high_h=power.fuel_tank_l / low,
        refuel_low_h=usable / high,
        refuel_likely_h=usable / likely,
        relief_h=times.shift_h,
        nights=nights,
    )


def span_h(late_min: float, refuel_likely_h: float, relief_h: float) -> float:
    """Hours from dispatch that a drawing shows: likely refuelling and relief, a little more, at most `MOST_SHOWN_H`."""
    return min(max(1.05 * (late_min / 60 + refuel_likely_h), 1.1 * relief_h, late_min / 60 + 1), MOST_SHOWN_H)


def light_spans(
    dispatch: datetime, hours: float, latitude: float, longitude: float, height_m: float
) -> tuple[LightSpan, ...]:
    """Twilight and dark at a place from dispatch on, in order, over so many hours.

    Elevations by the NREL SPA every 5 minutes; a span starts and ends where a straight line between two of them
    crosses the level, good to a few seconds. Times are those of a level horizon.
    """
    steps = max(math.ceil(hours * 12), 1)
    at = [k * hours / steps for k in range(steps + 1)]
    height = sun_elevations_deg([dispatch + timedelta(hours=h) for h in at], latitude, longitude, height_m)
    cuts = [0.0]
    for k in range(steps):
        low, high = sorted((height[k], height[k + 1]))
        crossed = [level for level in (CIVIL_DEG, SUNRISE_DEG) if low < level <= high]
        cuts += sorted(at[k] + (c - height[k]) / (height[k + 1] - height[k]) * (at[k + 1] - at[k]) for c in crossed)
    cuts.append(hours)
    spans = []
    for start, end in pairwise(cuts):
        if end - start < 1e-9:
            continue
        # the sun's height inside the span says which it is
        nearest = (start + end) / 2 / hours * steps
        k = min(int(nearest), steps - 1)
        inside = height[k] + (nearest - k) * (height[k + 1] - height[k])
        word = light_word(inside)
        if word != "day":
            spans.append(LightSpan(word, start, end))
    return tuple(spans)


def daylight(
    dispatch: datetime, arrival: Part, service: Part, *, latitude: float, longitude: float, height_m: float
) -> Light:
    """Sun times on the local day of the mean arrival, and the light between early arrival and late service.

    Times are those of a level horizon: behind a ridge the sun is gone earlier.
    """
    on_day = dispatch + timedelta(minutes=arrival.end_mean_min)
    dawn, sunrise, sunset, dusk = sun_times(on_day, latitude, longitude, height_m)
    moments = [dispatch + timedelta(minutes=m) for m in (arrival.end_early_min, arrival.end_late_min)]
    moments += [dispatch + timedelta(minutes=m) for m in (service.end_early_min, service.end_late_min)]
    a, b, c, d = (light_word(h) for h in sun_elevations_deg(moments, latitude, longitude, height_m))
    return Light(dawn, sunrise, sunset, dusk, (a, b), (c, d))
