"""What is said of the mission file itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.core.clearance import UNKNOWN_VOLTAGE_CLEARANCE_M
from siteplanner.core.constants import FOOT_M
from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]

MISSION_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "field_renamed": lambda f, u: (
        f"The mission names {f['old']}, which is now called {f['new']}; it was read as that.",
        f"Write {f['new']} in the mission file.",
    ),
    "periods_not_planned": lambda f, u: (
        f"The mission has {f['periods']} operational periods; this plan is of layers.incident_area alone.",
        "`siteplanner staged` plans them as one sequence.",
    ),
    "fleet_unit_left_out": lambda f, u: (
        f"{f['unit']} of the fleet cannot go and is left out of the units.",
        "`siteplanner ready` says why.",
    ),
    "fleet_unit_cannot_go": lambda f, u: (
        f"{f['unit']} is planned with and cannot go, by the fleet file.",
        "`siteplanner ready` says why; repair it, or take another unit.",
    ),
    "radio_power_class": lambda f, u: (
        f"The radio sends {f['power_dbm']:g} dBm a port: more than a small cell has (medium range up to "
        f"{f['most_dbm']:g} dBm, 3GPP TS 36.104 Table 6.2-1). The predicted service is that of a large base station.",
        "Read the power of one antenna port off the unit's data sheet into radio.tx_power_dbm.",
    ),
    "antenna_gain_unlike_beam": lambda f, u: (
        f"A gain of {f['gain_dbi']:g} dBi does not fit a beam of {f['beamwidth_deg']:g} by "
        f"{f['vertical_beamwidth_deg']:g} deg, which holds {f['fits_dbi']:.1f} dBi (TR 36.942 pattern, integrated); "
        f"{f['tolerance_db']:g} dB are allowed for.",
        "Take gain and both beamwidths from one data sheet: radio.antenna_gain_dbi, beamwidth_deg, "
        "vertical_beamwidth_deg.",
    ),
    "sectors_share_carrier": lambda f, u: (
        f"The {f['sectors']} sectors share one carrier: between their bearings two are equally strong, and data is "
        "slow there when both are busy. The predicted service does not include this; each spot says how much of its "
        "service it concerns.",
        "Turn the sectors where the people are; give each its own carrier (radio.sectors_share_carrier = false) if the "
        "unit can.",
    ),
    "line_voltage_not_said": lambda f, u: (
        f"The mission names {f['old']} = 350, a former default that nobody had said of a line: lines without a "
        f"voltage are kept off by {u.keep(UNKNOWN_VOLTAGE_CLEARANCE_M)} of clearance, not {u.keep(20 * FOOT_M)}.",
        "Where their owner or their structures say that they carry no more than 350 kV, write "
        "power_lines.voltage_at_most_kv = 350.",
    ),
}
