"""What carries the traffic at a spot, and why or why not, in words."""

from __future__ import annotations

from siteplanner.mission.criteria import deciding
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Backhaul, DonorPath
from siteplanner.planning.telling.sky import unknown_words
from siteplanner.planning.telling.units import METRIC, Units

HOURS_A_MONTH = 730.5


def backhaul_reason(backhaul: Backhaul, units: Units = METRIC) -> str:
    """Why it works or not, as a clause: `satellite at 103° W, clear by 8.4°`."""
    if backhaul.kind == "geostationary":
        return _dish(backhaul, units)
    if backhaul.kind == "open_sky":
        return _open_sky(backhaul, units)
    if backhaul.donors:
        return donor_reason(backhaul.donors[0], units)
    return f"no donor site within {units.posted((backhaul.max_distance_m or 0) / 1000, 'km', 'nearest')}"


def _dish(backhaul: Backhaul, units: Units) -> str:
    looks = backhaul.looks
    shown = deciding(looks, backhaul.need)
    if backhaul.verdict == "works" and shown is not None:
        return f"{shown.satellite_name}, clear by {units.angle(shown.margin_deg)}"
    least, lowest = backhaul.least_margin_deg or 0.0, backhaul.least_elevation_deg or 0.0
    parts = []
    for look in looks:
        if look.margin_deg != look.margin_deg:
            parts.append(f"{look.satellite_name}: {unknown_words(look)}")
        elif look.elevation_deg < lowest:
            parts.append(
                f"{look.satellite_name}: too low, {units.angle(look.elevation_deg)} up, {units.angle(lowest)} needed"
            )
        elif look.clear:
            parts.append(f"{look.satellite_name}: clear by {units.angle(look.margin_deg)}")
        else:
            parts.append(
                f"{look.satellite_name}: blocked, margin {units.angle(look.margin_deg)}, {units.angle(least)} needed"
            )
    return ", ".join(parts)


def _open_sky(backhaul: Backhaul, units: Units) -> str:
    share = backhaul.dome
    if share is None:
        return f"{units.share_at_least(backhaul.margin)} clear"
    low, high = (units.share_at_least(v) for v in (share.low, share.high))
    clear = f"{low} clear" if low == high else f"{low} to {high} clear"
    text = f"{clear} above {units.angle(backhaul.min_elevation_deg or 0, 0)}"
    if backhaul.verdict == "works":
        return text
    text += f", {units.share_at_least(backhaul.least_share)} needed"
    sector = share.worst if backhaul.verdict == "fails" else share.unknown or share.worst
    if sector is None:
        return text
    around = f"{units.bearing_figures(sector.from_deg)} to {units.bearing(sector.to_deg)} true"
    if sector.to_deg - sector.from_deg >= 360:
        around = "all round"
    if sector is share.unknown:
        return f"{text}; ground not known {around}"
    return f"{text}; worst {around}, ground up to {units.angle(sector.highest_deg, 0)}"


def donor_reason(path: DonorPath, units: Units = METRIC) -> str:
    """Why a link to a donor works or not, as a clause, with the mast stops where they matter."""
    text = _why(path, units)
    if not path.not_at_m or path.at_lowest is None:
        return text
    stop = units.stop(path.antenna_height_m)
    at = f"at {stop} of mast, not at {units.stop(path.not_at_m[-1])}"
    if path.verdict == "unknown":
        at = f"at {stop} of mast; {_why(path.at_lowest, units)} at {units.stop(path.not_at_m[0])}"
    elif path.verdict == "fails":
        at = f"even at {stop} of mast"
    return f"{text} ({at})"


def _why(path: DonorPath, units: Units) -> str:
    far, tight = _km(path.distance_m, units), _km(path.tightest_at_m, units)
    return {
        "too_far": lambda: f"too far, {far} away, the limit is {_km(path.needed, units)}",
        "own_cell": lambda: "it stands in the spot's own cell, finer than the elevation tells",
        "blocked": lambda: f"blocked at {tight}",
        "near_ground": lambda: (
            f"too near the ground at {tight}, {path.clearance_share:.2f} of the first Fresnel radius is clear, "
            f"{path.needed:.2f} needed"
        ),
        "near_ground_low_k": lambda: (
            f"too near the ground at {tight} when the air bends the ray least (k {path.low_k_factor:.2f}, 0.1 % of the "
            f"worst month), {path.low_k_share:.2f} of the first Fresnel radius is clear, {path.needed:.2f} needed"
        ),
        "donor_unknown": lambda: "the donor stands outside the known elevation",
        "ground_unknown": lambda: f"the ground is not known beyond {_km(path.unknown_from_m, units)}",
        "too_weak": lambda: f"{units.decibels(-path.margin_db)} too weak over {far}",
        "clear": lambda: (
            f"clear over {far} at {units.bearing(path.bearing_deg)} true, {units.decibels(path.margin_db)} to spare"
            f"{_faded(path)}"
        ),
    }[path.why]()


def _faded(path: DonorPath) -> str:
    """`, lost to multipath for 0.54 % of the worst month (4 h)`; '' for a path too short for it."""
    if not path.faded_pct > 0:
        return ""
    if path.faded_pct < 0.01:
        return ", lost to multipath for less than 0.01 % of the worst month"
    hours = path.faded_pct / 100 * HOURS_A_MONTH
    return f", lost to multipath for {path.faded_pct:.2g} % of the worst month ({max(hours, 0.1):.2g} h)"


def _km(distance_m: float, units: Units) -> str:
    """`0.35 km`, `3.2 km`, `18 km`."""
    km = distance_m / 1000
    return units.figure(km, "km", 2 if km < 0.995 else 1 if km < 99.95 else 0)


def clause(backhaul: Backhaul, units: Units = METRIC) -> str:
    """`dish to Relay one, clear by 8.4°`, `donor link to Ridge tower: blocked at 3.2 km`, for one backhaul."""
    reason = backhaul_reason(backhaul, units)
    if backhaul.kind == "geostationary":
        return f"dish to {reason}"
    if backhaul.kind == "open_sky":
        return f"open sky {reason}"
    if not backhaul.donors:
        return f"donor link: {reason}"
    return f"donor link to {backhaul.donors[0].name}: {reason}"


def backhaul_sentence(evaluation: Evaluation, units: Units = METRIC) -> str:
    """`Backhaul: dish to satellite at 103° W, clear by 8.4°; donor link to Ridge tower: blocked at 3.2 km.`"""
    if not evaluation.backhauls:
        return ""
    used = evaluation.backhaul
    rest = [clause(b, units) for b in evaluation.backhauls if b is not used]
    first = clause(used, units) if used is not None else "none is known to work"
    return f"Backhaul: {'; '.join([first, *rest])}."


def no_backhaul_words(verdict: str, backhauls: tuple[Backhaul, ...], units: Units = METRIC) -> str:
    """That none works, and why each does not."""
    known = "works" if verdict == "fails" else "is known to work"
    return f"No backhaul {known} here: {'; '.join(clause(b, units) for b in backhauls)}."


def used_words(used: Backhaul) -> str:
    """The backhaul in use, named."""
    if used.kind == "donor_link":
        return f"donor link to {used.donors[0].name}"
    return {"geostationary": "geostationary satellite", "open_sky": "open-sky terminal"}[used.kind]
