"""Figures in words: metric or US units, for a reader or for a listener. The one place that turns a figure into text.

A distance that must be kept is rounded up, a distance that is there is rounded down, in whichever unit is printed
(`keep`, `there`), so that no rounding ever makes room. Unknown is said, never a number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from siteplanner.core.constants import FOOT_M, MILE_M, POUND_KG

if TYPE_CHECKING:
    from siteplanner.mission import Mission

NOT_KNOWN = "not known"
INCH_M = FOOT_M / 12
SHORT_TON_LB = 2000  # the ton of US signs (MUTCD 2009, section 2B.59) and of NIST SP 811, appendix B.8
GALLON_L = 3.785411784  # 231 cubic inches, NIST SP 811, appendix B.8

System = Literal["metric", "US", "both"]

_SPOKEN = {
    "m": ("meter", "meters"),
    "km": ("kilometer", "kilometers"),
    "ft": ("foot", "feet"),
    "in": ("inch", "inches"),
    "l": ("liter", "liters"),
    "mi": ("mile", "miles"),
    "t": ("metric ton", "metric tons"),
    "kg": ("kilogram", "kilograms"),
    "lb": ("pound", "pounds"),
    "US tons": ("ton of 2,000 pounds", "tons of 2,000 pounds"),
    "gal": ("gallon", "gallons"),
    "kV": ("kilovolt", "kilovolts"),
    "m/s": ("meter a second", "meters a second"),
    "mph": ("mile an hour", "miles an hour"),
    "min": ("minute", "minutes"),
    "h": ("hour", "hours"),
    "°": ("degree", "degrees"),
    "%": ("percent", "percent"),
    "dB": ("decibel", "decibels"),
    "dBm": ("dBm", "dBm"),
    "MHz": ("megahertz", "megahertz"),
    "km²": ("square kilometer", "square kilometers"),
    "sq mi": ("square mile", "square miles"),
}
_TO_US = {
    "m": (1 / FOOT_M, "ft"),
    "km": (1000 / MILE_M, "mi"),
    "km²": ((1000 / MILE_M) ** 2, "sq mi"),
    "kg": (1 / POUND_KG, "lb"),
    "t": (1000 / (POUND_KG * SHORT_TON_LB), "US tons"),
    "l": (1 / GALLON_L, "gal"),
    "m/s": (3600 / MILE_M, "mph"),
}
Rounding = Literal["nearest", "up", "down"]


@dataclass(frozen=True)
class Units:
    """How figures are written. `both`: metric with the US figure behind it in brackets. `spoken`: units as words,
    for what is read over a radio. Angles are degrees for everyone.
    """

    system: System = "metric"
    spoken: bool = False

    def figure(self, value: float | None, unit: str, digits: int = 0, rounding: Rounding = "nearest") -> str:
        """A figure of a metric unit, converted where the system says so; `digits` hold for each printed figure.

        Units without a US twin (°, %, dB, min, kV) are the same for everyone.
        """
        if value is None or math.isnan(value):
            return NOT_KNOWN
        if math.isinf(value):
            return "no limit" if value > 0 else "none"
        factor, us = _TO_US.get(unit, (1.0, unit))
        if us == unit or self.system == "metric":
            return self._said(value, unit, digits, rounding)
        if self.system == "US":
            return self._said(value * factor, us, digits, rounding)
        twin = self._said(value * factor, us, digits, rounding)
        metric = self._said(value, unit, digits, rounding)
        return f"{metric} or {twin}" if self.spoken else f"{metric} ({twin})"

    def length(self, metres: float | None, digits: int = 0) -> str:
        """A length up to a few hundred metres: `12 m`."""
        return self._mixed(metres, digits, 0, "nearest")

    def keep(self, metres: float | None, digits: int = 0) -> str:
        """A distance that must be kept: rounded up in every unit."""
        return self._mixed(metres, digits, 0, "up")

    def there(self, metres: float | None, digits: int = 0) -> str:
        """A distance that is there, or a height under which something must pass: rounded down in every unit."""
        return self._mixed(metres, digits, 0, "down")

    def _mixed(self, metres: float | None, metric_digits: int, us_digits: int, rounding: Rounding) -> str:
        """Metres to `metric_digits`, feet (a third as long) to one digit less, but at least `us_digits`."""
        if metres is None or not math.isfinite(metres):
            return NOT_KNOWN
        feet_digits = max(metric_digits - 1, us_digits)
        metric = self._said(metres, "m", metric_digits, rounding)
        if self.system == "metric":
            return metric
        feet = self._said(metres / FOOT_M, "ft", feet_digits, rounding)
        if self.system == "US":
            return feet
        return f"{metric} or {feet}" if self.spoken else f"{metric} ({feet})"

    def distance(self, metres: float | None, rounding: Rounding = "nearest") -> str:
        """A distance along a way or on the map: metres or feet when short, kilometres or miles when long.

        `rounding` down for how far off something is that must be kept away from.
        """
        if metres is None or not math.isfinite(metres):
            return NOT_KNOWN
        if self.system == "US":
            if metres >= 0.2 * MILE_M:
                return self._said(metres / MILE_M, "mi", 1, rounding)
            return self._said(metres / FOOT_M, "ft", 0, rounding)
        if metres >= 995:
            return self.figure(metres / 1000, "km", 1, rounding)
        return self.figure(metres, "m", 0, rounding)

    def odometer(self, metres: float) -> str:
        """How far from the start as an odometer shows it, in tenths, without the unit: `12.1`, of both `12.1 (7.5)`."""
        km, miles = f"{metres / 1000:.1f}", f"{metres / MILE_M:.1f}"
        return {"metric": km, "US": miles, "both": f"{km} ({miles})"}[self.system]

    def odometer_words(self, metres: float) -> str:
        """The same with its unit: `7.5 mi`, of both `12.1 km (7.5 mi)`."""
        return self.figure(metres / 1000, "km", 1)

    @property
    def odometer_unit(self) -> str:
        """The head of a column of `odometer`."""
        return {"metric": "km", "US": "mi", "both": "km (mi)"}[self.system]

    def bar(self, longest_m: float) -> tuple[float, str]:
        """The bar of a map's scale, 1, 2 or 5 by a power of ten: its metres and its words (of both the metric one)."""
        long_m, long, short_m, short = (MILE_M, "mi", FOOT_M, "ft") if self.system == "US" else (1000, "km", 1.0, "m")
        one, name = (long_m, long) if longest_m >= (long_m if self.system == "US" else 1000) else (short_m, short)
        step = 10 ** math.floor(math.log10(longest_m / one))
        count = max(n * step for n in (1, 2, 5) if n * step <= longest_m / one)
        return count * one, f"{count:g} {name}"

    def load(self, kilograms: float | None) -> str:
        """What a rig weighs, against signs: tonnes or US tons of 2,000 lb, in tenths, rounded up."""
        return self.figure(None if kilograms is None else kilograms / 1000, "t", 1, "up")

    def roughly(self, metres: float | None) -> str:
        """A distance along a way as a driver judges it: to 10 m or 50 ft, at least one of them; one unit of `both`
        is enough for the eye and the ear."""
        if metres is None or not math.isfinite(metres):
            return NOT_KNOWN
        if self.system == "US":
            if metres >= 0.2 * MILE_M:
                return self.distance(metres)
            return self._said(50 * max(1, round(metres / FOOT_M / 50)), "ft", 0, "nearest")
        if metres >= 995:
            return self._said(metres / 1000, "km", 1, "nearest")
        return self._said(10 * max(1, round(metres / 10)), "m", 0, "nearest")

    def part_of(self, part_m: float, whole_m: float) -> str:
        """`0.5 of 1.5 km`: a length of a longer one, both in the same unit; of both systems once in each."""
        if self.system == "both":
            km, miles = (replace(self, system=one).part_of(part_m, whole_m) for one in ("metric", "US"))
            return f"{km} or {miles}" if self.spoken else f"{km} ({miles})"
        each, unit = (MILE_M, "mi") if self.system == "US" else (1000.0, "km")
        part = f"{part_m / each:.1f}"
        if part == "0.0" and part_m > 0:
            part = "less than 0.1"  # a short piece is never shown as none
        return f"{part} of {self._said(whole_m / each, unit, 1, 'nearest')}"

    def posted(self, value: float | None, unit: str, rounding: Rounding = "down") -> str:
        """A limit as a sign or a road record states it: its own digits, at most three that count, none added. What is
        posted must not grow in either unit, so it is rounded down (8,000 lb are 3.62 t); `up` for what the rig itself
        needs. The US twin has a digit after the point; a weight is in tons of 2,000 lb, as US signs have it.
        """
        if value is None or not math.isfinite(value):
            return NOT_KNOWN
        count = max(0, 2 - math.floor(math.log10(abs(value)))) if value else 0
        metric = f"{rounded(value, count, rounding):.3g}"
        factor, us = _TO_US.get(unit, (1.0, unit))
        if us == unit or self.system == "metric":
            return self._unit(metric, unit)
        twin = self._said(value * factor, us, 1, rounding)
        if self.system == "US":
            return twin
        return f"{self._unit(metric, unit)} or {twin}" if self.spoken else f"{self._unit(metric, unit)} ({twin})"

    def stop(self, metres: float | None) -> str:
        """A mast stop or another length that the unit's manual names: its own digits."""
        return self.posted(metres, "m", "nearest")

    @property
    def colon(self) -> str:
        """What parts a thing from what is said of it: a colon to the eye, a pause to the ear."""
        return ", " if self.spoken else ": "

    def area(self, km2: float | None) -> str:
        """An area on the map."""
        return self.figure(km2, "km²", 1)

    def speed(self, metres_per_second: float | None) -> str:
        """Wind: metres a second, miles an hour."""
        return self.figure(metres_per_second, "m/s")

    def gust(self, metres_per_second: float | None) -> str:
        """Wind against the unit's limits, which most manuals state in mph: of both systems `45 mph (20 m/s)`."""
        if metres_per_second is None or not math.isfinite(metres_per_second):
            return NOT_KNOWN
        if self.system != "both":
            return self.speed(metres_per_second)
        mph = self._said(metres_per_second * 3600 / MILE_M, "mph", 0, "nearest")
        metric = self._said(metres_per_second, "m/s", 0, "nearest")
        return f"{mph} or {metric}" if self.spoken else f"{mph} ({metric})"

    def mass(self, kilograms: float | None) -> str:
        """A mass: tonnes from one tonne up, pounds."""
        if kilograms is None or not math.isfinite(kilograms):
            return NOT_KNOWN
        if self.system != "US" and kilograms >= 1000:
            tonnes = self._said(kilograms / 1000, "t", 1, "nearest")
            if self.system == "metric":
                return tonnes
            pounds = self._said(kilograms / POUND_KG, "lb", 0, "nearest")
            return f"{tonnes} or {pounds}" if self.spoken else f"{tonnes} ({pounds})"
        return self.figure(kilograms, "kg")

    def angle(self, degrees: float | None, digits: int = 1) -> str:
        """An angle: `12.3°`."""
        return self.figure(degrees, "°", digits)

    def bearing_figures(self, degrees: float | None) -> str:
        """Three figures, 000 to 359, without the word for degrees."""
        return NOT_KNOWN if degrees is None or not math.isfinite(degrees) else f"{round(degrees) % 360:03d}"

    def bearing(self, degrees: float | None) -> str:
        """Three figures, 000 to 359, with the degree sign."""
        if degrees is None or not math.isfinite(degrees):
            return NOT_KNOWN
        whole = f"{round(degrees) % 360:03d}"
        return f"{whole} degrees" if self.spoken else f"{whole}°"

    def grade(self, percent: float | None, error_pct: float | None = None) -> str:
        """A signed grade: positive climbs, negative descends; with its error `11 to 13 % climb`."""
        if percent is None or not math.isfinite(percent):
            return NOT_KNOWN
        word = "level" if round(percent) == 0 else "climb" if percent > 0 else "descent"
        if error_pct is None or not error_pct > 0:
            return word if word == "level" else f"{self.figure(abs(percent), '%')} {word}"
        low, high = self.grade_range(percent, error_pct)
        if abs(percent) <= max(error_pct, 1.0):
            return f"{high} at most, {word}"
        return f"{low} to {high} {word}"

    def grade_range(self, percent: float, error_pct: float) -> tuple[str, str]:
        """The least and the most of a grade that is known to an error, without its sign, rounded outward: the rig must
        pass the worse end. Below 1 % nobody knows a grade. `('11', '17 %')`."""
        off = max(error_pct, 1.0)
        least, most = max(abs(percent) - off, 0.0), abs(percent) + off
        return f"{math.floor(least + 1e-9)}", self.figure(math.ceil(most - 1e-9), "%")

    def people(self, count: float) -> str:
        """A predicted number of people: two figures are all that it can hold; small numbers as they are."""
        step = 10 ** max(len(f"{count:.0f}") - 2, 0)
        return f"{round(count / step) * step:,}"

    def decibels(self, value: float | None, digits: int = 0) -> str:
        """A ratio in decibels."""
        return self.figure(value, "dB", digits)

    def share(self, share: float | None, digits: int = 0) -> str:
        """A share 0..1 as per cent; a small one is never shown as nothing, a large one never as all."""
        if share is None or not math.isfinite(share):
            return NOT_KNOWN
        step, percent = 10.0**-digits, 100 * share
        if 0 < percent < step:
            return f"below {self.figure(step, '%', digits)}"
        if 100 - step < percent < 100:
            return f"above {self.figure(100 - step, '%', digits)}"
        return self.figure(percent, "%", digits)

    def share_at_least(self, share: float | None) -> str:
        """A share 0..1 as whole per cent, rounded down, so that 94.9 % never reads as the 95 % that is needed."""
        if share is None or not math.isfinite(share):
            return NOT_KNOWN
        return self.figure(math.floor(100 * share + 1e-9), "%")

    @property
    def first(self) -> Units:
        """For a figure that is told once: of both systems the metric one."""
        return replace(self, system="metric") if self.system == "both" else self

    @property
    def aloud(self) -> Units:
        """The same system as words, for what is read over a radio."""
        return replace(self, spoken=True)

    def stated(self, value: float | None, unit: str, us_digits: int = 1) -> str:
        """A figure of the mission as its user stated it, no digit added: `3.2 m`, `1842.5 MHz`; a US twin with
        `us_digits`."""
        if value is None or not math.isfinite(value):
            return self.figure(value, unit)
        metric = self._unit(f"{value:g}", unit)
        factor, us = _TO_US.get(unit, (1.0, unit))
        if us == unit or self.system == "metric":
            return metric
        twin = self._said(value * factor, us, us_digits, "nearest")
        if self.system == "US":
            return twin
        return f"{metric} or {twin}" if self.spoken else f"{metric} ({twin})"

    def measured(self, value: float, unit: str) -> str:
        """A figure of any unit for a table: two digits below 1, one below 10; no unit where there is none."""
        digits = 2 if abs(value) < 1 else 1 if abs(value) < 10 else 0
        return self.figure(value, "°" if unit == "deg" else unit, digits).strip()

    def lift(self, metres: float | None) -> str:
        """How far a jack lifts: `0.11 m (4.3 in)`."""
        if metres is None or not math.isfinite(metres):
            return NOT_KNOWN
        metric = self._said(metres, "m", 2, "nearest")
        if self.system == "metric":
            return metric
        inches = self._said(metres / INCH_M, "in", 1, "nearest")
        if self.system == "US":
            return inches
        return f"{metric} or {inches}" if self.spoken else f"{metric} ({inches})"

    def minutes(self, minutes: float | None) -> str:
        """Minutes, or hours and minutes beyond sixty."""
        if minutes is None or not math.isfinite(minutes):
            return NOT_KNOWN
        whole = max(round(minutes), 1 if minutes > 0 else 0)
        if whole < 60:
            return self._said(whole, "min", 0, "nearest")
        if self.spoken:
            rest = f" {self._said(whole % 60, 'min', 0, 'nearest')}" if whole % 60 else ""
            return f"{self._said(whole // 60, 'h', 0, 'nearest')}{rest}"
        return f"{whole // 60} h {whole % 60:02d} min"

    def seconds(self, seconds: float | None) -> str:
        """A time in seconds, as `minutes` says it."""
        return self.minutes(None if seconds is None else seconds / 60)

    def _said(self, value: float, unit: str, digits: int, rounding: Rounding) -> str:
        return self._unit(rounded_text(value, digits, rounding), unit)

    def _unit(self, text: str, unit: str) -> str:
        if not self.spoken:
            return f"{text}°" if unit == "°" else f"{text} {unit}"
        one, many = _SPOKEN[unit]
        return f"{text} {one if text == '1' else many}"


METRIC = Units()
BOTH = Units("both")
US = Units("US")
SPOKEN = Units("both", spoken=True)
_BY_NAME = {"us": US, "metric": METRIC, "both": BOTH}


def units_named(name: Literal["us", "metric", "both"]) -> Units:
    """The units of a name, as a mission's `sheets.units` and the command line give it."""
    return _BY_NAME[name]


def reader_units(mission: Mission) -> Units:
    """The units that the mission's readers work in (`sheets.units`); every output is written in them."""
    return units_named(mission.sheets.units)


def rounded(value: float, digits: int, rounding: Rounding) -> float:
    """A figure rounded as told, for tables that hold numbers: `up` for what is kept, `down` for what is there.

    A hair (1e-9 of a step) is no reason to round away. NaN stays NaN.
    """
    if rounding == "nearest" or not math.isfinite(value):
        return round(value, digits)
    step = 10.0**digits
    return (math.ceil(value * step - 1e-9) if rounding == "up" else math.floor(value * step + 1e-9)) / step


def kept(metres: float | None, digits: int = 1) -> float | None:
    """A distance that must be kept as a number for a table, rounded up; None where it is not known."""
    return None if metres is None or not math.isfinite(metres) else rounded(metres, digits, "up")


def there(metres: float | None, digits: int = 1) -> float | None:
    """A distance that is there as a number for a table, rounded down; None where it is not known."""
    return None if metres is None or not math.isfinite(metres) else rounded(metres, digits, "down")


def rounded_text(value: float, digits: int, rounding: Rounding = "nearest") -> str:
    """A figure with so many digits, rounded as told; -0 is 0."""
    if rounding != "nearest":
        value = rounded(value, digits, rounding)
    text = f"{value:,.{digits}f}"
    return text.lstrip("-") if float(text.replace(",", "")) == 0 else text
