"""What is said of roads: why one is shut, what is not known of it, what to look out for. All words, no decisions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.roads.closures import DANGER
from siteplanner.roads.grade_bands import GradeBand
from siteplanner.roads.hazards import Warned
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.no_way import NoWay
from siteplanner.roads.reasons import Reason, Unknown, UnknownAlong, closure_names
from siteplanner.roads.ruled_out import RuledOut

USUAL = "No other limit is in the data, as is usual on ordinary roads: signs on the road go before the map."
BARRIER_WORDS = {
    "gate": "gate: may be locked", "lift_gate": "lift gate: may be locked", "swing_gate": "gate: may be locked",
    "sliding_gate": "gate: may be locked", "toll_booth": "toll booth", "cattle_grid": "cattle grid",
    "border_control": "border control", "height_restrictor": "height bar", "chain": "chain: may be locked",
}  # fmt: skip


def reason_words(reason: Reason) -> str:
    """`tunnel height limit 2.8 m is below the rig's 3.2 m`: one reason why a road is shut for the rig."""
    kind, figure, limit = reason.kind, reason.figure, reason.limit
    if kind == "grade" and figure is not None and limit is not None:
        return _grade_words(reason, figure, limit)
    if kind == "bend":
        return f"bend of radius {figure:.0f} m is tighter than the rig's {limit:.3g} m"
    if figure is not None and limit is not None:
        place = f"{reason.structure} " if reason.structure else ""
        return f"{place}{kind} {figure:.3g} {reason.unit} is below the rig's {limit:.3g} {reason.unit}"
    return {
        "no road": f"{reason.what or 'line'}: not a road for vehicles",
        "access": f"access is {reason.what}",
        "season or hours": f"no access at this time or for this rig ({reason.what})",
        "ford": "ford",
        "trailers": "no trailers",
        "surface": f"surface {reason.what} is not for the rig",
        "track type": f"track type {reason.what} is softer than the rig's {reason.allowed}",
        "smoothness": f"smoothness {reason.what} is worse than the rig's {reason.allowed}",
        "barrier": f"barrier {reason.what} stops the rig",
        "closure": f"closed: {reason.what}",
    }[kind]


def _grade_words(reason: Reason, grade_pct: float, limit_pct: float) -> str:
    if not reason.certain and reason.error is not None:
        return f"{near_words(grade_pct, reason.error, limit_pct)}: more likely too steep than not"
    if reason.source == "posted":
        return f"posted grade {grade_pct:.3g} % is above the rig's {limit_pct:.3g} %"
    return f"grade {grade_pct:.0f} % over {reason.over_m:.0f} m (from elevation) is above the rig's {limit_pct:.3g} %"


def near_words(grade_pct: float, error_pct: float, limit_pct: float) -> str:
    """`grade 14 ± 3 % against a limit of 15 %`: for a grade closer to the rig's limit than it is known."""
    return f"grade {grade_pct:.0f} ± {max(error_pct, 1):.0f} % against a limit of {limit_pct:.3g} %"


def reasons_words(reasons: Sequence[Reason]) -> str:
    """All reasons of one road; several closures are named together, last."""
    closed = closure_names(reasons)
    told = [reason_words(r) for r in reasons if r.kind != "closure"]
    return "; ".join([*told, *([f"closed: {names_together(closed)}"] if closed else [])])


def names_together(names: Sequence[str]) -> str:
    """`slide and flood`."""
    return " and ".join(names)


def not_these_words(roads: Sequence[RuledOut]) -> str:
    """The ruled-out roads of quicker ways, each with its reasons; '' where there are none."""
    told: dict[str, list[Reason]] = {}
    for road in roads:
        told.setdefault(road.name, []).append(road.reason)
    return "; ".join(f"{name} ({reasons_words(reasons)})" for name, reasons in told.items())


def unknown_words(unknown: Sequence[Unknown]) -> str:
    """What is not known of one road: `height limit, surface`."""
    return ", ".join(_unknown_words(u) for u in unknown)


def _unknown_words(unknown: Unknown) -> str:
    if unknown.figure is None or unknown.error is None or unknown.limit is None:
        return unknown.kind
    return near_words(unknown.figure, unknown.error, unknown.limit)


def unknown_along_words(unknown: Sequence[UnknownAlong], *, labelled: bool = False) -> tuple[str, ...]:
    """`height limit and width not stated on 0.5 of 1.5 km`: one text for what lacks on the same length of a drive.

    `labelled`: under a heading that says already that it is not known.
    """
    stated = "on" if labelled else "not stated on"
    out = []
    alike: dict[str, list[UnknownAlong]] = {}
    for item in unknown:
        if item.near:
            out.append(f"grade not known well enough on {item.length_m / 1000:.1f} of {item.total_m / 1000:.1f} km")
        else:
            alike.setdefault(f"{item.length_m / 1000:.1f}", []).append(item)
    for km, items in alike.items():
        kinds = [item.kind for item in items]
        together = f"{', '.join(kinds[:-1])} and {kinds[-1]}" if len(kinds) > 1 else kinds[0]
        out.append(f"{together} {stated} {km} of {items[0].total_m / 1000:.1f} km")
    return tuple(out)


def unknown_kinds_words(unknown: Sequence[UnknownAlong]) -> str:
    """What to read signs and road for: `grade (close to the rig's limit), height limit`; each once."""
    return ", ".join(dict.fromkeys("grade (close to the rig's limit)" if i.near else i.kind for i in unknown))


def hazard_words(hazard: Warned) -> str:
    """What is said of a hazard on a road, wherever it lies and whichever way it is driven."""
    kind, what, value = hazard.kind, hazard.what, hazard.value
    if kind == "gate":
        locked = f"{what.replace('_', ' ')}: locked or not open to the public, get the key before leaving"
        return locked if hazard.state == "locked" else BARRIER_WORDS.get(what, what)
    if kind in ("bridge", "tunnel", "limit"):
        posted = ", ".join(f"{name} {figure:.3g} {unit}" for name, figure, unit in hazard.posted)
        posted = f"posted {posted}" if posted else "no figures posted"
        return posted if kind == "limit" else f"{kind}, {posted}"
    if kind == "narrow":
        return "one lane" if value is None else f"narrow: {value:.3g} m for a rig of {hazard.limit:.3g} m"
    if kind == "under bridge":
        stated = "no height posted: measure before driving through" if value is None else f"posted height {value:.3g} m"
        return f"passes under a bridge, {stated}"
    if kind == "bend":
        return f"sharp {_radius_words(hazard)}"
    if kind == "steep" and value is not None:
        if hazard.error is not None and hazard.limit is not None:
            return near_words(abs(value), hazard.error, hazard.limit)
        return f"grade {abs(value):.0f} % over {hazard.over_m:.0f} m"
    if kind == "season or hours":
        if hazard.state == "open":
            return f"open at the time of dispatch, but not always: {what}"
        return f"may be closed now: {what}"
    return {
        "ford": "ford: depth unknown, look before driving in",
        "private": "private road: ask the owner",
        "unreadable": f"limit not readable: {what}",
        "unpaved": f"unpaved ({what or 'no surface stated'})",
        DANGER: f"through {what}: may be blocked or unsafe",
        "overhead line": f"overhead line{f' {what}' if what else ''}: look up before you drive under",
    }[kind]


def _radius_words(bend: Warned, words: str = "bend") -> str:
    tight = bend.severity == "caution"
    against = f": tighter than the rig's {bend.limit:.0f} m" if tight else ""
    return f"{words}, radius about {bend.value:.0f} m{against}"


def ahead_words(hazard: HazardAhead) -> str:
    """What is said of a hazard on a drive: a grade as climb or descent, a bend with its side."""
    if hazard.kind == "steep" and hazard.value is not None:
        return f"steep {'climb' if hazard.value > 0 else 'descent'}: {hazard_words(hazard)}"
    if hazard.kind == "bend" and hazard.side:
        shape = "hairpin" if hazard.hairpin else "sharp"
        return f"{shape} {_radius_words(hazard, f'bend to the {hazard.side}')}"
    return hazard_words(hazard)


def band_words(band: GradeBand) -> str:
    """`up, 5 to 8 %`."""
    if band.way == "unknown":
        return "not known"
    if math.isinf(band.to_pct):
        return f"{band.way}, above {band.from_pct:g} %"
    if not band.from_pct:
        return f"{band.way}, below {band.to_pct:g} %"
    return f"{band.way}, {band.from_pct:g} to {band.to_pct:g} %"


def no_way_words(no_way: NoWay) -> str:
    """What is wrong with the road nearest to a spot that no drive leads to; '' where there is none."""
    name = no_way.name or "the road beside it"
    beyond = f"The drive from staging does not reach {name}:"
    return {
        "no_road": "",
        "far": f"The nearest road is {no_way.distance_m or 0:.0f} m away.",
        "refused": f"Not {name}: {reasons_words(no_way.reasons)}.",
        "closed_before": f"{beyond} closed before it by {names_together(no_way.closed_by)}.",
        "not_reached": f"{beyond} a limit or a gap in the roads lies before it.",
        "ground_between": f"{name} is near, but the ground between is too steep or closed.",
    }[no_way.kind]
