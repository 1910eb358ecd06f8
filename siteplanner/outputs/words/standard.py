"""What every output says in the same words."""

from __future__ import annotations

PLANNING_AID = (
    "A planning aid: check ground, wires, road limits, weather on site. "
    "The unit's manual, local codes, the landowner and licensed practice come first."
)
