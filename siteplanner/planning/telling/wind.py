"""Wind at a spot in words: the unit's limits, what the ground makes of them, and the hours above them."""

from __future__ import annotations

from siteplanner.core.wind import beaufort_number
from siteplanner.planning.site.site_wind import SiteWind, Span
from siteplanner.planning.telling.clock import iso_minute
from siteplanner.planning.telling.units import US, Units

MOST_SPANS = 4  # times above a limit that a sheet names

# what shows the wind without an instrument; after the land criteria of the Beaufort scale, in own words
_SIGNS = {
    5: "small trees sway",
    6: "big branches move, wires hum",
    7: "whole trees move, walking takes effort",
    8: "twigs break off, walking is hard",
    9: "branches break, roof tiles lift",
    10: "trees are uprooted",
}


def wind_sign(speed_m_s: float) -> str:
    """What a wind looks like without an instrument; '' for winds outside the table."""
    number = beaufort_number(speed_m_s)
    return f"Beaufort {number}: {_SIGNS[number]}" if number in _SIGNS else ""


def limits_sentence(tracking_m_s: float, stow_m_s: float, units: Units) -> str:
    """At which wind the link may drop and the dish stows."""
    track, stow = units.gust(tracking_m_s), units.gust(stow_m_s)
    return f"Service may drop above {track} at the dish; it stows above {stow}."


def stow_sentence(tracking_m_s: float, stow_m_s: float, units: Units) -> str:
    """What the crew does about wind, with a sign that shows it without an instrument."""
    track, stow, sign = units.gust(tracking_m_s), units.gust(stow_m_s), wind_sign(tracking_m_s)
    return (
        "Stow the dish and lower the mast by the unit's manual; where it says nothing: tracking is lost above "
        f"{track}{f' ({sign})' if sign else ''}, stow above {stow}."
    )


def site_wind_sentences(wind: SiteWind | None, units: Units) -> list[str]:
    """What the ground makes of the limits, and when the forecast passes them here."""
    if wind is None or wind.worst is None:
        return ["Speed-up by the ground: not known."]
    out = []
    if wind.worst.at_dish > 1.005:
        out.append(
            f"The ground here speeds wind up to {wind.worst.at_dish:.2f} times (from "
            f"{units.bearing(wind.worst.from_deg)}): the limit is reached with "
            f"{units.gust(wind.open_tracking_limit_m_s)} in the open."
        )
    if wind.forecast_peak_dish_m_s is None:
        out.append("No forecast was given: ask for one.")
    elif not wind.spans:
        out.append(f"Forecast gusts here stay at {units.gust(wind.forecast_peak_dish_m_s)} or less.")
    for span in wind.spans[:MOST_SPANS]:
        hours = units.figure(span.hours, "h", 1)
        out.append(f"Above the {span.limit} limit: {iso_minute(span.start)} to {iso_minute(span.end)} ({hours}).")
    return out


def span_sentence(span: Span) -> str:
    """`Above the stow limit from ... to ....`, times with their offset."""
    return f"Above the {span.limit} limit from {span.start} to {span.end}."


def lane_label(limit_m_s: float, what: str, hours: float | None, units: Units) -> str:
    """`Above 45 mph, dish stows: 3.5 h`; in mph, as manuals of either country state it. `hours` None: the
    forecast is of other hours, 0: none of them is above."""
    total = "other hours forecast" if hours is None else units.figure(hours, "h", 1) if hours else "none forecast"
    return f"Above {US.speed(limit_m_s)}, {what}: {total}"
