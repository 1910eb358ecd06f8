"""Stay or move, in words: the answer, what breaks, what a move costs and gains, and the record of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from typing import Any

from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.again import Again, Move, points_now
from siteplanner.planning.plan.lowered import Lowered
from siteplanner.planning.plan.units_left import UnitsLeft
from siteplanner.planning.telling.clock import clock_range, clock_text, minutes_range, threat_words
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units
from siteplanner.planning.telling.wind import above_words

Named = Callable[[str], str]
NOT_REPORTED = "How the trailer stands was not reported: it is taken as planned."
TOO_WINDY = "the wind is too much there as well"
WIND_NOT_STATED = "What wind the mast stands is not stated: nobody has held the forecast against it. Read the manual."
READINGS_KEPT = "What the readings said of the signal is kept from the plan before."
TALKS = {
    "stay": "Stay", "lower": "Stay, and lower the mast", "down": "Take the mast down", "move": "Move",
    "depends": "Stay or move: for the commander to decide",
    "cut_off": "Cut off", "no_place": "No place to move to",
}  # fmt: skip


def headline(again: Again, units: Units = METRIC, named: Named = str) -> str:
    """The answer in one or two sentences; never calm over what is not known."""
    here, best = named(again.stay.evaluation.spot.name), again.best
    broken = _limits(again)
    low, hours = again.stay.lowered, again.stay.stowed_h
    stowed = f" {stowed_words(hours, units)}" if hours > 0 and again.verdict != "down" else ""
    match again.verdict:
        case "stay":
            doubt = "" if again.stay.stands_wind is not None or not again.stay.forecast else f" {WIND_NOT_STATED}"
            lost = "" if again.left is None else f" {left_words(again.left, units, named)}"
            return (
                f"Stay at spot {here}: no limit that the data tell of is broken there now, and no place that the "
                f"trailer can be driven to is sure to serve more.{lost}{doubt}{stowed}"
            )
        case "lower" | "down":
            assert low is not None
            none = "" if low.enough else " No place that the trailer can be driven to stands that wind and serves more."
            return f"Stay at spot {here}. {lowered_words(low, units, named)}{none}{stowed}"
        case "move":
            assert best is not None
            if low is not None and not again.stay.grave:
                return (
                    f"Move to spot {named(best.spot.spot.name)}, {off_words(best, units)} without service. Staying: "
                    f"{lowered_words(low, units, named)}{_raise_words(best)}"
                )
            return (
                f"Move to spot {named(best.spot.spot.name)}: staying breaks {broken}. "
                f"{off_words(best, units)} without service."
            )
        case "depends" if again.left is not None and again.left.move is not None:
            return f"{left_words(again.left, units, named)} For the commander to decide."
        case "depends":
            assert best is not None
            first = "" if low is None else f" {lowered_words(low, units, named)}"
            return (
                f"Stay at spot {here} or move to spot {named(best.spot.spot.name)}: "
                f"{trade_words(best, units, named)}{first}"
            )
        case "cut_off":
            if again.stay.grave:
                return (
                    f"Staying breaks {broken}, and no road for the rig is known from there to another spot. Get the "
                    "people out; ask for a way for the trailer."
                )
            move = " and no move" if best is None else ""
            return (
                f"No road for the rig leads to the trailer at spot {here} now: no fuel, no relief{move} by road. "
                "It serves until its tank is empty."
            )
        case _:
            return (
                f"Staying breaks {broken}, and no other spot passes under the changed mission. Take the trailer down."
            )


def _limits(again: Again) -> str:
    codes = [b.code for b in (again.stay.grave or again.stay.failed)]
    return "; ".join(dict.fromkeys(LIMITS.get(c, c.replace("_", " ")).lower() for c in codes))


def _raise_words(move: Move) -> str:
    """When the mast may be raised at the other place; '' where the forecast asks for nothing there."""
    site = move.spot.evaluation.on_site
    spans = () if site is None or site.wind is None else site.wind.spans
    span = next((s for s in spans if s.limit == "raising"), None)
    if span is None:
        return ""
    start, end = datetime.fromisoformat(span.start), datetime.fromisoformat(span.end)
    return f" Raise the mast there before {clock_text(start)}, or not until {clock_text(end)}."


def stowed_words(hours: float, units: Units = METRIC) -> str:
    """How long nothing is served because the wind stows the dish."""
    return f"While the dish is stowed by the wind there is no service: {units.figure(hours, 'h', 1)}."


def lowered_words(low: Lowered, units: Units = METRIC, named: Named = str) -> str:
    """What the wind asks of the mast, by when, until when, and what is served meanwhile."""
    start, end = datetime.fromisoformat(low.by), datetime.fromisoformat(low.until)
    until = f"until {clock_text(end)}"
    if low.stop_m is None:
        hours = units.figure(low.hours, "h", 1)
        return (
            f"The forecast wind is above what the mast stands at any stop: take it down by {clock_text(start)}, no "
            f"service {until} ({hours}), and longer until it is raised again."
        )
    out = (
        f"The forecast wind is above what the mast stands at {units.stop(low.from_m)}: lower it to "
        f"{units.stop(low.stop_m)} by {clock_text(start)}, {until}."
    )
    if not low.carried:
        return f"{out} From there nothing carries the traffic on: no service."
    share = units.share(low.share) if math.isfinite(low.share) else NOT_KNOWN
    out += f" From there {share} of the area is served."
    if low.required_lost:
        out += f" Required, and not served from there: {', '.join(map(named, low.required_lost))}."
    if low.points_lost:
        out += f" No service from there at {', '.join(map(named, low.points_lost))}."
    return out


def left_words(left: UnitsLeft, units: Units = METRIC, named: Named = str) -> str:
    """A unit is lost: what the others serve, and whether one should move."""
    gone = f"Lost: {', '.join(map(named, left.gone))}."
    if not math.isfinite(left.share):
        return f"{gone} What the others serve is not known."
    places = ", ".join(
        f"{named(u.name)} at spot {named(u.evaluation.spot.name)}{'' if u.reported else ' (as planned)'}"
        for u in left.left
    )
    before = f", {units.share(left.was_share)} with all units" if math.isfinite(left.was_share) else ""
    out = f"{gone} {places}: {units.share(left.share)} of the area is served{before}."
    if left.points_lost:
        out += f" No service any more at {', '.join(map(named, left.points_lost))}."
    move = left.move
    if move is None:
        return f"{out} No move of one of them is sure to serve more."
    again = f" and {', '.join(map(named, move.points_gained))} again" if move.points_gained else ""
    return (
        f"{out} Moving {named(move.unit)} from spot {named(move.here)} to spot {named(move.there)} would serve "
        f"{units.share(move.share)} of the area ({_signed(move.held.low)} to {_signed(move.held.high)} %, 9 in 10)"
        f"{again}, for {minutes_range(move.off.early_min, move.off.late_min, units)} without its service."
    )


def off_words(move: Move, units: Units = METRIC) -> str:
    """`61 to 95 min`: nine cases in ten."""
    return NOT_KNOWN if move.off is None else minutes_range(move.off.early_min, move.off.late_min, units)


def trade_words(move: Move, units: Units = METRIC, named: Named = str) -> str:
    """What a move gains and costs, and from when on it pays."""
    gain = ""
    if math.isfinite(move.gain):
        sure = f" ({_points_range(move)}, 9 in 10)" if math.isfinite(move.held.low) else ""
        more = "more" if move.gain > 0 else "less"
        gain = f"there {units.share(abs(move.gain))} {more} of the area is served{sure}"
    lines = [f"{gain or 'how much more is served is not known'}, for {off_words(move, units)} without service."]
    if move.points_gained:
        lines.append(f"Served only there: {', '.join(map(named, move.points_gained))}.")
    if move.points_lost:
        lines.append(f"Served only here: {', '.join(map(named, move.points_lost))}.")
    if move.pays_after_min is not None:
        early, late = move.pays_after_min
        lines.append(
            "By area, moving gives more only if service is needed for more than "
            f"{units.minutes(early)} to {units.minutes(late)} from now."
        )
    return " ".join(lines)


def _points_range(move: Move) -> str:
    """`-2 to +8 %` more of the area, 9 in 10."""
    return f"{_signed(move.held.low)} to {_signed(move.held.high)} %"


def _signed(share: float) -> str:
    """`+8`, `-2`, `0`: hundredths with their sign."""
    whole = round(100 * share)
    return f"{whole:+d}" if whole else "0"


def breaks_lines(again: Again, units: Units = METRIC, named: Named = str) -> list[str]:
    """What breaks on staying, each with its figures: limits, ways, wind, hazards, units."""
    stay = again.stay
    out = [breach_words(breach, units) for breach in stay.failed]
    was, now = stay.was_ways_out, stay.ways_out
    if now == 0:
        out.append("No road leads out of the area from there now.")
    elif now is not None and math.isfinite(was) and now < was:
        out.append(f"Ways out of the area by road: {now}, before {was:.0f}.")
    if stay.forecast and stay.stands_wind is None:
        out.append(WIND_NOT_STATED)
    at = datetime.fromisoformat
    out += [f"{above_words(s.limit)}: {clock_range(at(s.start), at(s.end))}." for s in stay.wind]
    if stay.stowed_h > 0 and again.verdict != "down":
        out.append(stowed_words(stay.stowed_h, units))
    clock = stay.clock
    if clock is not None and clock.first_threat is not None:
        out.append(f"{threat_words(clock.first_threat, named)}.")
        if clock.leave_spot_by is not None:
            out.append(f"Start the take-down by {clock_text(clock.leave_spot_by)} at the latest.")
    left = again.left
    told = again.verdict == "stay" or (again.verdict == "depends" and left is not None and left.one_should_move)
    if left is not None and not told:  # else the headline has it
        out.append(left_words(left, units, named))
    elif again.units_gone and left is None:
        out.append(f"No longer in the mission: {', '.join(map(named, again.units_gone))}.")
    if not again.reported:
        out.append(NOT_REPORTED)
    if again.readings_kept:
        out.append(READINGS_KEPT)
    return out


def area_words(again: Again, units: Units = METRIC) -> str:
    """Service from where it stands: before, now, and with the sectors turned."""
    stay = again.stay
    was = units.share(stay.was_share) if math.isfinite(stay.was_share) else NOT_KNOWN
    if not math.isfinite(stay.share):
        return f"Area served from where it stands: not known now, {was} before."
    turned = ""
    if stay.turned_share > stay.share + 0.005:
        turned = f" With the sectors turned to the best bearings it would be {units.share(stay.turned_share)}."
    return f"Area served from where it stands: {units.share(stay.share)} now, {was} before the change.{turned}"


def move_rows(again: Again, units: Units = METRIC, named: Named = str) -> list[list[str]]:
    """Spot, area, against staying, drive, off the air, from when on it pays."""
    out = []
    for move in again.moves:
        pays = "-" if move.pays_after_min is None else " to ".join(units.minutes(m) for m in move.pays_after_min)
        drive = units.distance(move.drive_m) if math.isfinite(move.drive_m) else "no road known"
        share = units.share(move.share) if math.isfinite(move.share) else NOT_KNOWN
        gain = TOO_WINDY if again.stay.lowered is not None and move.stands_wind is False else NOT_KNOWN
        if math.isfinite(move.gain):
            gain = "as now" if abs(move.gain) < 0.005 else f"{_signed(move.gain)} %"
            gain += f" ({_points_range(move)})" if math.isfinite(move.held.low) else ""
        out.append([named(move.spot.spot.name), share, gain, drive, off_words(move, units), pays])
    return out


def part_rows(again: Again, units: Units = METRIC) -> list[list[str]]:
    """The minutes off the air of the best move, part by part: quick, likely, slow; then all, for nine cases in ten."""
    best = again.best
    if best is None or best.off is None:
        return []
    off = best.off
    rows = [[p.name, *(units.minutes(m) for m in (p.low_min, p.likely_min, p.high_min))] for p in off.parts]
    return [*rows, ["All together", *(units.minutes(m) for m in (off.early_min, off.likely_min, off.late_min))]]


def point_rows(again: Again, units: Units = METRIC, named: Named = str) -> list[list[str]]:
    """Named point, chance of service if it stays, if it moves."""
    return [
        [named(name), *(units.share(v) if math.isfinite(v) else NOT_KNOWN for v in (stay, there))]
        for name, stay, there in points_now(again)
    ]


def again_lines(again: Again, units: Units = METRIC) -> list[str]:
    """For the terminal and the text file."""
    lines = [headline(again, units), area_words(again, units)]
    lines += [f"Staying: {line}" for line in breaks_lines(again, units)]
    for row in move_rows(again, units):
        lines.append(
            f"Spot {row[0]}: {row[1]} of the area ({row[2]} against staying), drive {row[3]}, off the air {row[4]}, "
            f"pays after {row[5]}."
        )
    for name, quick, likely, slow in part_rows(again, units):
        lines.append(f"{name}: {quick}, {likely}, {slow}.")
    lines += [f"{name}: staying {stay}, moving {there}." for name, stay, there in point_rows(again, units)]
    return lines


def again_record(again: Again, units: Units = METRIC) -> dict[str, Any]:
    """For machines; shares 0..1, minutes, metres; null where not known."""
    stay = again.stay
    return {
        "format": 1,
        "verdict": again.verdict,
        "headline": headline(again, units),
        "stay": {
            "spot": stay.evaluation.spot.name,
            "latitude": stay.evaluation.spot.latitude,
            "longitude": stay.evaluation.spot.longitude,
            "stands": asdict(stay.stands),
            "reported": again.reported,
            "share": stay.share,
            "turned_share": stay.turned_share,
            "was_share": stay.was_share,
            "broken": [{"limit": b.code, "reason": breach_words(b)} for b in stay.failed],
            "no_way": stay.no_way,
            "ways_out": stay.ways_out,
            "was_ways_out": stay.was_ways_out,
            "readings_kept": again.readings_kept,
            "stands_wind": stay.stands_wind,
            "lowered": None if stay.lowered is None else _lowered_record(stay.lowered),
            "wind": [asdict(span) for span in stay.wind],
            "breaks": breaks_lines(again, units),
        },
        "moves": [_move_record(m) for m in again.moves],
        "points": [{"name": n, "stay": a, "move": b} for n, a, b in points_now(again)],
        "units_gone": list(again.units_gone),
        "units_left": None if again.left is None else _left_record(again.left),
        "lines": again_lines(again, units),
    }


def _lowered_record(low: Lowered) -> dict[str, Any]:
    keys = ("from_m", "stop_m", "by", "until", "hours", "share", "carried", "enough")
    points = {"required_lost": list(low.required_lost), "points_lost": list(low.points_lost)}
    return {key: getattr(low, key) for key in keys} | points


def _left_record(left: UnitsLeft) -> dict[str, Any]:
    move = left.move
    return {
        "gone": list(left.gone),
        "left": [{"unit": u.name, "spot": u.evaluation.spot.name, "reported": u.reported} for u in left.left],
        "share": left.share,
        "was_share": left.was_share,
        "points_lost": list(left.points_lost),
        "move": None if move is None else {
            "unit": move.unit, "from": move.here, "to": move.there, "share": move.share, "gain": move.held.told,
            "gain_low": move.held.low, "gain_high": move.held.high, "points_gained": list(move.points_gained),
            "off_air": {"early_min": move.off.early_min, "mean_min": move.off.mean_min, "late_min": move.off.late_min},
        },
    }  # fmt: skip


def _move_record(move: Move) -> dict[str, Any]:
    off = move.off
    minutes = None if off is None else {
        "early_min": off.early_min, "likely_min": off.likely_min, "mean_min": off.mean_min, "late_min": off.late_min,
        "parts": [[p.name, p.low_min, p.likely_min, p.high_min] for p in off.parts],
    }  # fmt: skip
    return {
        "spot": move.spot.spot.name,
        "rank": move.spot.rank,
        "share": move.share,
        "gain": move.gain,
        "gain_low": move.held.low,
        "gain_high": move.held.high,
        "gain_clear": move.held.clear,
        "stands_wind": move.stands_wind,
        "drive_m": move.drive_m,
        "off_air": minutes,
        "pays_after_min": None if move.pays_after_min is None else list(move.pays_after_min),
        "points_gained": list(move.points_gained),
        "points_lost": list(move.points_lost),
    }
