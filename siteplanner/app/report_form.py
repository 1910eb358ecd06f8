"""What a crew radioed back, typed into a form: the fields of a report, and the form's values made into one."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from siteplanner.app.labels import Units, plain
from siteplanner.data.coordinates import EXAMPLES
from siteplanner.errors import InputError
from siteplanner.mission.report import LEAST_RSRP_DBM, MOST_RSRP_DBM, Report
from siteplanner.planning.telling.as_built_rows import clock

KINDS = ("magnetic", "true")
YES, NO = ("yes", "y"), ("no", "n", "none")
_NUMBER = re.compile(r"[-−]?\d+(?:[.,]\d+)?")


def told(name: str) -> str:
    """What a field of the report means."""
    return Report.model_fields[name].description or ""


def report_form(
    held: Mapping[str, Any], names: Sequence[str], points: Sequence[str], units: Units, key: str
) -> dict[str, Any] | None:
    """Draw the form, filled with a report as plain data. After it is sent: the report's data; otherwise None.

    `names`: of the spots that the crew may have been sent to; `points`: the named points. Raises InputError for a
    line that is not one.
    """
    with st.form(key, border=False):
        one, two, three = st.columns(3, gap="medium")
        with one:
            st.markdown("**Where it stands**")
            spot = st.selectbox(
                "Sent to spot", list(names), index=_place(names, held.get("spot", "")), format_func=plain
            )
            place = st.text_input(
                "Coordinates as the phone shows them", held.get("coordinates", ""), placeholder=EXAMPLES, help=EXAMPLES
            )
            grid = st.text_input("Same by grid", held.get("grid", ""), help=told("grid"))
            accuracy = st.number_input(
                "The phone's accuracy, m", 0.5, 100.0, float(held.get("accuracy_m", 5.0)), 1.0, help=told("accuracy_m")
            )
            said_by = st.text_input("Said by", held.get("reported_by", ""), max_chars=200)
        with two:
            st.markdown("**How it stands and points**")
            kind = st.radio(
                "Bearings were read as",
                KINDS,
                index=KINDS.index(held["bearings"]) if held.get("bearings") else None,
                horizontal=True,
                help=told("bearings"),
            )
            heading = st.text_input("Tongue points to, °", _figure(held.get("heading_deg")), help=told("heading_deg"))
            stop = st.text_input(f"Mast stop, {units.length_unit}", _stop(held, units), help=told("mast_stop_m"))
            sectors = st.text_input(
                "Sectors point to, °",
                ", ".join(_figure(b) for b in held.get("sector_bearings_deg") or ()),
                help="One after the other, e.g. 035, 247.",
            )
            satellite = st.text_input("Satellite found", held.get("satellite", ""), max_chars=200)
        with three:
            st.markdown("**When, and what else**")
            arrived = st.text_input("Arrived at", _clock(held, "arrived_at"), placeholder="14:05", help="24 h clock.")
            locked = st.text_input("Dish locked at", _clock(held, "locked_at"), placeholder="14:31")
            on_air = st.text_input("On air at", _clock(held, "on_air_at"), placeholder="14:40", help=told("on_air_at"))
            fuel = st.text_input("Fuel in the tank, %", _figure(held.get("fuel_pct")), help=told("fuel_pct"))
            meter = st.text_input("Hours on the meter", _figure(held.get("meter_h")), help=told("meter_h"))
        left, right = st.columns(2, gap="medium")
        levels = left.text_area(
            "Phones at named points: RSRP in dBm, or yes or no for service",
            level_lines(held.get("levels") or (), points),
            height=150,
            help="One point a line, e.g. `Landing: -98` or `Landing: no`. Lines left open are not known.",
        )
        with right:
            photos = st.text_input("Photos, names", ", ".join(held.get("photos") or ()))
            different = st.text_area("What was different from the plan", held.get("different", ""), max_chars=4000)
        sent = st.form_submit_button("Judge the place as it stands", type="primary")
    if not sent:
        return None
    given = {
        "spot": spot or "", "coordinates": place, "grid": grid, "accuracy_m": accuracy, "reported_by": said_by,
        "bearings": kind, "heading_deg": number(heading, "heading_deg"),
        f"mast_stop_{units.length_unit}": number(stop, f"mast_stop_{units.length_unit}"),
        "sector_bearings_deg": numbers(sectors, "sector_bearings_deg"),
        "satellite": satellite, "arrived_at": arrived, "locked_at": locked, "on_air_at": on_air,
        "fuel_pct": number(fuel, "fuel_pct"), "meter_h": number(meter, "meter_h"),
        "photos": [name.strip() for name in photos.split(",") if name.strip()], "different": different,
        "levels": levels_in(levels),
    }  # fmt: skip
    return {name: value for name, value in given.items() if value not in (None, "", [])}


def _place(names: Sequence[str], name: str) -> int:
    return list(names).index(name) if name in names else 0


def _figure(value: Any) -> str:
    return "" if value is None else f"{value:g}"


def _stop(held: Mapping[str, Any], units: Units) -> str:
    own = held.get(f"mast_stop_{units.length_unit}")
    other = held.get("mast_stop_m" if units.is_us else "mast_stop_ft")
    if own is not None or other is None:
        return _figure(own)
    return _figure(round(units.from_m(other), 1) if units.is_us else round(Units("US").to_m(other), 2))


def _clock(held: Mapping[str, Any], name: str) -> str:
    value = held.get(name)
    if value is None or isinstance(value, str):
        return value or ""
    return value.isoformat() if hasattr(value, "date") else clock(value)


def number(text: str, field: str) -> float | None:
    """A figure as it was typed; None for an empty field. Raises InputError naming the field."""
    line = text.strip().rstrip("°%").strip()
    if not line:
        return None
    if not _NUMBER.fullmatch(line):
        raise InputError(f"{text.strip()[:40]!r} is not a number.", remedy="Type figures only, e.g. 12.5.", field=field)
    return float(line.replace("−", "-").replace(",", "."))


def numbers(text: str, field: str) -> list[float]:
    """Figures with commas or blanks between them. Raises InputError naming the field."""
    words = (number(word, field) for word in re.split(r"[\s,;]+", text))
    return [value for value in words if value is not None]


def level_lines(levels: Sequence[Mapping[str, Any]], points: Sequence[str]) -> str:
    """A line for each named point, with what a report says of it."""
    said = {level["point"].casefold(): level for level in levels}
    names = [*points, *(level["point"] for level in levels if level["point"].casefold() not in
                        {p.casefold() for p in points})]  # fmt: skip
    return "\n".join(f"{name}: {_said(said.get(name.casefold()))}".rstrip() for name in names)


def _said(level: Mapping[str, Any] | None) -> str:
    if level is None:
        return ""
    served = level.get("served")
    parts = [_figure(level.get("rsrp_dbm")), "" if served is None else "yes" if served else "no"]
    return " ".join(filter(None, parts))


def levels_in(text: str) -> list[dict[str, Any]]:
    """The lines of a form as levels; a line with nothing behind its colon is not known. Raises InputError."""
    out = []
    for line in filter(None, (part.strip() for part in text.splitlines())):
        point, colon, said = (part.strip() for part in line.rpartition(":"))
        if not colon or not said:
            continue
        level: dict[str, Any] = {"point": point}
        for word in re.split(r"[\s,;]+", said.replace("dBm", " ").strip()):
            if word.casefold() in (*YES, *NO):
                level["served"] = word.casefold() in YES
            elif _NUMBER.fullmatch(word):
                level["rsrp_dbm"] = number(word, "levels")
            elif word:
                raise InputError(
                    f"{said[:40]!r} at {point[:40]!r} is neither a level nor yes or no.",
                    remedy=f"Type RSRP in dBm ({LEAST_RSRP_DBM:g} to {MOST_RSRP_DBM:g}, with its minus), yes or no.",
                    field="levels",
                )
        out.append(level)
    return out
