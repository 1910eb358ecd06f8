"""What is said of the mission file itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]

MISSION_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "field_renamed": lambda f, u: (
        f"The mission names {f['old']}, which is now called {f['new']}; it was read as that.",
        f"Write {f['new']} in the mission file.",
    ),
}
