"""Where the power comes from, in words: generator, or a building's power with its plug, cable and breakers."""

from __future__ import annotations

from siteplanner.mission import Power
from siteplanner.planning.telling.units import Units


def power_step(power: Power, units: Units) -> str:
    """The step of the set-up that brings power."""
    if not power.shore_power:
        return (
            "Generator: exhaust away from people and openings, downwind. Breakers off; fuel, oil, start, let it "
            "settle; breakers on."
        )
    return (
        f"Shore power ({shore_words(power, units)}): all breakers of the unit off, generator off and its switch to "
        "shore. Plug in at the unit, then at the building; its breaker on, then the unit's main, then one by one."
    )


def endurance_words(power: Power, fuel: str, units: Units) -> str:
    """How long the power lasts; `fuel`: what the generator's tank gives, in sentences."""
    return f"Shore power: {shore_words(power, units)}. Generator, as spare: {fuel}" if power.shore_power else fuel


def shore_words(power: Power, units: Units) -> str:
    """`plug 4 pins, 240 V, 50 A; cable reaches 30 m`; what is not stated says so."""
    plug = f"plug {power.shore_plug}" if power.shore_plug else "plug not stated: look before leaving"
    if power.shore_cable_m is None:
        return f"{plug}; reach of the cable not stated: measure it"
    return f"{plug}; cable reaches {units.there(power.shore_cable_m)}"
