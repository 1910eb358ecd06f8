"""What is said of roads: why one is shut, what is not known of it, what to look out for. All words, no decisions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.mission import Rig
from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.roads.closures import DANGER
from siteplanner.roads.grade_bands import GradeBand
from siteplanner.roads.hazards import Warned
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.no_way import NoWay
from siteplanner.roads.openings import Opening
from siteplanner.roads.reasons import Reason, Unknown, UnknownAlong, closure_names
from siteplanner.roads.ruled_out import RuledOut
from siteplanner.roads.start import NoStart

NOT_IN_DATA = "limits not in the data"
CARRIED = {
    "railway": "a railway bridge", "footway": "a footbridge", "path": "a footbridge", "steps": "a footbridge",
    "pedestrian": "a footbridge", "corridor": "a footbridge", "cycleway": "a cycle bridge",
    "bridleway": "a bridle bridge", "pipeline": "a pipe bridge", "aqueduct": "an aqueduct",
    "taxiway": "a taxiway bridge",
}  # fmt: skip
DIRECT = {"flood_prone": "floods", "low_water_crossing": "low-water crossing", "tidal": "covered by the tide"}
WORKS = {"yes": "", "minor": "small "}
USUAL = "No other limit is in the data, as is usual on ordinary roads: signs on the road override the map."
BARRIER_WORDS: dict[str, tuple[str, ...]] = {
    "gate": ("gate", "may be locked"), "lift_gate": ("lift gate", "may be locked"),
    "swing_gate": ("gate", "may be locked"), "sliding_gate": ("gate", "may be locked"),
    "toll_booth": ("toll booth",), "cattle_grid": ("cattle grid",), "border_control": ("border control",),
    "height_restrictor": ("height bar",), "width_restrictor": ("width bar",),
    "hampshire_gate": ("wire gate", "may be locked"), "bump_gate": ("bump gate", "push it open with care"),
    "chain": ("chain", "may be locked"),
}  # fmt: skip


def reason_words(reason: Reason, units: Units = METRIC) -> str:
    """`tunnel height limit 2.8 m is below the rig's 3.2 m`: one reason why a road is shut for the rig."""
    kind, figure, limit = reason.kind, reason.figure, reason.limit
    if kind == "grade" and figure is not None and limit is not None:
        return _grade_words(reason, figure, limit, units)
    if kind == "bend":
        there = units.there(figure)
        return f"bend of radius {there} is tighter than the rig's {turning_radius_words(limit, units)}"
    if figure is not None and limit is not None:
        place = f"{reason.structure} " if reason.structure else ""
        stated, rig = units.posted(figure, reason.unit), units.posted(limit, reason.unit, "up")
        if reason.written:
            stated = f"at most {stated} (written {reason.written!r})"
        spare = (
            f" with {units.posted(reason.spare, reason.unit, 'up')} to spare"
            if reason.spare and figure >= limit
            else ""
        )
        return f"{place}{kind} {stated} is below the rig's {rig}{spare}"
    return {
        "no road": f"{reason.what or 'line'}: not a road for vehicles",
        "access": f"access is {reason.what}"
        + (f"{units.colon}emergency vehicles may, ask who keeps it" if reason.allowed else ""),
        "season or hours": f"no access at this time or for this rig ({reason.what})",
        "ford": "ford",
        "trailers": "no trailers",
        "surface": f"surface {reason.what} is not for the rig",
        "track type": f"track type {reason.what} is softer than the rig's {reason.allowed}",
        "smoothness": f"smoothness {reason.what} is worse than the rig's {reason.allowed}",
        "barrier": f"barrier {reason.what} stops the rig{units.colon}"
        + (f"{reason.allowed}, somebody has the key" if reason.allowed else "a key or a saw may open it"),
        "closure": f"closed: {reason.what}",
    }[kind]


def rig_height_words(rig: Rig, units: Units) -> str:
    """`3.2 m (10.5 ft); signs must show 3.35 m (11.0 ft)`."""
    need = rig.height_m + rig.height_allowance_m
    signs = f"; signs must show {units.posted(need, 'm', 'up')}" if rig.height_allowance_m else ""
    return f"{units.stated(rig.height_m, 'm')}{signs}"


def turning_radius_words(radius_m: float | None, units: Units) -> str:
    """The rig's turning radius, everywhere the same: as its user stated it, feet whole."""
    return units.stated(radius_m, "m", 0)


def _grade_words(reason: Reason, grade_pct: float, limit_pct: float, units: Units) -> str:
    if not reason.certain and reason.error is not None:
        return f"{near_words(grade_pct, reason.error, limit_pct, units)}{units.colon}more likely too steep than not"
    if reason.source == "posted":
        return f"posted grade {units.posted(grade_pct, '%')} is above the rig's {units.posted(limit_pct, '%')}"
    over = f"grade {units.figure(grade_pct, '%')} over {units.length(reason.over_m)} (from elevation)"
    return f"{over} is above the rig's {units.posted(limit_pct, '%')}"


def near_words(grade_pct: float, error_pct: float, limit_pct: float, units: Units = METRIC) -> str:
    """`grade 11 to 17 %, limit 15 %`: for a grade closer to the rig's limit than it is known."""
    low, high = units.grade_range(grade_pct, error_pct)
    return f"grade {low} to {high}, limit {units.posted(limit_pct, '%')}"


def reasons_words(reasons: Sequence[Reason], units: Units = METRIC) -> str:
    """All reasons of one road; several closures are named together, last."""
    closed = closure_names(reasons)
    told = [reason_words(r, units) for r in reasons if r.kind != "closure"]
    return "; ".join([*told, *([f"closed: {names_together(closed)}"] if closed else [])])


def opening_words(opening: Opening, units: Units = METRIC) -> str:
    """The one shut road that would lead to most ground, with the value that keeps it shut."""
    name = opening.reasons[0].name
    why = reasons_words([road.reason for road in opening.reasons], units)
    opens = units.figure(opening.opens_m / 1000, "km", 1)
    return f"One road alone would lead the rig to {opens} of road on the search ground, were it open: {name} ({why})."


def names_together(names: Sequence[str]) -> str:
    """`slide and flood`."""
    return " and ".join(names)


def not_these_words(roads: Sequence[RuledOut], units: Units = METRIC) -> str:
    """The ruled-out roads of quicker ways, each with its reasons; '' where there are none."""
    told: dict[str, list[Reason]] = {}
    for road in roads:
        told.setdefault(road.name, []).append(road.reason)
    return "; ".join(f"{name} ({reasons_words(reasons, units)})" for name, reasons in told.items())


def unknown_words(unknown: Sequence[Unknown], units: Units = METRIC) -> str:
    """What is not known of one road: `height limit, surface`."""
    return ", ".join(_unknown_words(u, units) for u in unknown)


def _unknown_words(unknown: Unknown, units: Units) -> str:
    if unknown.figure is None or unknown.error is None or unknown.limit is None:
        return unknown.kind
    return near_words(unknown.figure, unknown.error, unknown.limit, units)


def unknown_along_words(
    unknown: Sequence[UnknownAlong], units: Units = METRIC, *, labelled: bool = False
) -> tuple[str, ...]:
    """`height limit and width not stated on 0.5 of 1.5 km`: one text for what lacks on the same length of a drive.

    `labelled`: under a heading that says already that it is not known.
    """
    stated = "on" if labelled else "not stated on"
    out = []
    alike: dict[str, list[UnknownAlong]] = {}
    for item in unknown:
        if item.near:
            along = units.part_of(item.length_m, item.total_m)
            out.append(f"grade too close to the rig's limit to be sure of on {along}")
        else:
            alike.setdefault(units.part_of(item.length_m, item.total_m), []).append(item)
    for length, items in alike.items():
        kinds = [item.kind for item in items]
        together = f"{', '.join(kinds[:-1])} and {kinds[-1]}" if len(kinds) > 1 else kinds[0]
        out.append(f"{together} {stated} {length}")
    return tuple(out)


def unknown_kinds_words(unknown: Sequence[UnknownAlong]) -> str:
    """What to read signs and road for: `grade (close to the rig's limit), height limit`; each once."""
    return ", ".join(dict.fromkeys("grade (close to the rig's limit)" if i.near else i.kind for i in unknown))


def hazard_words(hazard: Warned, units: Units = METRIC) -> str:
    """What is said of a hazard on a road, wherever it lies and whichever way it is driven."""
    kind, what, value = hazard.kind, hazard.what, hazard.value
    then = units.colon
    if kind == "gate":
        barrier, known = what.replace("_", " "), BARRIER_WORDS.get(what, (what,))
        if hazard.state == "locked":
            return f"{barrier}{then}locked or not open to the public, get the key before leaving"
        return then.join(known)
    if kind in ("bridge", "tunnel", "limit"):
        posted = ", ".join(f"{name} {units.posted(figure, unit)}" for name, figure, unit in hazard.posted)
        if not posted:
            return f"{kind}, {NOT_IN_DATA}{then}read the sign"
        return f"posted {posted}" if kind == "limit" else f"{kind}, posted {posted}"
    if kind == "narrow":
        if value is None:
            return "one lane"
        narrow = "perhaps narrow" if hazard.state else "narrow"
        return f"{narrow}{then}{units.posted(value, 'm')} for a rig of {units.posted(hazard.limit, 'm', 'up')}"
    if kind == "under bridge":
        if value is None:
            return f"passes under {_above(what)}, height not in the data{then}read the sign, measure if there is none"
        return f"passes under {_above(what)}, posted height {units.posted(value, 'm')}"
    if kind == "bend":
        if hazard.state == "junction":
            return f"tight {_radius_words(hazard, units, 'turn at the junction')}"
        return f"sharp {_radius_words(hazard, units)}"
    if kind == "steep" and value is not None:
        if hazard.error is not None and hazard.limit is not None:
            return near_words(abs(value), hazard.error, hazard.limit, units)
        return f"grade {units.figure(abs(value), '%')} over {units.length(hazard.over_m)}"
    if kind == "season or hours":
        if hazard.state == "open":
            return f"open at the time of dispatch, but not always{then}{what}"
        return f"may be closed now{then}{what}"
    if kind == "ford" and value is not None:
        return f"ford{then}depth {units.posted(value, 'm', 'up')} in the data, look before driving in"
    return {
        "ford": f"ford{then}depth unknown, look before driving in",
        "private": f"private road{then}ask the owner",
        "access": f"open to {_who(what)} only{then}ask who keeps the road",
        "through traffic": f"not open to through traffic{then}ask, or go round",
        "heavy vehicles": f"closed or restricted for heavy goods vehicles ({what}){then}does the rig count as one?",
        "trailers": f"restricted for trailers ({what}){then}ask who keeps the road",
        "flooding": f"{DIRECT.get(what, what)}{then}may be under water, do not drive into water",
        "danger": f"danger signed{then}{what.replace('_', ' ')}",
        "level crossing": f"{what or 'level'} crossing{then}a low trailer may ground on it, do not stop on it",
        "covered": f"under a roof, height not in the data{then}read the sign, measure if there is none",
        "works": f"{WORKS.get(what, '')}works on the road{then}may be closed",
        "out of use": f"road out of use ({what}){then}may not be passable",
        "four wheels": f"for four-wheel drive only{then}ask whether a trailer gets through",
        "no figure": f"height less than usual, not in the data{then}read the sign, measure if there is none",
        "unreadable": f"limit to read on the sign{then}{what} is written as {hazard.written!r}",
        "unpaved": f"unpaved ({what or 'no surface stated'})",
        DANGER: f"through {what}{then}may be blocked or unsafe",
        "overhead line": f"overhead line{f' {what}' if what else ''}{then}look up before you drive under",
    }[kind]


def _above(carried: str) -> str:
    """What a road passes under."""
    return CARRIED.get(carried, "a bridge")


def _who(access: str) -> str:
    """Whom an access value lets in, in words: `agricultural and forestry vehicles`."""
    words = [w.strip().replace("_", " ") for w in access.split(";")]
    vehicles = {"agricultural", "forestry", "emergency", "official", "delivery"}
    kinds = [f"{w} vehicles" if w in vehicles else w for w in words]
    return " and ".join(kinds)


def _radius_words(bend: Warned, units: Units, words: str = "bend") -> str:
    tight = bend.severity == "warning"
    against = f"{units.colon}tighter than the rig's {turning_radius_words(bend.limit, units)}" if tight else ""
    # down, in tenths as the rig's own figure: 9.9 m does not read as less tight than it is
    return f"{words}, radius about {units.there(bend.value, 1)}{against}"


def ahead_words(hazard: HazardAhead, units: Units = METRIC) -> str:
    """What is said of a hazard on a drive: a grade as climb or descent, a bend with its side."""
    if hazard.kind == "steep" and hazard.value is not None:
        return f"steep {'climb' if hazard.value > 0 else 'descent'}{units.colon}{hazard_words(hazard, units)}"
    if hazard.kind == "bend" and hazard.side:
        if hazard.state == "junction":
            what = "U-turn" if hazard.hairpin else "turn"
            return f"tight {_radius_words(hazard, units, f'{what} to the {hazard.side} at the junction')}"
        shape = "hairpin" if hazard.hairpin else "sharp"
        return f"{shape} {_radius_words(hazard, units, f'bend to the {hazard.side}')}"
    return hazard_words(hazard, units)


def band_words(band: GradeBand) -> str:
    """`up, 5 to 8 %`."""
    if band.way == "unknown":
        return "not known"
    if math.isinf(band.to_pct):
        return f"{band.way}, above {band.from_pct:g} %"
    if not band.from_pct:
        return f"{band.way}, below {band.to_pct:g} %"
    return f"{band.way}, {band.from_pct:g} to {band.to_pct:g} %"


def no_way_words(no_way: NoWay, units: Units = METRIC) -> str:
    """What is wrong with the road nearest to a spot that no drive leads to; '' where there is none."""
    name = no_way.name or "the road beside it"
    beyond = f"The drive from staging does not reach {name}:"
    return {
        "no_road": "",
        "no_start": "" if no_way.start is None else no_start_words(no_way.start, "staging", units),
        "no_stopping": f"Nobody stops on {name} to unload ({no_way.what}).",
        "stopped_before": f"{beyond} {reasons_words(no_way.reasons, units)}.",
        "far": f"The nearest road is {units.distance(no_way.distance_m or 0)} away.",
        "refused": f"Not {name}: {reasons_words(no_way.reasons, units)}.",
        "closed_before": f"{beyond} closed before it by {names_together(no_way.closed_by)}.",
        "not_reached": f"{beyond} a limit or a gap in the data blocks the way.",
        "ground_between": f"{name} is near, but the ground between is too steep or closed.",
    }[no_way.kind]


def no_start_words(refused: NoStart, start: str, units: Units = METRIC) -> str:
    """Why no rig leaves a staging point."""
    name = refused.name or "the road beside it"
    why = reasons_words(refused.reasons, units)
    away = "" if refused.distance_m is None else units.distance(refused.distance_m)
    return {
        "no_road": f"No rig leaves {start}: the nearest road to stop on is {away} away."
        if away
        else f"No rig leaves {start}: there is no road to stop on.",
        "shut": f"No rig leaves {start}: {name}, {away} away, is shut for it ({why}).",
        "none_for_rig": f"No rig leaves {start}: no road in the data is for it; {name}, {away} away ({why}).",
    }[refused.kind]
