"""From dispatch to relief in words: on air, fuel, daylight, and the drawing of them for who does not see it."""

from __future__ import annotations

from typing import Any

from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.site.timeline import Light, LightSpan, Moments, Part, Timeline
from siteplanner.planning.telling.clock import clock_range, clock_text, hours_range, minutes_range
from siteplanner.planning.telling.units import NOT_KNOWN, Units
from siteplanner.planning.telling.wind import span_sentence


def on_air_words(air: Moments, units: Units) -> str:
    """`75 to 95 min after dispatch`: the range that holds nine cases in ten."""
    return f"{minutes_range(air.early_min, air.late_min, units)} after dispatch"


def on_air_in_hours(air: Moments, units: Units) -> str:
    """`1 h 24 min after dispatch on average (1 h 15 min to 1 h 35 min)`."""
    low, high = units.minutes(air.early_min), units.minutes(air.late_min)
    return f"{units.minutes(air.mean_min)} after dispatch on average ({low} to {high})"


def on_the_spot_words(timeline: Timeline | None, units: Units) -> str:
    """When the rig stands on the spot: range after dispatch, and the mean by the clock where that is known."""
    arrival = None if timeline is None else timeline.moments.arrival
    if timeline is None or arrival is None:
        return NOT_KNOWN
    clock = f" ({clock_text(timeline.clock(arrival.end_mean_min))})" if timeline.dispatch else ""
    return f"{minutes_range(arrival.end_early_min, arrival.end_late_min, units)} after dispatch{clock}"


PART_ENDS = ("Under way by", "Drive done by", "On the spot by", "Mast up by", "On air by")
"""What is reached at the end of each part of the way to first service, in its order."""


def part_labels(air: Moments, units: Units) -> list[str]:
    """`On the spot by 28 to 42 min` after dispatch, one a part: a time is named by what it says, not by the part."""
    return [
        f"{words} {minutes_range(part.end_early_min, part.end_late_min, units)}"
        for words, part in zip(PART_ENDS, air.parts, strict=True)
    ]


def part_sentence(part: Part, units: Units) -> str:
    """`Drive: done 20 to 31 min after dispatch.`"""
    return f"{part.name}: done {minutes_range(part.end_early_min, part.end_late_min, units)} after dispatch."


def on_air_label(air: Moments, units: Units) -> str:
    """`On air: 75 to 95 min after dispatch`, for the drawing."""
    return f"On air: {minutes_range(air.early_min, air.late_min, units)} after dispatch"


def refuel_words(timeline: Timeline, units: Units) -> str:
    """`refuel 30 to 42 h after first service`."""
    return f"refuel {hours_range(timeline.refuel_low_h, timeline.refuel_likely_h, units)} after first service"


def refuel_label(timeline: Timeline, units: Units) -> str:
    """The same with a capital, as a label."""
    return f"Refuel {hours_range(timeline.refuel_low_h, timeline.refuel_likely_h, units)} after first service"


def relief_words(timeline: Timeline, units: Units) -> str:
    """`12 h after dispatch`."""
    return f"{units.stated(timeline.relief_h, 'h')} after dispatch"


def relief_label(timeline: Timeline, units: Units) -> str:
    """`Relief every 12 h`."""
    return f"Relief every {units.stated(timeline.relief_h, 'h')}"


def fuel_words(timeline: Timeline | None, tank_l: float, units: Units) -> str:
    """How long a tank lasts, when to refuel, when the relief comes; with the clock where that is known."""
    if timeline is None:
        return NOT_KNOWN
    first, last = timeline.refuel_low_h, timeline.refuel_likely_h
    when = relief = ""
    if timeline.dispatch is not None:
        start, end = (timeline.clock(timeline.moments.mean_min + 60 * h) for h in (first, last))
        when = f" ({clock_range(start, end)})"
        relief = f" ({clock_text(timeline.clock(60 * timeline.relief_h))})"
    return (
        f"{units.figure(timeline.fuel_low_h, 'h')} at high burn, {units.figure(timeline.fuel_likely_h, 'h')} likely, "
        f"from {units.stated(tank_l, 'l')} usable. {refuel_label(timeline, units)}{when}, engine stopped and cool. "
        f"Relief {relief_words(timeline, units)}{relief}."
    )


def night_sentence(night: LightSpan, units: Units) -> str:
    """`Dark from 14.2 to 22.1 h after dispatch.`"""
    return f"{night.kind.capitalize()} from {night.start_h:.1f} to {units.figure(night.end_h, 'h', 1)} after dispatch."


def drawing_words(site: OnSite, forecast_given: bool, units: Units) -> str:
    """The drawing of the timeline, in sentences."""
    timeline = site.timeline
    assert timeline is not None
    words = [part_sentence(part, units) for part in timeline.moments.parts]
    words += [f"{refuel_label(timeline, units)}.", f"Relief {relief_words(timeline, units)}."]
    words += [night_sentence(night, units) for night in timeline.nights]
    if not forecast_given:
        words.append("No wind forecast was given.")
    elif site.wind is not None:
        words += [span_sentence(span) for span in site.wind.spans]
    return " ".join(words)


def light_words(timeline: Timeline | None) -> str:
    """Daylight at arrival and during the set-up, in a sentence."""
    if timeline is None:
        return "Daylight not calculated: there is no drive."
    if timeline.light is None:
        return "Daylight not calculated: the mission names no dispatch time. Take lamps."
    return f"{_lamps(timeline.light)} {light_short(timeline)}"


def light_short(timeline: Timeline | None) -> str:
    """The light on arrival and the sun's times; '' without a dispatch time."""
    if timeline is None or timeline.light is None:
        return ""
    light = timeline.light
    moments = {"dawn": light.dawn, "sunrise": light.sunrise, "sunset": light.sunset, "dusk": light.dusk}
    times = ", ".join(f"no {name}" if moment is None else f"{name} {moment:%H:%M}" for name, moment in moments.items())
    return f"On arrival: {_from_to(light.arrival)}. Level horizon: {times}."


def light_record(light: Light) -> dict[str, Any]:
    """The light as plain values, with the words that go with them."""
    return {
        "at_arrival": _from_to(light.arrival),
        "at_first_service": _from_to(light.first_service),
        "sentence": _lamps(light),
    }


def _lamps(light: Light) -> str:
    kinds = {*light.arrival, *light.first_service}
    if "dark" in kinds:
        return "Dark for at least part of the set-up: lamps for the work, a light on the mast and the guys."
    if kinds == {"day"}:
        return "Daylight from arrival to first service."
    return "Twilight during the set-up: have lamps ready."


def _from_to(kinds: tuple[str, str]) -> str:
    early, late = kinds
    return early if early == late else f"{early} (early) to {late} (late)"


def driver_light_words(timeline: Timeline | None) -> list[str]:
    """The light for who drives, in two lines at most: on the road and on arrival, then the sun's times."""
    if timeline is None or timeline.light is None:
        return ["Not calculated: the mission names no dispatch time."]
    light = timeline.light
    if timeline.dispatch is not None and light.dawn is not None and timeline.dispatch < light.dawn:
        road = f"Dark on the road until {light.dawn:%H:%M}. On arrival: {_from_to(light.arrival)}."
    else:
        road = f"On arrival: {_from_to(light.arrival)}."
    moments = {"dawn": light.dawn, "sunrise": light.sunrise, "sunset": light.sunset, "dusk": light.dusk}
    return [road, ", ".join(f"{name} {moment:%H:%M}" for name, moment in moments.items() if moment).capitalize() + "."]


def no_contact_words(timeline: Timeline | None, units: Units) -> str:
    """By when the driver should have called from the spot."""
    if timeline is None:
        return "No contact by ______:"
    late = timeline.moments.arrival.end_late_min
    if timeline.dispatch is None:
        return f"No contact by {units.figure(late, 'min')} after dispatch:"
    return f"No contact by {clock_text(timeline.clock(late))}:"
