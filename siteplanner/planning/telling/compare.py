"""What changed between two plans, in lines for people and as a record for machines."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.comparison import (
    SAME_PLACE_M,
    Comparison,
    FigureChange,
    ParameterChange,
    SetChange,
    SpotChange,
    Why,
)
from siteplanner.planning.plan.records import Place, number, of
from siteplanner.planning.telling.score import LIKELY_STEEP
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, US, Units

NO_DIFFERENCE = "No difference: the same files, the same settings, the same answer."
MOST = 4  # of a kind, before `and so many more`
LONGEST = 60  # letters of a value of the mission, or of a name
NAMES = {
    "people": "people served", "must_serve": "chance at the must-serve points", "on_air": "on air after",
    "drive": "drive", "steepest": "steepest grade", "ways_in": "ways in", "backhaul": "backhaul to spare",
    "slope": "slope of the ground", "mast": "mast", "score": "score",
}  # fmt: skip
CALLED = {
    "coverage": "area served", "must_serve": "must-serve points", "backhaul": "backhaul", "ground": "slope",
    "access": "drive",
}  # fmt: skip
TRAILERS = {2: "Two trailers", 3: "Three trailers"}


def units_of(record: Mapping[str, Any]) -> Units:
    """Those that the plan's readers work in, a figure told once."""
    return US if of(record, "mission", "sheets", "units") == "us" else METRIC


def comparison_lines(found: Comparison, units: Units = METRIC) -> list[str]:
    """Ten lines at most, the answer first; what did not change is left out."""
    if found.no_difference:
        return [NO_DIFFERENCE]
    lines = [
        answer_line(found, units),
        _files_line(found),
        _parameters_line(found.parameters),
        _roads_line(found),
        *_spot_lines(found, units),
        _figures_line(found, units),
        _chance_line(found, units),
        _options_line(found),
        *(_set_line(one, units) for one in found.sets if not one.same),
    ]
    return [line for line in lines if line][:10]


def answer_line(found: Comparison, units: Units = METRIC) -> str:
    """Whether the same spot is first, and if not, why."""
    was, now = found.old_first, found.new_first
    if was is None and now is None:
        return "Same answer: no spot passes, before and now."
    if was is None or now is None:
        head = f"No spot passes now; before, {_spot(was)} was first" if was else ""
        head = f"{_cap(_at(now))} is first now; before, no spot passed" if now else head
    elif found.same_first:
        head = f"Same answer: {_at(now)}" + (f", called {_spot(was)} before" if was.name != now.name else "")
        if found.first_moved_m > SAME_PLACE_M:
            head += f", {units.distance(found.first_moved_m)} from where it was"
    else:
        head = f"Another answer: {_at(now)}, not {_at(was, old=True)}"
    why = why_words(found.why, units)
    return f"{head}, because {why}." if why else f"{head}."


def why_words(why: Why | None, units: Units = METRIC) -> str:
    """`Chapel Bench Road is shut to the rig now`: one reason as a clause; '' where there is none."""
    if why is None:
        return ""
    criterion = CALLED.get(why.code, _short(why.code))
    if why.kind == "limit":
        return f"it breaks a limit now: {LIMITS.get(why.code, _short(why.code)).lower()}"
    if why.kind == "road":
        return f"{_short(why.name)} is shut to the rig now"
    if why.kind == "more_ground":
        label = LIMITS.get(why.code, _short(why.name)).lower()
        shares = f"{units.share(why.new, 1)} of it, not {units.share(why.old, 1)}"
        return f"it is not judged now, and more ground is ruled out: {label} ({shares})"
    if why.kind in ("steep", "level"):
        spot = _called(why.name) if why.name else "it"
        return f"{spot} is {LIKELY_STEEP} now" if why.kind == "steep" else f"{spot} is no longer {LIKELY_STEEP}"
    if why.kind == "weights":
        more = "more" if why.new > why.old else "less"
        return f"{criterion} counts {more} now (weight {_plain(why.new)}, not {_plain(why.old)})"
    if why.kind == "figure":
        at = f" at {_called(why.name)}" if why.name else ""
        return f"{criterion}{at} is {_measured(why, why.new, units)}, not {_measured(why, why.old, units)}"
    if why.kind == "others":
        return "other spots came or went ahead of it"
    if why.kind == "new_place":
        return "it was not among the places judged before"
    return "it is not among the places judged now"


def _measured(why: Why, value: float, units: Units) -> str:
    if why.code in ("coverage", "must_serve"):
        return units.share(value / 100)
    if why.code == "access":
        return units.minutes(value)
    unit = why.unit.split(" ")[0]
    return units.angle(value) if why.code == "ground" or unit == "deg" else units.figure(value, unit)


def _files_line(found: Comparison) -> str:
    parts = []
    for change, word in (("changed", "changed"), ("new", "new"), ("gone", "gone")):
        names = [f"{_short(f.file)} ({_short(f.role)})" for f in found.files if f.change == change]
        if names:
            parts.append(f"{word}: {_listed(names)}")
    if found.area_changed:
        parts.append("the incident area is another one")
    return f"Files {'; '.join(parts)}." if parts else ""


def _parameters_line(changed: Sequence[ParameterChange]) -> str:
    return f"Settings: {_listed([_parameter(p) for p in changed])}." if changed else ""


def _parameter(change: ParameterChange) -> str:
    return f"{_short(change.path)} {_value(change.old)} -> {_value(change.new)}"


def _value(value: Any) -> str:
    if value is None or value in ([], {}, ""):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return _plain(number(value))
    return _short(value if isinstance(value, str) else json.dumps(value, ensure_ascii=False))


def _roads_line(found: Comparison) -> str:
    parts = []
    if found.shut:
        told = [f"{_short(r.name) or 'a road without a name'} ({_short(r.words)})" for r in found.shut]
        parts.append(f"shut to the rig now: {_listed(told)}")
    if found.opened:
        told = [_short(r.name) or "a road without a name" for r in found.opened]
        parts.append(f"open again: {_listed(told)}")
    return f"Roads {'; '.join(parts)}." if parts else ""


def _spot_lines(found: Comparison, units: Units) -> list[str]:
    """Spots that went, moved and came, those of one reason together."""
    out = []
    for change, word in (("went", "went"), ("moved", "moved"), ("came", "came")):
        by_why: dict[str, list[str]] = {}
        for spot in (s for s in found.spots if s.change == change):
            by_why.setdefault(_behind(spot, units), []).append(_changed(spot, units))
        told = [f"{_listed(names)}{f' ({why})' if why else ''}" for why, names in by_why.items()]
        if told:
            out.append(f"Spots that {word}: {_listed(told)}.")
    return out


def _behind(spot: SpotChange, units: Units) -> str:
    """One reason for many spots: figures of one spot are left to the record."""
    why = spot.why
    if why is not None and why.kind == "figure":
        return f"{CALLED.get(why.code, _short(why.code))} changed"
    return why_words(why, units)


def _changed(spot: SpotChange, units: Units) -> str:
    if spot.change == "moved" and spot.old is not None and spot.new is not None:
        return f"{_short(spot.old.name)} by {units.distance(spot.off_m)}, now {_short(spot.new.name)}"
    place = spot.old or spot.new
    return "" if place is None else _short(place.name)


def _figures_line(found: Comparison, units: Units) -> str:
    told = [
        f"{figure_label(f, found.weighted_by)} {figure_words(f, f.old, units)} -> {figure_words(f, f.new, units)}"
        for f in found.figures
        if not f.alike
    ]
    if not told:
        return ""
    whose = "The first spot" if found.same_first else "Old first spot -> new first spot"
    return f"{whose}: {'; '.join(told[:6])}{_more(len(told) - 6)}."


def figure_label(figure: FigureChange, weighted_by: str) -> str:
    """`weighted area served`."""
    if figure.name == "share":
        return {"people": "people-weighted area", "weight": "weighted area"}.get(weighted_by, "area") + " served"
    return NAMES[figure.name]


def figure_words(figure: FigureChange, value: float, units: Units = METRIC) -> str:
    """A figure of a first spot with its unit."""
    if not math.isfinite(value):
        return NOT_KNOWN
    told: dict[str, Callable[[float], str]] = {
        "share": units.share,
        "people": lambda v: f"about {v:,.0f}",
        "points": lambda v: f"{v:.1f}",
        "minutes": units.minutes,
        "percent": lambda v: units.figure(v, "%"),
        "degrees": units.angle,
        "metres": units.length,
        "count": lambda v: ("none", "one", "two or more")[min(max(int(v), 0), 2)],
        "margin": lambda v: units.angle(v) if figure.unit == "deg" else units.figure(v, figure.unit.split(" ")[0]),
    }
    return told[figure.kind](value)


def _chance_line(found: Comparison, units: Units) -> str:
    was, now = found.old_chance, found.new_chance
    if not (math.isfinite(was) and math.isfinite(now)) or abs(was - now) < 0.01:
        return ""
    return f"Chance that the first spot is the best: {units.share(was)} -> {units.share(now)}."


def _options_line(found: Comparison) -> str:
    gone, new = found.options_gone, found.options_new
    parts = [f"no longer {_listed([_short(p.name) for p in gone])}"] if gone else []
    parts += [f"new {_listed([_short(p.name) for p in new])}"] if new else []
    return f"Options: {'; '.join(parts)}." if parts else ""


def _set_line(one: SetChange, units: Units) -> str:
    head = TRAILERS.get(one.size, f"{one.size} trailers")
    sides = [
        f"{' and '.join(_short(p.name) for p in places)} ({units.share(share)})" if places else "none"
        for places, share in ((one.old, one.old_share), (one.new, one.new_share))
    ]
    return f"{head}: {sides[0]} -> {sides[1]}."


def comparison_record(found: Comparison, units: Units = METRIC) -> dict[str, Any]:
    """All of it as plain data, with the lines."""
    record = asdict(found)
    record["figures"] = [{**asdict(f), "alike": f.alike} for f in found.figures]
    record["sets"] = [{**asdict(s), "same": s.same} for s in found.sets]
    for name in ("same_first", "no_difference"):
        record[name] = getattr(found, name)
    record["options_gone"] = [asdict(p) for p in found.options_gone]
    record["options_new"] = [asdict(p) for p in found.options_new]
    record["why_sentence"] = why_words(found.why, units)
    record["lines"] = comparison_lines(found, units)
    return record


def _listed(names: Iterable[str]) -> str:
    held = list(names)
    return f"{', '.join(held[:MOST])}{_more(len(held) - MOST)}"


def _more(count: int) -> str:
    return f" and {count} more" if count > 0 else ""


def _short(value: str) -> str:
    text = " ".join(value.split())
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "\u2026"


def _plain(value: float) -> str:
    return f"{value:,.6g}" if math.isfinite(value) else NOT_KNOWN


def _called(name: str) -> str:
    short = _short(name)
    return short if " " in short else f"spot {short}"


def _spot(place: Place) -> str:
    return _called(place.name)


def _at(place: Place, old: bool = False) -> str:
    reference = _short(place.grid_reference)
    word = "the old " if old and " " not in place.name else ""
    return f"{word}{_spot(place)} ({reference})" if reference else f"{word}{_spot(place)}"


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]
