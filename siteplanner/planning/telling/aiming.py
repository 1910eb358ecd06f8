"""Bearings in words, true and magnetic side by side, and how to aim mast, dish and link at a spot. Plain text."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.telling.compass import SKEW_BRIEFLY, model_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.rain import margin_sentence, rain_note, rain_sentence
from siteplanner.planning.telling.sky import look_state
from siteplanner.planning.telling.sun import outage_sentence
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

POLARISATION = (
    "Polarization, channel and power as the donor's owner and the unit's manual say; turn for the strongest level."
)


def declination_deg(evaluation: Evaluation) -> float | None:
    """True minus magnetic bearing at the spot, east positive; None: not known."""
    if evaluation.magnetic is not None:
        return evaluation.magnetic.declination_deg
    for look in evaluation.sky:
        if look.azimuth_magnetic_deg is not None:
            return (look.azimuth_deg - look.azimuth_magnetic_deg + 180) % 360 - 180
    return None


def compass_words(evaluation: Evaluation, units: Units = METRIC) -> str:
    """How to turn true into magnetic, by which model and for which day; or why there is nothing to turn by."""
    turn, compass = declination_deg(evaluation), evaluation.magnetic
    if turn is None:
        why = "" if compass is None or compass.finding is None else f" {said(compass.finding).message}"
        return f"Magnetic declination not known: bearings are true only.{why}"
    rule = f"Magnetic = true {'-' if turn >= 0 else '+'} {units.angle(abs(turn))}"
    return f"{rule}." if compass is None else f"{rule} ({model_words(compass)})."


def true_and_magnetic(true_deg: float, evaluation: Evaluation, units: Units) -> tuple[str, str]:
    """Both bearings, each for a cell of its own."""
    turn = declination_deg(evaluation)
    return units.bearing(true_deg), NOT_KNOWN if turn is None else units.bearing(true_deg - turn)


def both_bearings(true_deg: float, evaluation: Evaluation, units: Units = METRIC) -> str:
    """`214° true (206° magnetic)`."""
    turn = declination_deg(evaluation)
    magnetic = "magnetic not known" if turn is None else f"{units.bearing(true_deg - turn)} magnetic"
    return f"{units.bearing(true_deg)} true ({magnetic})"


def true_label(what: str, bearing_deg: float, units: Units) -> str:
    """`sector 1 214° true`, for a drawing."""
    return f"{what} {units.bearing(bearing_deg)} true"


def sun_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """The next days on which the sun stands behind each satellite that works at this spot, one sentence each."""
    if plan.sun is None or not evaluation.dish_wanted:
        return []
    works = {look.satellite_name for look in evaluation.sky if look.clear}
    return [outage_sentence(one) for one in plan.sun.satellites if one.satellite_name in works]


MISSION_DAYS = 7.0  # from dispatch; common practice, no source


def sun_in_mission_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """`sun_words` where the sun stands behind a satellite within the mission's days (the plan's, undated)."""
    if plan.sun is None or not evaluation.dish_wanted:
        return []
    start = plan.mission.times.dispatch or datetime.combine(plan.sun.first_day, time.min, UTC)
    works = {look.satellite_name for look in evaluation.sky if look.clear}
    end = start + timedelta(days=MISSION_DAYS)
    return [
        outage_sentence(one)
        for one in plan.sun.satellites
        if one.satellite_name in works and any(start <= o.end and o.start <= end for o in one.outages)
    ]


def search_words(evaluation: Evaluation, name: str, longest_min: float, units: Units) -> str:
    """Where the dish's own search should end, and what is wrong when it does not; '' where no dish is used."""
    look = next(iter(evaluation.aimed), None)
    if look is None or not evaluation.dish_used:
        return ""
    at = f"{units.bearing(look.azimuth_deg)} true, {units.angle(look.elevation_deg, 0)} up"
    return (
        f"Auto-search should end near {at}, on {name}. Not in {units.figure(longest_min, 'min')}: tree, ridge or the "
        "wrong satellite."
    )


def rain_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """What rain does to each satellite that works at this spot, or why there is no figure."""
    if plan.rain is None or not evaluation.dish_wanted:
        return []
    works = {look.satellite_name for look in evaluation.sky if look.clear}
    note = rain_note(plan.rain)
    told = [rain_sentence(plan.rain, link) for link in plan.rain.links if link.satellite_name in works]
    return [*margin_words(plan, evaluation), *(told or ([note] if note else []))]


def margin_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """Link margin in clear sky and in rain, one sentence a satellite that works at this spot."""
    if not evaluation.dish_wanted:
        return []
    clear_sky_db = plan.mission.sky.link_margin_db
    return [margin_sentence(plan.rain, look.satellite_name, clear_sky_db) for look in evaluation.sky if look.clear]


def up_text(elevation_deg: float, units: Units = METRIC) -> str:
    """`1.2° up`, `0.4° down`."""
    if elevation_deg != elevation_deg:
        return "tilt not known"
    return f"{units.angle(abs(elevation_deg))} {'up' if elevation_deg >= 0 else 'down'}"


def aim(spot: RankedSpot, units: Units) -> str:
    """Mast height, sector bearings and the dish, or the link antenna, in one sentence."""
    evaluation = spot.evaluation
    parts = []
    if evaluation.coverage:
        bearings = " and ".join(both_bearings(b, evaluation, units) for b in evaluation.coverage.sector_bearings_deg)
        parts.append(f"mast at {units.first.stop(evaluation.coverage.mast_height_m)}")
        if bearings:
            parts.append(f"sectors at {bearings}")
    link = evaluation.donor
    if link is not None:
        at = both_bearings(link.bearing_deg, evaluation, units)
        parts.append(f"link antenna toward {link.name} at {at}, {up_text(link.elevation_deg, units)}")
    elif evaluation.dish_used:
        for look in evaluation.aimed:
            name = f" for {look.satellite_name}" if len(evaluation.aimed) > 1 else ""
            up = up_text(look.elevation_deg, units)
            parts.append(f"dish{name} at {both_bearings(look.azimuth_deg, evaluation, units)}, {up}")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""


def link_note(evaluation: Evaluation) -> str:
    """How to aim the link antenna; '' where no link was judged."""
    if not any(b.donors for b in evaluation.backhauls):
        return ""
    return (
        "Bearings and tilts are of the link antenna at the spot; on the mast, set its turn against the sectors and its "
        f"tilt before raising. {POLARISATION}"
    )


def look_tip(look: Look, evaluation: Evaluation, units: Units) -> str:
    """A satellite's look in one line, for the map."""
    state = "clear" if look.clear else "not clear"
    name = look.satellite_name or look.satellite_longitude_deg
    return (
        f"Dish to {name}: {both_bearings(look.azimuth_deg, evaluation, units)}, {units.angle(look.elevation_deg)} up, "
        f"margin {units.angle(look.margin_deg)}, {state}"
    )


def dish_line(look: Look, units: Units, named: Callable[[str], str] = str) -> str:
    """A satellite's look in one line, for the crew's message; `named` shows its name."""
    return (
        f"Dish {named(look.satellite_name)}: {units.angle(look.azimuth_deg)} true "
        f"({units.angle(look.azimuth_magnetic_deg)} magnetic), {units.angle(look.elevation_deg)} up, "
        f"skew {units.angle(look.skew_deg)} ({SKEW_BRIEFLY}), {look_state(look)}"
    )
