"""How many people and handsets one spot carries at once, what the backhaul leaves each, and how late speech arrives.

Assumptions, each said with its figure: one handset a person served; all of them busy at once; a talk takes one line of
the cell and `call_kbit_s` of the backhaul each way; a satellite's signal flies up and down over paths as long as that
from the spot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.constants import SPEED_OF_LIGHT_M_S
from siteplanner.core.geodesy import slant_range_m
from siteplanner.core.propagation import free_space_db
from siteplanner.core.traffic import offered_erlangs
from siteplanner.mission import Mission
from siteplanner.mission.links import BackhaulKind
from siteplanner.mission.wifi import Rated, Wifi
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.served import BLOCKING

GOOD_DELAY_MS, MOST_DELAY_MS = 150.0, 400.0
"""One way, mouth to ear: below the first talk is not disturbed, above the second networks should not be planned.
ITU-T G.114 (05/2003), clause 4."""


@dataclass(frozen=True)
class Capacity:
    """What a spot carries. None: not known, because the mission does not say or nothing carries the traffic."""

    people_served: float | None  # expected, everybody with one handset
    handsets: int  # that the cell carries at once
    waiting: float | None  # handsets beyond that, when all people served are busy
    first_served: Literal["first_come", "responders"]
    backhaul: BackhaulKind | None  # in use
    down_mbit_s: float | None  # shared by all
    up_mbit_s: float | None
    each_down_kbit_s: float | None  # to each handset that the cell carries, all busy at once
    each_up_kbit_s: float | None
    lines: int  # talks at once through cell and backhaul
    lines_by: Literal["cell", "backhaul"]  # what has fewer
    talk_erlangs: float  # talks at once that may be offered at `BLOCKING`: Erlang B over the lines
    flight_ms: float | None  # of the signal over the backhaul, one way
    delay_ms: float | None  # the same with processing
    wifi_radius_m: float | None  # None: no second radio

    @property
    def busy(self) -> float:
        """Handsets that share the backhaul: no more than there are, and than the cell carries."""
        return self.handsets if self.people_served is None else min(self.handsets, max(self.people_served, 1.0))


def capacity_of(e: Evaluation, mission: Mission) -> Capacity:
    """What one spot carries through the backhaul in use there."""
    service = None if e.coverage is None else e.coverage.service
    people, handsets = None if service is None else service.people_served, mission.radio.users
    kind = e.backhaul.kind if e.backhaul is not None else "geostationary" if e.dish_used and e.sky else None
    rated = rated_of(kind, mission)
    down, up = (None, None) if rated is None else (rated.down_mbit_s, rated.up_mbit_s)
    busy = handsets if people is None else min(handsets, max(people, 1.0))
    narrow = [rate for rate in (down, up) if rate is not None]
    talks = math.inf if not narrow or rated is None else math.floor(1000 * min(narrow) / rated.call_kbit_s)
    lines = int(min(handsets, talks))
    flight = flight_ms(e, kind)
    return Capacity(
        people,
        handsets,
        None if people is None else max(people - handsets, 0.0),
        mission.radio.first_served,
        kind,
        down,
        up,
        None if down is None else 1000 * down / busy,
        None if up is None else 1000 * up / busy,
        lines,
        "backhaul" if talks < handsets else "cell",
        offered_erlangs(lines, BLOCKING),
        flight,
        None if flight is None or rated is None else flight + rated.processing_ms,
        wifi_radius_m(mission.wifi) if mission.wifi.on else None,
    )


def rated_of(kind: BackhaulKind | None, mission: Mission) -> Rated | None:
    """Rates and processing of a kind of backhaul."""
    if kind is None:
        return None
    link = mission.backhaul
    return {"geostationary": mission.sky, "open_sky": link.open_sky, "donor_link": link.donor_link}[kind]


def flight_ms(e: Evaluation, kind: BackhaulKind | None) -> float | None:
    """One way over the backhaul at the speed of light: up to the satellite and down again, or to the donor site.

    The gateway is taken to be as far from the satellite as the spot; that is within 10 % for any in view. Of a
    terminal whose satellites move it is not known.
    """
    if kind == "geostationary" and e.look is not None:
        spot = e.spot
        far = slant_range_m(spot.latitude, spot.longitude, spot.elevation_m, e.look.satellite_longitude_deg)
        return 2000 * float(far) / SPEED_OF_LIGHT_M_S
    if kind == "donor_link" and e.donor is not None:
        return 1000 * e.donor.distance_m / SPEED_OF_LIGHT_M_S
    return None


def wifi_radius_m(wifi: Wifi) -> float:
    """How far from the trailer the second radio reaches, the weaker direction: free space less the clutter margin.

    Free space by ITU-R P.525 solved for the distance (20 log d), along the slant from the antenna: Pythagoras takes its
    height off.
    """
    sent = min(wifi.power_dbm, wifi.handset_power_dbm)
    allowed = sent + wifi.gain_dbi - wifi.needed_dbm - wifi.clutter_margin_db
    slant = 10 ** ((allowed - float(free_space_db(1.0, wifi.frequency_mhz))) / 20)
    return math.sqrt(max(slant**2 - wifi.height_m**2, 0.0))
