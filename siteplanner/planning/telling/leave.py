"""Who is asked before the trailer stands and sends: words for sheets, app and findings, and the record without names of
people. Only `owner_words` tells of an owner, for printed sheets alone."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from siteplanner.planning.site.leave import CellNear, LandingNear, Leave, LicenseFact
from siteplanner.planning.telling.units import METRIC, Units

Named = Callable[[str], str]
KIND_WORDS = {"airport": "airport", "heliport": "heliport", "helispot": "helispot", "": "landing place"}
EMERGENCY = (
    "In an emergency for public safety the notice may go first by any quick means, the form within 5 days "
    "(14 CFR 77.7(e))."
)
LONGEST_NAME = 40
ASKED_ON_ARRIVAL = ("air_notice_file", "air_notice_ask", "channel_shared", "outside_license", "license_border_field")
"""Findings that sheets tell as questions on arrival, in words for whoever asks: their own lists leave them out."""


def short_name(text: str, longest: int = LONGEST_NAME) -> str:
    """A name as far as a line of a sheet takes it."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def zone_name(zone: LandingNear) -> str:
    """What a landing zone is called: its own name, or its kind."""
    return short_name(zone.name) or f"a {KIND_WORDS[zone.kind]} without a name"


def zone_place(zone: LandingNear, units: Units) -> str:
    """`Bench helispot, 1.2 km away at 045° true`."""
    return (
        f"{zone_name(zone)}, {units.distance(zone.distance_m, 'down')} away at {units.bearing(zone.bearing_deg)} true"
    )


def notice_why(zone: LandingNear, units: Units) -> str:
    """Why notice is due, or why nobody can say."""
    if zone.kind == "helispot":
        return "those who fly must know of the mast"
    if zone.notice == "file":
        sure = "" if zone.certain else ", the worst assumed"
        return (
            f"the mast's top is {units.length(zone.mast_above_m)} above it, 14 CFR {zone.surface.paragraph} allows "
            f"{units.there(zone.runway_from_m / zone.surface.run)} there{sure}"
        )
    missing = [
        *([] if zone.kind else ["kind of place"]),
        *(["length of the runway"] if zone.kind in ("airport", "") and math.isnan(zone.runway_m) else []),
        *(["its height"] if math.isnan(zone.elevation_m) else []),
    ]
    return f"not known: {', '.join(missing)}"


def landing_check(zone: LandingNear, units: Units) -> tuple[str, str]:
    """(what to do, why) before the mast goes up near a landing zone."""
    place = zone_place(zone, units)
    if zone.in_approach:
        keep = f"an approach needs {units.distance(zone.keep_m, 'up')}"
        return f"No mast up before those who fly agree: {place}.", keep
    if zone.notice == "file":
        return f"File notice with the aviation authority first: {place}.", notice_why(zone, units)
    return f"Ask first who flies there: {place}.", notice_why(zone, units)


def cell_check(cell: CellNear, units: Units) -> tuple[str, str]:
    """(what to ask, why) of a cell on our channel."""
    away = units.distance(cell.distance_m, "down")
    what = f"Ask first who runs {short_name(cell.name)}, {away} away: may both send?"
    return what, f"{cell.way} channels overlap by {units.figure(cell.overlap_mhz, 'MHz', 1, 'up')}"


def license_check(held: LicenseFact, units: Units) -> tuple[str, str]:
    """(what to ask, why) of a license that does not hold here, or whose border our signal crosses too strongly."""
    if held.inside:
        place = f"{units.distance(held.field_at_m, 'down')} away at {units.bearing(held.field_bearing_deg)} true"
        return "Ask first the neighbor of the license: our signal is strong there.", f"its border, {place}"
    if math.isinf(held.border_m):
        return "License: none of the license area lies near. Permission in hand?", "the layer of the license area"
    away = units.distance(held.border_m, "down")
    return (
        f"License: this spot is {away} outside the license area. Permission in hand?",
        "the layer of the license area",
    )


def parcels_words(leave: Leave) -> str:
    """The parcels by their numbers: that of the spot, and those beside it."""
    held = [short_name(p.number, 24) or "without a number" for p in leave.parcels or ()]
    if not held:
        return ""
    own = [f"parcel {held[0]}"] if leave.parcel_known else []
    beside = held[1:] if leave.parcel_known else held
    return "; ".join([*own, *([f"beside it {', '.join(beside)}"] if beside else [])])


def owner_check(leave: Leave | None, with_owner: bool) -> tuple[str, str]:
    """(what to ask, why) of the landowner. `with_owner`: name and phone too, for a printed sheet."""
    if leave is None or leave.parcels is None:
        return "Landowner has agreed; noise is acceptable.", "ask on site"
    parcels = parcels_words(leave)
    if not leave.parcel_known:
        return "Landowner has agreed; noise is acceptable.", f"no parcel holds the spot{parcels and '; ' + parcels}"
    who = owner_words(leave) if with_owner else ""
    return f"Ask first: the owner{who and ', ' + who}; noise is acceptable?", parcels


def owner_words(leave: Leave) -> str:
    """Name and phone of the owner of the spot's parcel; '' where the layer does not say. For printed sheets alone."""
    own = leave.parcels[0] if leave.parcels and leave.parcel_known else None
    if own is None:
        return ""
    return ", ".join(filter(None, (short_name(own.owner), short_name(own.phone, 24))))


def cell_sentence(cell: CellNear, units: Units = METRIC) -> str:
    """One known cell: how much channel it shares, how far away, how strong it arrives."""
    if not math.isnan(cell.level_dbm):
        level = f"It is predicted to arrive at {units.figure(cell.level_dbm, 'dBm')} at the spot"
    elif not math.isnan(cell.at_most_dbm):
        level = f"How strong it arrives is not known, at most {units.figure(cell.at_most_dbm, 'dBm')}"
    else:
        level = "How strong it arrives is not known, for its power is not stated"
    width = " (its width is not stated: the widest is assumed)" if cell.width_assumed else ""
    return (
        f"{cell.name} sends on our {cell.way}: {units.figure(cell.overlap_mhz, 'MHz', 1, 'up')} of the channels "
        f"overlap{width}, {units.distance(cell.distance_m, 'down')} away at {units.bearing(cell.bearing_deg)} true. "
        f"{level}; a handset's own noise in the channel is {units.figure(cell.noise_dbm, 'dBm')}."
    )


def license_sentence(held: LicenseFact, units: Units = METRIC) -> str:
    """The license area and the spot."""
    if math.isinf(held.border_m):
        return "None of the license area lies near."
    if not held.inside:
        return f"The spot stands {units.distance(held.border_m, 'down')} outside the license area."
    if math.isnan(held.field_dbuv_m):
        return (
            f"The spot stands inside the license area, {units.distance(held.border_m, 'down')} from its border; how "
            "strong our signal arrives there is not known."
        )
    place = f"{units.distance(held.field_at_m, 'down')} away at {units.bearing(held.field_bearing_deg)} true"
    part = "" if held.part_known >= 1 else f"; {units.share(held.part_known)} of the border was looked at"
    return (
        f"At the license's border our field is predicted to reach {held.field_dbuv_m:.0f} dB over 1 µV/m ({place}), "
        f"the limit is {held.limit_dbuv_m:g}{part}."
    )


def landing_sentence(zone: LandingNear, units: Units = METRIC) -> str:
    """One landing zone and the mast."""
    return f"{zone_place(zone, units)} ({KIND_WORDS[zone.kind]}): {notice_words(zone, units)}"


def notice_words(zone: LandingNear, units: Units) -> str:
    """What the rule of notice says of it."""
    if zone.notice == "file":
        return f"notice must be filed if it is a place of 14 CFR 77.9(d); {notice_why(zone, units)}."
    if zone.notice == "ask":
        return f"ask first; {notice_why(zone, units)}."
    why = "the mast is too low" if zone.low_antenna else "the mast stays under the surface"
    return f"no notice by 14 CFR {zone.surface.paragraph}, {why}."


def leave_record(leave: Leave | None) -> dict[str, Any] | None:
    """What `plan.json` holds: figures and sentences, no owner and no phone."""
    if leave is None:
        return None
    return {
        "mast_top_m": leave.mast_top_m,
        "mast_tall": leave.tall,
        "parcel_known": leave.parcel_known,
        "parcels": None if leave.parcels is None else [p.number for p in leave.parcels],
        "landing_zones": None
        if leave.landing is None
        else [
            {**asdict(z), "notice": z.notice, "certain": z.certain, "sentence": landing_sentence(z)}
            for z in leave.landing
        ],
        "known_cells": None
        if leave.cells is None
        else [{**asdict(c), "sentence": cell_sentence(c)} for c in leave.cells],
        "license": None
        if leave.license is None
        else {
            **asdict(leave.license),
            "border_m": leave.license.border_m if math.isfinite(leave.license.border_m) else None,
            "spills": leave.license.spills,
            "sentence": license_sentence(leave.license),
        },
        "left_out": leave.left_out,
    }
