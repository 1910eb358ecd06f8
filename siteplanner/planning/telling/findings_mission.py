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
    "line_voltage_not_said": lambda f, u: (
        f"The mission names {f['old']} = 350, a former default that nobody had said of a line: lines without a "
        f"voltage are kept off by {u.keep(UNKNOWN_VOLTAGE_CLEARANCE_M)} of clearance, not {u.keep(20 * FOOT_M)}.",
        "Where their owner or their structures say that they carry no more than 350 kV, write "
        "power_lines.voltage_at_most_kv = 350.",
    ),
}
