"""What the data cannot tell about a spot, and what driver and crew look at on arrival because of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.leave import Leave
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.telling.ground import cell_words, slope_doubt_words
from siteplanner.planning.telling.leave import cell_check, landing_check, license_check, owner_check
from siteplanner.planning.telling.roads import unknown_kinds_words
from siteplanner.planning.telling.units import METRIC, Units

FINE_CELL_M = 2.0  # a bank or a ditch beside a trailer still shows in such cells; common practice, no source
SMALL_ROADS = ("track", "service", "unclassified")  # where gates stand


@dataclass(frozen=True)
class ArrivalCheck:
    """One thing to look at. `text` says what, `why` what the data lack, `who` looks."""

    code: str
    text: str
    why: str
    who: Literal["driver", "crew"]


def arrival_checks(
    plan: Plan, ranked: RankedSpot, units: Units = METRIC, owners: bool = False
) -> tuple[ArrivalCheck, ...]:
    """What this plan's data leave open at a spot, what can hurt someone first; nothing that they do tell.

    `owners`: with the name and phone of the landowner, for a printed sheet and nothing else.
    """
    return (*_crew(plan, ranked, units, owners), *_driver(plan, ranked.evaluation.access, units))


def _given(plan: Plan, role: str) -> bool:
    """Whether the mission brought the layer; what lies far away counts as brought."""
    return bool(getattr(plan.mission.layers, role))


def _crew(plan: Plan, ranked: RankedSpot, units: Units, owners: bool) -> list[ArrivalCheck]:
    e = ranked.evaluation
    out = [
        ArrivalCheck(
            "wires",
            "Look up: wires over the spot, beside it and over the last leg.",
            "line data miss service drops" if _given(plan, "power_lines") else "no overhead lines were given",
            "crew",
        )
    ]
    out += _ask_first(e.leave, units, owners)
    cell = e.ground.cell_size_m
    if cell > FINE_CELL_M:
        out.append(
            ArrivalCheck(
                "level",
                "Level on the ground before you unhitch: bank, ditch, step.",
                ", ".join(
                    filter(
                        None,
                        (
                            _elevation_cells(max(cell, e.ground.source_cell_m), units),
                            slope_doubt_words(e.ground, units),
                        ),
                    )
                ),
                "crew",
            )
        )
    if cell > FINE_CELL_M or not _given(plan, "surface"):
        out.append(ArrivalCheck("trees", *_trees(plan, ranked, units), "crew"))
    missing = (
        ("soft_ground", "Soft ground: drive a heel or rod in; pads under every jack.", "no soft ground layer"),
        ("structures", "Fences, walls, tanks: room for the outriggers and to swing the rig?", "no structures layer"),
        ("water", "Ditch, culvert, stream bed: where would rain run?", "no water layer"),
        ("hazards", "Slide, flood, fire: what has changed here?", "no hazard layer"),
    )
    out += [ArrivalCheck(role, text, why, "crew") for role, text, why in missing if not _given(plan, role)]
    out.append(ArrivalCheck("licence", *_licence(plan, ranked), "crew"))
    if any(check.code == "owner" for check in out):
        return out
    return [*out, ArrivalCheck("owner", *owner_check(e.leave, owners), "crew")]


def _ask_first(leave: Leave | None, units: Units, owners: bool) -> list[ArrivalCheck]:
    """Who must have said yes before the unit is set up, as far as the layers tell: who flies, whose land, who sends."""
    if leave is None:
        return []
    flying = [zone for zone in leave.landing or () if zone.in_approach or zone.notice != "none"]
    pressing = [zone for zone in flying if zone.in_approach or zone.notice == "file"]
    out = [ArrivalCheck("air", *landing_check(zone, units), "crew") for zone in pressing]
    if leave.parcel_known:
        out.append(ArrivalCheck("owner", *owner_check(leave, owners), "crew"))
    if leave.license is not None and (not leave.license.inside or leave.license.spills):
        out.append(ArrivalCheck("license_area", *license_check(leave.license, units), "crew"))
    out += [ArrivalCheck("air", *landing_check(zone, units), "crew") for zone in flying if zone not in pressing]
    return out + [ArrivalCheck("channel", *cell_check(cell, units), "crew") for cell in leave.cells or ()]


def _licence(plan: Plan, ranked: RankedSpot) -> tuple[str, str]:
    """Who may send: nothing in the data tells it."""
    radio, link = plan.mission.radio, ranked.evaluation.donor
    bands = f"{radio.frequency_mhz:g} MHz" + (f" and the link's {link.frequency_mhz:g} MHz" if link is not None else "")
    return (
        f"License to send on {bands} here: in hand before the radio goes on.",
        "bands are licensed; the plan knows no license",
    )


def _elevation_cells(cell_m: float, units: Units) -> str:
    return f"elevation cells of {cell_words(cell_m, units)}"


def _trees(plan: Plan, ranked: RankedSpot, units: Units) -> tuple[str, str]:
    e = ranked.evaluation
    look = next(iter(e.aimed), None) or next((look for look in e.sky if look.clear), None)
    toward = "" if look is None or not look.clear else f" ({units.bearing(look.azimuth_deg)} true)"
    why = (
        f"surface cells of {cell_words(ranked.evaluation.ground.cell_size_m, units)} hide single trees"
        if _given(plan, "surface")
        else "no surface heights were given"
    )
    what = f"toward the satellite{toward}"
    if e.donor is not None:
        what = f"toward the donor site ({units.bearing(e.donor.bearing_deg)} true)"
    elif not e.dish_used and e.backhaul is not None:
        what = f"all round, higher than {units.angle(e.backhaul.min_elevation_deg or 0, 0)} up,"
    return f"Trees {what} and within reach of the mast.", why


def _driver(plan: Plan, access: Access | None, units: Units) -> list[ArrivalCheck]:
    if access is None:
        return []
    out = []
    roads, route = plan.scene.roads, access.route
    gates = [
        float(route.running_m[k])
        for k, segment in enumerate(route.segments)
        if any(h.kind == "gate" for h in roads.hazards[int(segment)])
    ]
    private = any(h.kind == "private" for segment in route.segments for h in roads.hazards[int(segment)])
    small = bool(np.isin(roads.tags.highway[route.segments], SMALL_ROADS).any())
    text, why = "", "locks are not in the data"
    if gates:
        text = f"Gates at {', '.join(units.distance(m) for m in gates[:3])}: who has the keys?"
    elif private:
        text = "Private road: owner asked, gates open?"
    elif small:
        text, why = "Locked gates on the small roads: ask before leaving.", "no gate is mapped"
    if text:
        out.append(ArrivalCheck("gates", text, why, "driver"))
    if access.unknown:
        out.append(
            ArrivalCheck(
                "road_limits",
                f"On the way, read signs and road for: {unknown_kinds_words(access.unknown)}.",
                "the road data do not state them all the way",
                "driver",
            )
        )
    return out
