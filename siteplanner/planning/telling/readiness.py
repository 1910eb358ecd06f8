"""Which unit can go, what is due, what is overdue: words of the page and the record."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from siteplanner.mission.readiness import Duty, Ready, State, UnitReady, Verdict
from siteplanner.planning.telling.units import METRIC, Units

Named = Callable[[str], str]
VERDICTS: dict[Verdict, str] = {
    "can_go": "can go",
    "check_first": "check first",
    "cannot_go": "cannot go",
}
STATE_WORDS: dict[State, str] = {
    "stops": "cannot go", "overdue": "overdue", "unknown": "not known", "due": "due", "done": "in order",
}  # fmt: skip
LABELS = {
    "away": "Out", "fault": "Fault", "item": "Inventory", "power_up": "Last powered up", "service": "Generator service",
    "fuel": "Fuel", "tires": "Tires", "weight": "Weight", "overweight": "Overweight", "tongue": "Tongue weight",
}  # fmt: skip


def _plain(name: str) -> str:
    return name


def headline(found: Ready) -> str:
    """How many can go, in one sentence."""
    verdicts = [u.verdict for u in found.units]
    can, check = verdicts.count("can_go"), verdicts.count("check_first")
    rest = len(verdicts) - can - check
    parts = [f"{can} of {len(verdicts)} can go"]
    parts += [f"{check} only after a check"] if check else []
    parts += [f"{rest} cannot go"] if rest else []
    return f"{', '.join(parts)}, on {found.on.isoformat()}."


def unit_rows(found: Ready, named: Named = _plain) -> list[list[str]]:
    """Unit, whether it can go, why not or what to check, what is due."""
    return [
        [
            named(u.unit.name),
            VERDICTS[u.verdict],
            _listed([d for d in u.duties if d.state in ("stops", "overdue", "unknown")]),
            _listed([d for d in u.duties if d.state == "due"]),
        ]
        for u in found.units
    ]


def _listed(duties: Iterable[Duty]) -> str:
    return "; ".join(f"{LABELS[d.code]} {STATE_WORDS[d.state]}" for d in duties) or "-"


def duty_rows(unit: UnitReady, units: Units = METRIC, named: Named = _plain) -> list[list[str]]:
    """What, how it stands, the figure behind it; the gravest first."""
    return [[LABELS[d.code], STATE_WORDS[d.state], duty_words(d, units, named)] for d in unit.duties]


def duty_words(d: Duty, units: Units = METRIC, named: Named = _plain) -> str:
    """The figure behind one duty, and what to do."""
    if d.state == "unknown":
        return _MISSING[d.code]
    return _WORDS[d.code](d, units, named)


_MISSING = {
    "power_up": "No day is written down. Run generator, radio and dish for 30 minutes and write it down.",
    "service": "Hours or last service are not written down. Read the counter.",
    "fuel": "Fuel or tank is not written down. Look.",
    "tires": "No DOT code that fits is written down. Read it off the tires.",
    "weight": "Never weighed. Drive over a scale, loaded as it goes out.",
}


def _days(d: Duty) -> str:
    return f"{d.value:.0f} days ago" if d.value != 1 else "1 day ago"


def _power_up(d: Duty, units: Units, named: Named) -> str:
    by = "" if d.by is None or d.state == "overdue" else f" Overdue after {d.by.isoformat()}."
    return f"{_days(d).capitalize()}; run it every {d.limit:.0f} days.{by}"


def _item(d: Duty, units: Units, named: Named) -> str:
    if math.isnan(d.value):
        return f"{named(d.name)}: good until {d.by}. Replace it."
    return f"{named(d.name)}: {d.value:.0f} of {d.limit:.0f}."


def _tongue(d: Duty, units: Units, named: Named) -> str:
    if d.state == "done":
        return f"{units.share(d.value)} of the trailer."
    side = "at least" if d.value < d.limit else "at most"
    return f"{units.share(d.value)} of the trailer; {side} {units.share(d.limit)} belong on the hitch. Move the load."


_WORDS: dict[str, Callable[[Duty, Units, Named], str]] = {
    "away": lambda d, u, named: f"{named(d.name)}.",
    "fault": lambda d, u, named: f"{named(d.name)} (since {d.by}).",
    "item": _item,
    "power_up": _power_up,
    "service": lambda d, u, named: f"{d.value:.0f} h since the last; every {d.limit:.0f} h.",
    "fuel": lambda d, u, named: f"{u.share_at_least(d.value)} of the tank; {u.share(d.limit)} belong in it.",
    "tires": lambda d, u, named: (
        f"The oldest is {d.value:.1f} years old (DOT {named(d.name)}); looked at from {d.limit:.0f} years on."
        if d.state != "overdue"
        else f"The oldest is {d.value:.1f} years old (DOT {named(d.name)}). Replace it before a tow."
    ),
    "weight": lambda d, u, named: f"Weighed {_days(d)}; every {d.limit:.0f} days, and after each change.",
    "overweight": lambda d, u, named: f"{u.mass(d.value)} on the scale; its plate allows {u.mass(d.limit)}. Unload it.",
    "tongue": _tongue,
}


def ready_lines(found: Ready, units: Units = METRIC) -> list[str]:
    """For the terminal."""
    lines = [headline(found)]
    for unit in found.units:
        lines.append(f"{unit.unit.name}: {VERDICTS[unit.verdict]}.")
        lines += [
            f"  {LABELS[d.code]} ({STATE_WORDS[d.state]}): {duty_words(d, units)}"
            for d in unit.duties
            if d.state != "done"
        ]
    return lines


def closed_words(unit: str, file: str) -> str:
    """What became of a take-down."""
    return f"{unit} is closed; the new fleet file is {file}. Put it in the old one's place."


def ready_record(found: Ready) -> dict[str, Any]:
    """For machines."""
    return {
        "format": 1,
        "fleet": found.fleet.name,
        "on": found.on.isoformat(),
        "units": [
            {
                "name": u.unit.name,
                "verdict": u.verdict,
                "duties": [
                    {
                        "what": d.code,
                        "state": d.state,
                        "name": d.name,
                        "value": d.value,
                        "limit": d.limit,
                        "by": None if d.by is None else d.by.isoformat(),
                        "words": duty_words(d),
                    }
                    for d in u.duties
                ],
            }
            for u in found.units
        ],
    }
