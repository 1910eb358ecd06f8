"""What is said of who is asked first: landing zones, cells on the channel, the license area."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.planning.site.leave import LandingNear
from siteplanner.planning.telling.leave import (
    EMERGENCY,
    cell_sentence,
    landing_sentence,
    license_sentence,
    zone_place,
)
from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]


def _approach(f: Facts, u: Units) -> tuple[str, str]:
    zone: LandingNear = f["about"][0]
    return (
        f"The mast may stand in an approach: {zone_place(zone, u)}; its top is {u.length(zone.mast_above_m)} above the "
        f"landing zone, so {u.distance(zone.keep_m, 'up')} are kept on every side.",
        "Keep the mast down until those who fly have agreed and know where it stands, or take another spot.",
    )


def _license(f: Facts, u: Units) -> tuple[str, str]:
    held = f["about"][0]
    if held.spills:
        return license_sentence(
            held, u
        ), "Ask the neighbor of the license, lower the mast or the power, or turn the sectors."
    return license_sentence(held, u), "Add elevation out to the border, or ask the neighbor of the license."


LEAVE_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "mast_tall": lambda f, u: (
        f"The mast's top is {u.length(f['mast_top_m'])} above the ground: above {u.length(f['limit_m'])} notice must "
        "be filed with the aviation authority wherever it stands (14 CFR 77.9(a)).",
        EMERGENCY,
    ),
    "landing_approach": _approach,
    "air_notice_file": lambda f, u: (landing_sentence(f["about"][0], u), f"Ask before the mast goes up. {EMERGENCY}"),
    "air_notice_ask": lambda f, u: (
        landing_sentence(f["about"][0], u),
        "Ask those who fly there before the mast goes up.",
    ),
    "channel_shared": lambda f, u: (
        cell_sentence(f["about"][0], u),
        "Ask who runs it whether both may send, or take another channel; the prediction leaves it out.",
    ),
    "outside_license": lambda f, u: (
        "The spot stands outside the license area"
        + ("." if f["border_m"] == float("inf") else f", {u.distance(f['border_m'], 'down')} from it."),
        "Get permission to send there first, or take a spot inside.",
    ),
    "license_border_field": _license,
    "license_area_short": lambda f, u: (
        f"The license area leaves out {u.share(f['share'])} of the incident area.",
        "Get permission to serve that part too, or correct the layer.",
    ),
    "landing_kind_unknown": lambda f, u: (
        f"{f['count']} of {f['of']} landing zones do not say what they are (airport, heliport, helispot): "
        f"{', '.join(f['names'])}. They count as airports with a long runway.",
        "Fill the column `kind`.",
    ),
    "known_cell_no_channel": lambda f, u: (
        f"{f['count']} of {f['of']} known cells do not state their frequency: {', '.join(f['names'])}. Whether they "
        "disturb is not known.",
        "Fill the column `frequency_mhz`.",
    ),
}
