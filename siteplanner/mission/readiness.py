"""Which unit can go, what is due and what is overdue, as facts; and a take-down that closes a unit's last call."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from siteplanner.errors import InputError
from siteplanner.mission.fleet import Closed, Fleet, FleetUnit, Rules, TakeDown

State = Literal["stops", "overdue", "unknown", "due", "done"]
STATES: tuple[State, ...] = ("stops", "overdue", "unknown", "due", "done")
"""The gravest first."""
Verdict = Literal["cannot_go", "check_first", "can_go"]
_CENTURY = 2000  # DOT codes of four digits began with the year 2000 (49 CFR 574.5, from memory)
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Duty:
    """One thing to look after. `value` and `limit` in days, hours, shares, years, kilograms or pieces; NaN: none.
    `by`: the day on which it becomes overdue, or is good until."""

    code: Literal["away", "fault", "item", "power_up", "service", "fuel", "tires", "weight", "overweight", "tongue"]
    state: State
    name: str = ""
    value: float = math.nan
    limit: float = math.nan
    by: date | None = None


@dataclass(frozen=True)
class UnitReady:
    """One unit on a day."""

    unit: FleetUnit
    duties: tuple[Duty, ...]  # the gravest first

    @property
    def verdict(self) -> Verdict:
        """Cannot go with what stops it; check first with what is overdue or not known."""
        states = {d.state for d in self.duties}
        return "cannot_go" if "stops" in states else "check_first" if states & {"overdue", "unknown"} else "can_go"


@dataclass(frozen=True)
class Ready:
    """The whole fleet on a day, in the order of its file."""

    fleet: Fleet
    on: date
    units: tuple[UnitReady, ...]


def ready(fleet: Fleet, on: date) -> Ready:
    """Judge each unit on a day."""
    return Ready(fleet, on, tuple(UnitReady(unit, _duties(unit, fleet.rules, on)) for unit in fleet.units))


def cannot_go(unit: FleetUnit) -> bool:
    """Whether something stops it on any day: a fault, an item, its weight, or that it is out."""
    return any(d.state == "stops" for d in _stopping(unit))


def _duties(unit: FleetUnit, rules: Rules, on: date) -> tuple[Duty, ...]:
    found = [
        *_stopping(unit),
        _power_up(unit, rules, on),
        _service(unit, rules),
        _fuel(unit, rules),
        *_tires(unit, rules, on),
        *_weight(unit, rules, on),
        *(Duty("item", "overdue", i.name, by=i.use_by) for i in unit.inventory if i.use_by and i.use_by < on),
    ]
    return tuple(sorted(found, key=lambda d: STATES.index(d.state)))


def _stopping(unit: FleetUnit) -> list[Duty]:
    found = [Duty("away", "stops", unit.away)] if unit.away else []
    found += [Duty("fault", "stops" if f.stops else "due", f.text, by=f.since) for f in unit.faults]
    found += [
        Duty("item", "stops" if i.stops else "due", i.name, i.have, i.need) for i in unit.inventory if i.have < i.need
    ]
    scale = unit.weighed
    if scale is not None and scale.rated_trailer_kg is not None and scale.trailer_kg > scale.rated_trailer_kg:
        found.append(Duty("overweight", "stops", "", scale.trailer_kg, scale.rated_trailer_kg))
    return found


def _power_up(unit: FleetUnit, rules: Rules, on: date) -> Duty:
    if unit.powered_on is None or unit.powered_on > on:
        return Duty("power_up", "unknown")
    days, by = (on - unit.powered_on).days, unit.powered_on + timedelta(days=rules.power_up_most_days)
    state: State = "overdue" if days > rules.power_up_most_days else "due" if days > rules.power_up_days else "done"
    return Duty(
        "power_up", state, "", days, rules.power_up_days if state != "overdue" else rules.power_up_most_days, by
    )


def _service(unit: FleetUnit, rules: Rules) -> Duty:
    if unit.hours is None or unit.serviced_at_h is None:
        return Duty("service", "unknown")
    since = unit.hours - unit.serviced_at_h
    state: State = "overdue" if since > rules.service_h else "due" if since > 0.9 * rules.service_h else "done"
    return Duty("service", state, "", since, rules.service_h)


def _fuel(unit: FleetUnit, rules: Rules) -> Duty:
    if unit.fuel_l is None or not unit.tank_l:
        return Duty("fuel", "unknown")
    share = unit.fuel_l / unit.tank_l
    return Duty("fuel", "due" if share < rules.least_fuel_share else "done", "", share, rules.least_fuel_share)


def tire_years(code: str, on: date) -> float:
    """Age of a tire in years by the week and year of its DOT code; the first day of that week counts.

    A code of the future gives a negative age. 49 CFR 574.5(d): the last four figures are week and year.
    """
    made = date(_CENTURY + int(code[2:]), 1, 1) + timedelta(days=7 * (int(code[:2]) - 1))
    return (on - made).days / _DAYS_A_YEAR


def _tires(unit: FleetUnit, rules: Rules, on: date) -> list[Duty]:
    """The oldest tire; not known without a code, or with one from a later day."""
    ages = [tire_years(code, on) for code in unit.tires]
    if not ages or min(ages) < 0:
        return [Duty("tires", "unknown")]
    oldest = max(ages)
    state: State = "overdue" if oldest >= rules.tire_most_years else "due" if oldest >= rules.tire_years else "done"
    limit = rules.tire_most_years if state == "overdue" else rules.tire_years
    return [Duty("tires", state, unit.tires[ages.index(oldest)], oldest, limit)]


def _weight(unit: FleetUnit, rules: Rules, on: date) -> list[Duty]:
    scale = unit.weighed
    if scale is None or scale.on > on:
        return [Duty("weight", "unknown")]
    days = (on - scale.on).days
    found = [Duty("weight", "due" if days > rules.weigh_days else "done", "", days, rules.weigh_days)]
    if scale.tongue_kg is not None:
        share = scale.tongue_kg / scale.trailer_kg
        fits = rules.least_tongue_share <= share <= rules.most_tongue_share
        limit = rules.least_tongue_share if share < rules.least_tongue_share else rules.most_tongue_share
        found.append(Duty("tongue", "done" if fits else "overdue", "", share, limit))
    return found


def closed(fleet: Fleet, record: TakeDown, file: str) -> Fleet:
    """The fleet with one unit home again: hours, fuel, faults, items, and that it ran.

    Raises InputError for a unit that is none, hours that run backward, more fuel than the tank holds, a day before the
    last take-down, a repaired fault or a counted item that is not in the file.
    """
    unit = next((u for u in fleet.units if u.name == record.unit), None)
    if unit is None:
        known = ", ".join(u.name for u in fleet.units[:20])
        raise InputError(
            f"There is no unit {record.unit!r}; there is {known}.", remedy="Correct the name.", file=file, field="unit"
        )
    last = max((c.on for c in unit.closed), default=None)
    if last is not None and record.on <= last:
        raise InputError(
            f"A take-down of {last.isoformat()} is entered already.",
            remedy="Enter each take-down once, in order.",
            file=file,
            field="on",
        )
    if unit.hours is not None and record.hours < unit.hours:
        raise InputError(
            f"The counter stood at {unit.hours:g} h before and stands at {record.hours:g} h now.",
            remedy="Read the counter again; a new one starts in the fleet file.",
            file=file,
            field="hours",
        )
    if unit.tank_l is not None and record.fuel_l > unit.tank_l:
        raise InputError(
            f"{record.fuel_l:g} l is more than the tank holds ({unit.tank_l:g} l).",
            remedy="Write liters; a US gallon is 3.785 l.",
            file=file,
            field="fuel_l",
        )
    held = {f.text for f in unit.faults}
    if missing := [text for text in record.repaired if text not in held]:
        raise InputError(
            f"The fleet file has no fault {missing[0]!r} of {unit.name}.",
            remedy="Write its text as it stands there.",
            file=file,
            field="repaired",
        )
    counted = {item.name: item for item in record.counted}
    if strange := [name for name in counted if name not in {i.name for i in unit.inventory}]:
        raise InputError(
            f"The fleet file has no item {strange[0]!r} of {unit.name}.",
            remedy="Write its name as it stands there, or add it there.",
            file=file,
            field="counted",
        )
    home = unit.model_copy(
        update={
            "away": "",
            "hours": record.hours,
            "fuel_l": record.fuel_l,
            "powered_on": max(filter(None, (unit.powered_on, record.on))),
            "serviced_at_h": record.hours if record.serviced else unit.serviced_at_h,
            "faults": (*(f for f in unit.faults if f.text not in record.repaired), *record.faults),
            "inventory": tuple(counted.get(i.name, i) for i in unit.inventory),
            "closed": (
                *unit.closed,
                Closed(on=record.on, hours=record.hours, fuel_l=record.fuel_l, note=record.note),
            ),
        }
    )
    return fleet.model_copy(update={"units": tuple(home if u is unit else u for u in fleet.units)})
