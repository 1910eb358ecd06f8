"""Wind at a spot in words: what dish and mast stand, what the ground makes of the wind, what is forecast."""

from __future__ import annotations

from siteplanner.core.wind import beaufort_number
from siteplanner.mission import Mission
from siteplanner.planning.site.mast_wind import MastLimit, at_stop
from siteplanner.planning.site.site_wind import REACH_M, GustsFrom, SiteWind, Span, SpeedUp
from siteplanner.planning.telling.clock import iso_minute
from siteplanner.planning.telling.units import US, Units

MOST_SPANS = 4  # times above a limit that a sheet names

KINDS = {"gust": "gusts", "mean": "mean wind"}
RAISING_NOT_STATED = "a common figure of field manuals; its own limit is not stated"
MAST_NOT_STATED = "mast wind limit not stated: read the manual"
_UNMET = {
    "not_isolated": "other hills as high stand upwind",
    "not_twice_as_high": "other hills upwind are more than half as high",
    "lower_half": "the spot lies in the lower half of the slope",
}
_ABOVE = {
    "mast": "Above the mast's limit",
    "raising": "Do not raise or lower the mast",
    "stow": "Above the stow limit",
    "tracking": "Above the tracking limit",
}
# what shows the wind without an instrument; after the land criteria of the Beaufort scale, in own words
_SIGNS = {
    5: "small trees sway",
    6: "big branches move, wires hum",
    7: "whole trees move, walking takes effort",
    8: "twigs break off, walking is hard",
    9: "branches break, roof tiles lift",
    10: "trees are uprooted",
}


def above_words(limit: str) -> str:
    """What wind above a limit asks for; the limit's own name where it is another."""
    return _ABOVE.get(limit, limit)


def wind_sign(speed_m_s: float) -> str:
    """What a wind looks like without an instrument; '' for winds outside the table."""
    number = beaufort_number(speed_m_s)
    return f"Beaufort {number}: {_SIGNS[number]}" if number in _SIGNS else ""


def limits_sentence(tracking_m_s: float, stow_m_s: float, units: Units, kind: str = "gust") -> str:
    """At which wind the link may drop and the dish stows, and of what kind it is."""
    track, stow = units.gust(tracking_m_s), units.gust(stow_m_s)
    return f"Service may drop above {track} at the dish; it stows above {stow}, counted in {KINDS[kind]}."


def dish_wind_sentence(tracking_m_s: float, stow_m_s: float, kind: str, units: Units) -> str:
    """What the dish stands, with a sign that shows it without an instrument; it says nothing of the mast."""
    track, stow, sign = units.gust(tracking_m_s), units.gust(stow_m_s), wind_sign(tracking_m_s)
    return (
        f"Dish ({KINDS[kind]} at the dish): tracking is lost above {track}{f' ({sign})' if sign else ''}, stow above "
        f"{stow}. These are no limits of the mast."
    )


def mast_wind_rows(mission: Mission, units: Units) -> list[list[str]]:
    """What the mast stands: each stop, without and with guys; none where the mission states nothing of either."""
    wind, stops = mission.wind, mission.trailer.mast_stops_m

    def cell(limit_m_s: float) -> str:
        return "see manual" if limit_m_s != limit_m_s else units.gust(limit_m_s)

    if not wind.mast_limit_unguyed_m_s and not wind.mast_limit_guyed_m_s:
        return []
    return [
        [
            units.stop(stop),
            cell(at_stop(wind.mast_limit_unguyed_m_s, stops, stop)),
            cell(at_stop(wind.mast_limit_guyed_m_s, stops, stop)),
        ]
        for stop in stops
    ]


def site_wind_sentences(wind: SiteWind | None, units: Units, mast: bool = True) -> list[str]:
    """What the mast stands, what the ground makes of the wind, where the forecast's gusts come from, hours above.
    `mast`: whether the mast is told of here."""
    if wind is None:
        return ["Speed-up by the ground: not known."]
    out = [mast_words(wind.mast, wind.mast_limits_hold_for, units)] if mast else []
    out.append(ground_words(wind, units))
    if wind.gusts is None or wind.forecast_peak_dish_m_s is None:
        out.append("No forecast was given: ask for one.")
    else:
        out.append(gusts_words(wind.gusts))
        if not any(span.limit in ("stow", "tracking") for span in wind.spans):
            name = KINDS[wind.limits_hold_for]
            out.append(f"Forecast {name} at the dish here: {units.gust(wind.forecast_peak_dish_m_s)} at most.")
    for span in wind.spans[:MOST_SPANS]:
        hours = units.figure(span.hours, "h", 1)
        out.append(f"{_ABOVE[span.limit]}: {iso_minute(span.start)} to {iso_minute(span.end)} ({hours}).")
    return [text for text in out if text]


def mast_words(mast: MastLimit, kind: str, units: Units) -> str:
    """What the mast stands at its stop, and what it is raised in; or that nobody said."""
    how = "guyed" if mast.guyed else "not guyed"
    sign = wind_sign(mast.raise_below_m_s)
    raising = f"raise and lower it below {units.gust(mast.raise_below_m_s)}{f' ({sign})' if sign else ''}"
    if not mast.raising_stated:
        raising += f", {RAISING_NOT_STATED}{': read the manual' if mast.stated else ''}"
    if not mast.stated:
        said = f"{MAST_NOT_STATED} ({units.stop(mast.stop_m)}, {how})"
        return f"{said[:1].upper()}{said[1:]}; {raising}."
    limit = f"{units.gust(mast.limit_m_s)} at its top ({KINDS[kind]})"
    return f"Mast at {units.stop(mast.stop_m)}, {how}: {limit}; {raising}."


def ground_words(wind: SiteWind, units: Units) -> str:
    """What the ground makes of the wind, and whether the rule for it holds here; '' where it makes nothing."""
    if wind.worst is None:
        return "Speed-up by the ground: not known."
    worst = max(wind.speed_ups, key=lambda s: (s.ground, -s.from_deg))
    if worst.ground <= 1.005:
        return ""
    open_limit = units.gust(wind.open_tracking_limit_m_s)
    return (
        f"The ground here can speed up wind {worst.ground:.2f} times (from {units.bearing(worst.from_deg)} true)"
        f"{_unmet_words(worst, units)}: the dish's limit is reached with {open_limit} in the open."
    )


def _unmet_words(speed_up: SpeedUp, units: Units) -> str:
    if not speed_up.unmet:
        return ""
    unmet = [c for c in speed_up.unmet if c != "not_twice_as_high" or "not_isolated" not in speed_up.unmet]
    upwind = f"the ground upwind is known for less than {units.first.distance(REACH_M)}"
    why = " and ".join(_UNMET.get(c, upwind) for c in unmet)
    return f", a rough figure as {why} (ASCE 7-16 section 26.8.1)"


def gusts_words(gusts: GustsFrom) -> str:
    """Which column of the forecast is gust and which is mean, and the factor where there is no gust."""
    source = "as the mission says" if gusts.factor_stated else "WMO/TD-1555 Table 1.1, in-land"
    mean = f"mean of {gusts.mean_min} min (column speed) times {gusts.factor:.2f} ({source})"
    if gusts.rows_with_gust == gusts.rows:
        return f"Gusts: column gust; mean of {gusts.mean_min} min: column speed."
    if not gusts.rows_with_gust:
        return f"The forecast has no gusts: {mean}."
    return f"Gusts: column gust in {gusts.rows_with_gust} of {gusts.rows} rows; in the others {mean}."


def span_sentence(span: Span) -> str:
    """`Above the stow limit from ... to ....`, times with their offset."""
    return f"{_ABOVE[span.limit]} from {span.start} to {span.end}."


def lane_label(limit_m_s: float, what: str, hours: float | None, units: Units) -> str:
    """`Above 45 mph, dish stows: 3.5 h`; of both systems in mph, as most manuals state it. `hours` None: the forecast
    is of other hours, 0: none of them is above."""
    total = "other hours forecast" if hours is None else units.figure(hours, "h", 1) if hours else "none forecast"
    limit = (units if units.system != "both" else US).speed(limit_m_s)
    return f"Above {limit}, {what}: {total}"
