"""The mission's settings as a form: the handful that changes from call-out to call-out, and a table of all others."""

from __future__ import annotations

import re
from typing import Any

import streamlit as st

from siteplanner.app import coordinates
from siteplanner.app.labels import Units, plain
from siteplanner.app.mission_text import meaning_of, parameter_rows, with_parameters
from siteplanner.app.session import Work
from siteplanner.errors import InputError
from siteplanner.mission import Layers, Mission, Staging, Weights
from siteplanner.mission.criteria import CRITERIA

NEEDS = {"any": "One is enough", "all": "All are needed"}


def defaults() -> dict[str, Any]:
    """Every default as plain data; layers and staging are for the user to give."""
    data = Mission(
        layers=Layers(elevation=("x",), incident_area="x", roads="x"), staging=(Staging(latitude=0, longitude=0),)
    ).parameters()
    return {k: v for k, v in data.items() if k not in ("layers", "staging", "name", "note")}


def mission_form(work: Work, units: Units) -> dict[str, Any] | None:
    """Draw the form. After it is sent: the mission data with the changes; otherwise None. Raises InputError."""
    draft = work.draft
    assert draft is not None
    full = {**defaults(), **draft}
    given = full.get("staging") or {}
    staging, *further = given if isinstance(given, list) else [given]
    has_place = staging.get("latitude") is not None and staging.get("longitude") is not None
    at = coordinates.written(staging["latitude"], staging["longitude"], units.place) if has_place else ""
    key = f"{work.edition}_{work.revision}_{units.system}_{units.place}"
    trailer, rig, sky, radio, search = (full[k] for k in ("trailer", "rig", "sky", "radio", "search"))
    long, mass = units.length_unit, units.mass_unit

    with st.form(f"mission_{key}", border=False):
        one, two, three = st.columns(3, gap="medium")
        with one:
            name = st.text_input("Mission name", full.get("name") or "", max_chars=200)
            place_name = st.text_input("Staging point: name", staging.get("name") or "Staging", max_chars=100)
            place = st.text_input(
                "Staging point: where the tow starts",
                at,
                placeholder=coordinates.EXAMPLES,
                help=f"Written like {coordinates.EXAMPLES}.",
            )
            satellites = st.text_input(
                "Satellites: orbital longitudes",
                satellites_text(sky["satellites"]),
                help="Degrees east or west, e.g. 103 W, 121 W; a name may stand before a colon.",
            )
        with two:
            frequency = st.number_input(
                "Frequency, MHz", 30.0, 6000.0, float(radio["frequency_mhz"]), 1.0, help=told("radio.frequency_mhz")
            )
            stops = st.text_input(
                f"Mast stops, {long}",
                ", ".join(f"{units.from_m(s):.4g}" for s in trailer["mast_stops_m"]),
                help=told("trailer.mast_stops_m"),
            )
            slope = st.number_input(
                "Steepest ground to stand on, degrees",
                0.5,
                44.0,
                float(trailer["max_slope_deg"]),
                0.5,
                help=told("trailer.max_slope_deg"),
            )
            radius = st.number_input(
                f"Search this far beyond the incident area, {long}",
                50.0,
                200_000.0,
                round(units.from_m(search["radius_m"]), 1),
                100.0,
                help=told("search.radius_m"),
            )
        with three:
            height = st.number_input(
                f"Rig height, {long}",
                0.5,
                30.0,
                round(units.from_m(rig["height_m"]), 2),
                0.1,
                help=told("rig.height_m"),
            )
            kilograms = st.number_input(
                f"Rig mass, {mass}",
                200.0,
                150_000.0,
                round(units.from_kg(rig["mass_kg"]), 0),
                100.0,
                help=told("rig.mass_kg"),
            )
            grade = st.number_input(
                "Steepest road for the rig, %",
                1.0,
                60.0,
                float(rig["max_grade_pct"]),
                1.0,
                help=told("rig.max_grade_pct"),
            )
            need = st.selectbox(
                "Satellites in view",
                list(NEEDS),
                index=list(NEEDS).index(sky["need"]),
                format_func=lambda word: NEEDS[word],
                help=told("sky.need"),
            )
        st.caption("Weights: how much each thing counts, against the others")
        columns = st.columns(len(CRITERIA))
        weights = {
            c.name: columns[n].number_input(
                c.words.slider, 0.0, 100.0, float(full["weights"][c.name]), 0.5, help=told(f"weights.{c.name}")
            )
            for n, c in enumerate(CRITERIA.values())
        }
        with st.expander("All other parameters, with their defaults"):
            st.caption("Change a value in the middle column; the right one says what it means.")
            rows = parameter_rows(
                {**full, "staging": [staging, *further] if has_place else {"latitude": 0, "longitude": 0}}
            )
            edited = st.data_editor(
                rows,
                key=f"parameters_{key}",
                hide_index=True,
                width="stretch",
                height=330,
                disabled=["parameter", "meaning"],
                column_config={"meaning": st.column_config.TextColumn(width="large")},
            )
        if not st.form_submit_button("Apply and check the layers", type="primary"):
            return None

    out = dict(full)
    out["name"] = name.strip() or "Unnamed mission"
    if place.strip() != at:
        latitude, longitude = coordinates.read(place)
        staging = {"latitude": latitude, "longitude": longitude}
    elif not has_place and not (full.get("layers") or {}).get("staging"):
        raise InputError(
            "The staging point is missing.",
            field="staging",
            remedy="Say where the tow starts, in any of the three coordinate formats.",
        )
    if place.strip():  # else the points of a layer
        out["staging"] = [{**staging, "name": place_name.strip() or "Staging"}, *further]
    out["trailer"] = {**trailer, "max_slope_deg": slope, "mast_stops_m": _stops(stops, trailer["mast_stops_m"], units)}
    out["rig"] = {
        **rig,
        "max_grade_pct": grade,
        "height_m": _same(height, rig["height_m"], units.from_m, units.to_m, 2),
        "mass_kg": _same(kilograms, rig["mass_kg"], units.from_kg, units.to_kg, 0),
    }
    out["sky"] = {**sky, "need": need, "satellites": satellites_read(satellites)}
    out["radio"] = {**radio, "frequency_mhz": frequency}
    out["search"] = {**search, "radius_m": _same(radius, search["radius_m"], units.from_m, units.to_m, 1)}
    out["weights"] = Weights(**weights).model_dump() if sum(weights.values()) > 0 else weights
    changed = {
        row["parameter"]: row["value"]
        for row, before in zip(edited, rows, strict=True)
        if row["value"] != before["value"]
    }
    return with_parameters(out, changed)


def told(name: str) -> str:
    """What a field means, with its source, for the mark beside it; nothing in it is read as Markdown."""
    return plain(meaning_of(name))


def _same(value: float, held: float, out: Any, back: Any, digits: int) -> float:
    """The held value when the field still shows it rounded; otherwise the new one. So looking does not change it."""
    return held if value == round(out(held), digits) else back(value)


def _stops(text: str, held: Any, units: Units) -> list[float]:
    if text == ", ".join(f"{units.from_m(s):.4g}" for s in held):
        return list(held)
    parts = re.findall(r"\d+(?:\.\d+)?", text)
    if not parts:
        raise InputError(
            "No mast stop is given.",
            remedy="List the heights at which the mast locks, e.g. 8, 12, 15.",
            field="trailer.mast_stops_m",
        )
    return [units.to_m(float(part)) for part in parts]


def satellites_text(satellites: Any) -> str:
    """`Relay two: 103 W, 121 W`; one without a name of its own by its longitude."""
    out = []
    for item in satellites:
        longitude = float(item["longitude_deg"])
        where = f"{abs(longitude):g} {'E' if longitude >= 0 else 'W'}"
        name = str(item.get("name") or "").replace(",", " ").replace(":", " ")
        out.append(f"{name}: {where}" if name else where)
    return ", ".join(out)


def satellites_read(text: str) -> list[dict[str, Any]]:
    """The list behind `satellites_text`. Raises InputError for what is not a longitude."""
    out = []
    for part in filter(None, (p.strip() for p in re.split(r"[,;]", text))):
        name, _, where = part.rpartition(":")
        found = re.fullmatch(r"\s*([-−+]?\d+(?:\.\d+)?)\s*°?\s*([EWew]?)\s*", where)
        if not found:
            raise InputError(
                f"{part[:40]!r} is not an orbital longitude.",
                remedy="Write it like 103 W or -103.",
                field="sky.satellites",
            )
        value = float(found[1].replace("−", "-"))
        value = -abs(value) if found[2].upper() == "W" else value
        out.append({"name": name.strip(), "longitude_deg": value})
    if not out:
        raise InputError(
            "No satellite is given.", remedy="Write at least one orbital longitude, e.g. 103 W.", field="sky.satellites"
        )
    return out
