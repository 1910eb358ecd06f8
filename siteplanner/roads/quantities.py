"""Figures of road tags: read by the rules, and leniently where a slip could only hide a limit.

Rules: OpenStreetMap wiki, pages Units, Key:maxheight, Key:maxwidth, Key:maxweight, Key:maxspeed, Key:incline (metres,
tonnes, km/h without a unit; otherwise the unit after a space; decimal dot; feet and inches as 6'7").

A missing tag, a value that is no number (`default`, `none`) and a spelling against the rules (`12t`, `0,6`) all give an
unknown (NaN). Of such a spelling the largest figure that it can mean is kept (`most`): where even that is below the
rig, the road is shut, because no reading of the sign lets the rig pass. Where it is not, the limit stays unknown.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any, Literal, NamedTuple

from siteplanner.core.constants import FOOT_M, MILE_M, NAUTICAL_MILE_M, POUND_KG
from siteplanner.roads.cells import tag_text

POUND_T = POUND_KG / 1000
State = Literal["absent", "read", "unposted", "mistake"]


class Reading(NamedTuple):
    """A tag's value and how it came about. `value` is NaN unless `state` is `read`.

    `unposted`: the tag says that there is no figure (`default`, `none`); `mistake`: not a form the rules allow, with
    the largest figure it can mean in `most`, NaN where that is anybody's guess.
    """

    value: float
    state: State
    most: float = math.nan


ABSENT = Reading(math.nan, "absent")
UNPOSTED = Reading(math.nan, "unposted")
MISTAKE = Reading(math.nan, "mistake")

# Key:maxheight lists default, below_default, no_indications, no_sign, none; the rest are common in the data
_NO_FIGURE = frozenset((
    "default", "below_default", "no_indications", "no_sign", "none", "unsigned", "unknown", "variable", "signals",
    "walk", "no", "implicit", "national", "no limit", "unlimited",
))  # fmt: skip
LEFT_OPEN = frozenset(("below_default", "unknown", "variable", "signals"))  # of these: there may well be a limit
_NUMBER = re.compile(r"(\d+(?:\.\d+)?|\.\d+)(?:\s+([a-z]+))?")
# engineers write a hyphen between feet and inches: 13'-6"
_FEET_INCHES = re.compile(r"(\d+(?:\.\d+)?)\s*(?:'|ft)(?:\s*-?\s*(\d+(?:\.\d+)?)\s*(?:\"|''|in))?")
_ZONE = re.compile(r"[a-z]{2}:[a-z0-9_:.]+")  # maxspeed=RU:urban, a rule of the country and no figure

_INCH_M = FOOT_M / 12
_LENGTH_M = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "cm": 0.01, "ft": FOOT_M, "feet": FOOT_M,
    "foot": FOOT_M, "in": _INCH_M,
}  # fmt: skip
_MASS_T = {"t": 1.0, "kg": 0.001, "lbs": POUND_T, "lb": POUND_T, "st": 2000 * POUND_T, "lt": 2240 * POUND_T}
_SPEED_KMH = {"kmh": 1.0, "mph": MILE_M / 1000, "knots": NAUTICAL_MILE_M / 1000}

# further words for units, as people write them; of `ton` the largest that it can mean (long, 2,240 lb)
_LENIENT_M = {
    **_LENGTH_M, "mm": 0.001, "mt": 1.0, "mtr": 1.0, "mtrs": 1.0, "inch": _INCH_M, "inches": _INCH_M, '"': _INCH_M,
}  # fmt: skip
_LENIENT_T = {
    **_MASS_T, "tonne": 1.0, "tonnes": 1.0, "to": 1.0, "mt": 1.0, "metric tons": 1.0, "kgs": 0.001, "kilo": 0.001,
    "kilos": 0.001, "pounds": POUND_T, "pound": POUND_T, "ton": 2240 * POUND_T, "tons": 2240 * POUND_T,
    "tn": 2240 * POUND_T, "us tons": 2000 * POUND_T, "short tons": 2000 * POUND_T, "sht": 2000 * POUND_T,
    "sh tn": 2000 * POUND_T, "long tons": 2240 * POUND_T, "cwt": 112 * POUND_T,
}  # fmt: skip
_SMALL_T = ("kg", "kgs", "lb", "lbs", "pound", "pounds")  # of these a comma parts thousands
_SLIP = re.compile(r"(\d{1,3}(?:,\d{3})+|\d+(?:[.,]\d+)?|[.,]\d+)\s*([a-z\" ]*)\.?")
_FEET_SLIP = re.compile(
    r"(\d{1,2})\s*(?:'|ft\.?|feet|foot|-|′)\s*-?\s*(\d{1,2}(?:\.\d+)?)?\s*(?:\"|''|in\.?|inch(?:es)?)?"
)
_STROKES = str.maketrans({
    "’": "'", "‘": "'", "′": "'", "´": "'", "`": "'", "”": '"', "“": '"', "″": '"', "¨": '"', "–": "-", "м": "m",
    "т": "t", "½": ".5", "¼": ".25", "¾": ".75",
})  # fmt: skip
# what may stand around a figure without raising it: `< 3 m`, `max. 3`, `3.5 t (residents free)`, `8000 lbs gvw`
_AROUND = re.compile(r"^(?:max\.?|<=?|≤)\s*|\s*(?:\([^()]*\)|gvwr?|gross)$")
_FRACTION = re.compile(r"(\d+)[ -](\d)/(\d)")  # inches
_SPAN = re.compile(r"(\d+[.,]\d+)\s*-\s*(?=\d+[.,]\d)")  # 2.5-3.0
_METRES_CM = re.compile(r"(\d)\s*m\s*(\d\d)(?:\s*cm)?")  # 2m50

# what signs show: a bare number beyond was meant in another unit (feet, inches, centimetres; kilograms, pounds)
TALLEST_M, HEAVIEST_T = 7.0, 200.0
WIDEST_M, LONGEST_M = 60.0, 100.0  # carriageways and road trains; common practice
# the largest that a number may have meant in another unit; a clearance in metres may be more than a sign shows
_SIGN_WIDE_M, _SIGN_LONG_M, _CLEAR_M = 40.0, 60.0, 9.0
_SIGN_M, _SIGN_T = (0.5, 7.0), (0.5, 100.0)


def _quantity(text: str, units: dict[str, float]) -> Reading:
    if not text:
        return ABSENT
    if text in _NO_FIGURE or _ZONE.fullmatch(text):
        return UNPOSTED
    found = _NUMBER.fullmatch(text)
    if not found:
        return MISTAKE
    factor = units.get(found[2], math.nan) if found[2] else 1.0
    value = float(found[1]) * factor
    return Reading(value, "read") if value > 0 else MISTAKE  # NaN and 0 are both mistakes


def _most(text: str, of_part: Callable[[str], float]) -> float:
    """The largest figure that a slip can mean: the largest of its parts; NaN where a part may mean no limit at all or
    where none can be read."""
    plain = _FRACTION.sub(lambda m: f"{int(m[1]) + int(m[2]) / max(int(m[3]), 1):g}", text.translate(_STROKES))
    parts = [_AROUND.sub("", p.strip()) for p in re.split(r"[;|]| - |/", _SPAN.sub(r"\1;", plain))]
    if any(p in _NO_FIGURE for p in parts):
        return math.nan
    figures = [f for p in parts if (f := of_part(p)) == f and f > 0]
    return max(figures, default=math.nan)


def _length_part(text: str) -> float:
    feet = _FEET_SLIP.fullmatch(text)
    if feet:
        inches = float(feet[2] or 0)
        return (float(feet[1]) + inches / 12) * FOOT_M if inches < 12 else math.nan
    mixed = _METRES_CM.fullmatch(text)
    if mixed:
        return float(f"{mixed[1]}.{mixed[2]}")
    found = _SLIP.fullmatch(text)
    if not found:
        return math.nan
    unit = found[2].strip()
    number = float(found[1].replace(",", "." if found[1].count(",") == 1 else ""))
    return number * _LENIENT_M.get(unit, math.nan) if unit else number


def _mass_part(text: str) -> float:
    found = _SLIP.fullmatch(text)
    if not found:
        return math.nan
    digits, unit = found[1], found[2].strip()
    thousands = re.fullmatch(r"\d{1,3}(,\d{3})+", digits)
    if thousands and (unit in _SMALL_T or not unit):
        number = float(digits.replace(",", ""))
        return number * _LENIENT_T[unit] if unit else number / 1000
    number = float(digits.replace(",", ".") if digits.count(",") == 1 else digits.replace(",", ""))
    return number * _LENIENT_T.get(unit, math.nan) if unit else number


def length_m(value: Any) -> Reading:
    """`maxlength` in metres: `12`, `12.5 m`, `39'6"`, `40 ft`; one that nothing on the road has is a slip."""
    return _believable(_metres(value), tag_text(value), LONGEST_M, _SIGN_LONG_M)


def width_m(value: Any) -> Reading:
    """`maxwidth`, `width` in metres; one that no carriageway has (`250`) is a slip."""
    return _believable(_metres(value), tag_text(value), WIDEST_M, _SIGN_WIDE_M)


def height_m(value: Any) -> Reading:
    """`maxheight` in metres; one that no sign shows (`13`, `350`, `250 ft`) is a slip."""
    return _believable(_metres(value), tag_text(value), TALLEST_M, _SIGN_M[1])


def _metres(value: Any) -> Reading:
    text = tag_text(value)
    feet = _FEET_INCHES.fullmatch(text)
    if feet:
        inches = float(feet[2] or 0)
        value_m = (float(feet[1]) + inches / 12) * FOOT_M
        return Reading(value_m, "read") if value_m > 0 and inches < 12 else MISTAKE
    return _lenient(_quantity(text, _LENGTH_M), text, _length_part)


def _believable(reading: Reading, text: str, largest_m: float, meant_m: float) -> Reading:
    """A slip in the place of a figure beyond the largest: its number was meant in another unit."""
    if reading.state != "read" or reading.value <= largest_m:
        return reading
    found = re.match(r"[\d.]+", text)
    number = float(found[0]) if found else reading.value
    if number <= _CLEAR_M:
        return Reading(math.nan, "mistake", number)
    meant = (number * FOOT_M, number * _INCH_M, number / 100, number / 1000)
    return Reading(math.nan, "mistake", max((m for m in meant if _SIGN_M[0] <= m <= meant_m), default=number))


def mass_t(value: Any) -> Reading:
    """`maxweight` in tonnes: `7.5`, `7.5 t`, `16000 lbs`, `8 st` (short tons of 2,000 lb), `3500 kg`.

    One that no sign shows (`3500`, `8000 st`) is a slip: kilograms or pounds.
    """
    text = tag_text(value)
    reading = _quantity(text, _MASS_T)
    if reading.state == "read" and reading.value > HEAVIEST_T:
        found = re.match(r"[\d.]+", text)
        most = float(found[0]) / 1000 if found else math.nan
        return Reading(math.nan, "mistake", most if most >= _SIGN_T[0] else math.nan)
    return _lenient(reading, text, _mass_part)


def _lenient(reading: Reading, text: str, of_part: Callable[[str], float]) -> Reading:
    return reading if reading.state != "mistake" else Reading(math.nan, "mistake", _most(text, of_part))


def least(reading: Reading) -> float:
    """The figure, or of a slip the largest that it can mean; infinite where there is none."""
    figure = reading.value if reading.state == "read" else reading.most
    return figure if figure == figure else math.inf


def by_lane(reader: Callable[[Any], Reading]) -> Callable[[Any], Reading]:
    """Reads `a|b|c`, a figure for each lane (Key:lanes, "Lane dependent values"): the largest where each has one; the
    rig may take the lane that it fits, which only the sign shows."""

    def read(value: Any) -> Reading:
        lanes = [reader(part) for part in tag_text(value).split("|")]
        if all(r.state == "absent" for r in lanes):
            return ABSENT
        if all(r.state == "read" for r in lanes) and len({r.value for r in lanes}) == 1:
            return lanes[0]
        figures = [r.value if r.state == "read" else r.most for r in lanes]
        return Reading(math.nan, "mistake", max(figures) if all(f == f for f in figures) else math.nan)

    return read


def speed_kmh(value: Any) -> Reading:
    """`maxspeed` in km/h: `50`, `35 mph`, `50 km/h`."""
    return _quantity(re.sub(r"\s(km/h|kph)$", " kmh", tag_text(value)), _SPEED_KMH)


def incline_pct(value: Any) -> Reading:
    """`incline` in percent, positive uphill along the line: `10%`, `-8 %`, `5°`, `1:5`; `up` and `down` give no figure.

    A bare fraction (`0.18`) is a slip: 0.18 % or 18 %.
    """
    text = tag_text(value).replace(" ", "")
    if not text:
        return ABSENT
    if text in ("up", "down", "steep", "yes", "no", "up/down"):
        return UNPOSTED
    ratio = re.fullmatch(r"([+-]?)1(?::|/|in)(\d+(?:\.\d+)?)", text)
    if ratio and float(ratio[2]) >= 1:
        return Reading((-1 if ratio[1] == "-" else 1) * 100 / float(ratio[2]), "read")
    found = re.fullmatch(r"([+-]?\d+(?:\.\d+)?)(%|°)?", text)
    if not found or abs(float(found[1])) > (60 if found[2] == "°" else 100):
        return MISTAKE
    number = float(found[1])
    if not found[2] and 0 < abs(number) < 1:
        return MISTAKE
    # a bare number is a percentage in nearly all data; Key:incline asks for the sign %
    return Reading(100 * math.tan(math.radians(number)) if found[2] == "°" else number, "read")
