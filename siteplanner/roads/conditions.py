"""Access that depends on season, hours or the vehicle: true, false or not known, never silently open.

Form: `no @ (Nov-Apr); yes @ (weight<3.5)` (OpenStreetMap wiki, Conditional restrictions: a clause that holds
replaces the plain value, the last one that holds wins). Read are months, dates, weekdays and hours in the plain forms
of Key:opening_hours, and the vehicle's weight (t), height, width and length (m); every other condition is not known.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from siteplanner.errors import Finding
from siteplanner.mission import Rig
from siteplanner.roads.access import verdict
from siteplanner.roads.hazards import Hazard, Warned, hazard_at
from siteplanner.roads.quantities import height_m, length_m, mass_t, width_m
from siteplanner.roads.tags import RoadTags
from siteplanner.roads.timed_tags import Conditions

WINDOW_H, STEP_MIN = 6.0, 15  # the rig is on the road some time within this after dispatch. Common practice
KIND = "season or hours"  # the kind of `Hazard`
_LONGEST = 300  # characters; longer conditions are not read

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAYS = ("mo", "tu", "we", "th", "fr", "sa", "su")
_DAYS_IN = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_MONTH = rf"(?:{'|'.join(_MONTHS)})[a-z]{{0,6}}"
_DATE = rf"{_MONTH}(?:\s+\d{{1,2}})?"
_DATES = rf"{_DATE}(?:\s*-\s*(?:{_DATE}|\d{{1,2}}))?"
_DAY = rf"(?:{'|'.join(_DAYS)})"
_HOURS = r"\d{1,2}:\d{2}\s*-\s*\d{1,2}:\d{2}"
_WHEN = re.compile(
    rf"(?P<dates>{_DATES}(?:\s*,\s*{_DATES})*)?\s*:?\s*(?P<days>{_DAY}(?:\s*[-,]\s*{_DAY})*)?\s*"
    rf"(?P<hours>{_HOURS}(?:\s*,\s*{_HOURS})*)?"
)
_VEHICLE = re.compile(
    r"(weight|weightrating|height|width|length|axleload)\s*(<=|>=|<|>|=)\s*(\d+(?:\.\d+)?)(?:\s*(?:t|m))?"
)
_COMPARE: dict[str, Callable[[float, float], bool]] = {
    "<": lambda a, b: a < b, "<=": lambda a, b: a <= b, ">": lambda a, b: a > b, ">=": lambda a, b: a >= b,
    "=": lambda a, b: a == b,
}  # fmt: skip
_CLAUSE = re.compile(r"\s*([^@;]+?)\s*@\s*(\([^()]*\)|[^;()]+?)\s*(?:;|$)")

Holds = Literal[True, False] | None
Test = Callable[[datetime | None], Holds]


@dataclass(frozen=True)
class Timed:
    """What holds for one road at dispatch. `text` is the condition as the data write it.

    `state`: open or closed through the whole time the rig may come by, or not known.
    """

    state: Literal["open", "closed", "not known"]
    text: str


def parse_condition(text: str, rig: Rig) -> Test:
    """A condition as a function of the time (None: not given), which answers True, False or None: not known."""
    parts = [_part(p.strip(), rig) for p in re.split(r"\s+and\s+", text.strip().lower())]

    def holds(when: datetime | None) -> Holds:
        said = [p(when) for p in parts]
        return False if False in said else None if None in said else True

    return holds


def _part(text: str, rig: Rig) -> Test:
    if text == "24/7":
        return lambda when: True
    vehicle = _VEHICLE.fullmatch(text)
    if vehicle:
        own = {
            "weight": rig.mass_kg / 1000,
            "weightrating": rig.mass_kg / 1000,
            "height": rig.height_m,
            "width": rig.width_m,
            "length": rig.length_m,
            "axleload": rig.heaviest_axle_kg / 1000,
        }
        answer = _COMPARE[vehicle[2]](own[vehicle[1]], float(vehicle[3]))
        return lambda when: answer
    found = _WHEN.fullmatch(text) if text else None
    try:
        if not found:
            raise ValueError
        dates = _dates(found["dates"])
        days = _weekdays(found["days"])
        hours = _hours(found["hours"])
    except ValueError:
        return lambda when: None

    def on(day: datetime) -> bool:
        key = (day.month, day.day)
        date_fits = not dates or any(a <= key <= b if a <= b else key >= a or key <= b for a, b in dates)
        return date_fits and (not days or day.weekday() in days)

    def holds(when: datetime | None) -> Holds:
        if when is None:
            return None
        if not hours:
            return on(when)
        minute, before = when.hour * 60 + when.minute, when - timedelta(days=1)
        # hours across midnight belong to the day on which they start
        return any(
            on(when) and a <= minute < b if a < b else (on(when) and minute >= a) or (on(before) and minute < b)
            for a, b in hours
        )

    return holds


def _dates(text: str | None) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """((month, day) from, (month, day) to), both included. Raises ValueError for a day that no month has."""
    out = []
    for part in text.split(",") if text else ():
        first, _, last = (p.strip() for p in part.partition("-"))
        start = _date(first, 1)
        if last.isdigit():
            end = (start[0], int(last))
            if not re.search(r"\d", first) or not start[1] <= end[1] <= _DAYS_IN[end[0] - 1]:
                raise ValueError
        else:
            end = _date(last or first, 31 if last or not re.search(r"\d", first) else start[1])
        out.append((start, end))
    return out


def _date(text: str, default_day: int) -> tuple[int, int]:
    name, _, day = text.partition(" ")
    month = _MONTHS.index(name[:3]) + 1
    full = (
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    )[month - 1]
    number = int(day) if day.strip() else default_day
    if (not full.startswith(name) and name != "sept") or (day.strip() and not 1 <= number <= _DAYS_IN[month - 1]):
        raise ValueError
    return month, number


def _weekdays(text: str | None) -> set[int]:
    out: set[int] = set()
    for part in text.split(",") if text else ():
        first, _, last = (p.strip() for p in part.partition("-"))
        a, b = _DAYS.index(first), _DAYS.index(last or first)
        out |= {(a + k) % 7 for k in range((b - a) % 7 + 1)}
    return out


def _hours(text: str | None) -> list[tuple[int, int]]:
    """(from, to) in minutes of the day. Raises ValueError for hours that no day has."""
    out = []
    for part in text.split(",") if text else ():
        a, b = (int(h) * 60 + int(m) for h, m in (t.strip().split(":") for t in part.split("-")))
        if a > 24 * 60 or b > 24 * 60 or any(int(t.split(":")[1]) > 59 for t in part.split("-")):
            raise ValueError
        out.append((a, b))
    return out


def possible_values(plain: str, conditional: str, rig: Rig, moments: Sequence[datetime | None]) -> frozenset[str]:
    """Values that a key may have at some of the moments; '' stands for none. One value: it is certain."""
    if not conditional:
        return frozenset((plain,))
    if len(conditional) > _LONGEST:
        return frozenset((plain, "no", "yes"))
    clauses, end = [], 0
    for match in _CLAUSE.finditer(conditional):
        if match.start() != end:
            break
        clauses.append((match[1].strip(), parse_condition(match[2].strip("() "), rig)))
        end = match.end()
    if end != len(conditional):
        return frozenset((plain, "no", "yes"))  # not understood: it may be either
    out: set[str] = set()
    for moment in moments:
        values = {plain}
        for value, holds in clauses:
            answer = holds(moment)
            values = {value} if answer else values | {value} if answer is None else values
        out |= values
    return frozenset(out)


def timed_lines(tags: RoadTags, rig: Rig, when: datetime | None) -> dict[int, Timed]:
    """For each line with a condition or a season: whether it is open when the rig comes by.

    `when`: dispatch, in the roads' own time of day; None makes every time not known.
    """
    steps = int(WINDOW_H * 60 / STEP_MIN)
    moments = [None] if when is None else [when + timedelta(minutes=STEP_MIN * k) for k in range(steps + 1)]
    out: dict[int, Timed] = {}
    known: dict[Conditions, Timed | None] = {}
    for i in np.flatnonzero(tags.timed != "").tolist():
        if tags.timed[i] not in known:
            known[tags.timed[i]] = _judge(tags.timed[i], rig, moments)
        timed = known[tags.timed[i]]
        if timed is not None:
            out[i] = timed
    return out


def _judge(timed: Conditions, rig: Rig, moments: Sequence[datetime | None]) -> Timed | None:
    values: frozenset[str] = frozenset(("",))
    texts = []
    for plain, conditional in timed.access:  # the more special key comes later and goes before
        own = possible_values(plain, conditional, rig, moments)
        values = (own - {""}) | (values if "" in own else frozenset())
        texts += [conditional] if conditional else []
    shut = [_shut({verdict(v) == "closed" for v in values})]
    if any(verdict(v) == "ask" for v in values):  # for some only, at times
        shut.append(None)
    if timed.trailer[1]:
        texts.append(timed.trailer[1])
        shut.append(_shut({verdict(v) == "closed" for v in possible_values(*timed.trailer, rig, moments)}))
    for measure, plain, conditional in timed.figures:
        texts.append(conditional)
        shut.append(_shut({_too_much(measure, v, rig) for v in possible_values(plain, conditional, rig, moments)}))
    for what, conditional in timed.told:
        texts.append(conditional)
        shut.append(None if _may_limit(what, conditional, rig, moments) else False)
    text = "; ".join([*texts, *([timed.season] if timed.season else [])])
    if True in shut:
        return Timed("closed", text)
    if None in shut or timed.season:
        return Timed("not known", text)
    return Timed("open", text)


def _may_limit(what: str, conditional: str, rig: Rig, moments: Sequence[datetime | None]) -> bool:
    """Whether a condition that closes nothing by itself may matter to the rig at one of the moments."""
    if what == "hours":
        return conditional != "24/7"
    values = possible_values("", conditional, rig, moments) - {""}
    if what == "oneway":
        return bool(values)
    if what == "access":
        return any(verdict(v) in ("closed", "ask") for v in values)
    return any(_too_much(what, v, rig) is not False for v in values)


def _shut(answers: set[bool | None]) -> bool | None:
    """One answer for all moments and values; None where they differ or one is not known."""
    return answers.pop() if len(answers) == 1 else None


def _too_much(measure: str, value: str, rig: Rig) -> bool | None:
    """Whether a limit with this value shuts the road for the rig; None where it cannot be read."""
    if value in ("", "none", "no", "default", "unsigned"):
        return False
    own = {
        "height": rig.height_m + rig.height_allowance_m,
        "weight": rig.mass_kg / 1000,
        "width": rig.width_m,
        "length": rig.length_m,
        "axle": rig.heaviest_axle_kg / 1000,
    }[measure]
    reader = {"weight": mass_t, "axle": mass_t, "height": height_m, "width": width_m}.get(measure, length_m)
    reading = reader(value)
    if reading.state == "read":
        return reading.value < own - 1e-9
    return True if reading.most < own else None


def timed_hazard(timed: Timed, x: float, y: float) -> Hazard:
    """What the driver is told of a road that is not known to be closed."""
    warned = Warned(
        kind=KIND, severity="note" if timed.state == "open" else "warning", what=timed.text, state=timed.state
    )
    return hazard_at(warned, 0.0, x, y, stretch=True)


def timed_findings(lines: dict[int, Timed], name: np.ndarray, dispatch_given: bool) -> list[Finding]:
    """One finding for roads that may be closed. `name`: names of all lines."""
    unsure = [i for i, t in lines.items() if t.state == "not known"]
    if not unsure:
        return []
    roads = dict.fromkeys((str(name[i]), lines[i].text) for i in unsure)
    facts = {"count": len(unsure), "roads": tuple(roads), "dispatch_given": dispatch_given}
    return [Finding("roads_open_at_times", "check", facts=facts)]
