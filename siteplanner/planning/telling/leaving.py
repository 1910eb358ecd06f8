"""What to do when nothing comes up, how to leave in ten minutes, and the way home. Common practice, no source."""

from __future__ import annotations

from siteplanner.planning.telling.towing import RECHECK_M
from siteplanner.planning.telling.units import Units

_TAKE_DOWN = (
    "Inform those who rely on the service; cell off.",
    "Look up, clear the fall circle; guys tended as the mast comes down; mast down and pinned; then guys and anchors.",
    "Dish stowed and pinned.",
    "Generator off and cool, fuel valve closed; or shore power: breakers off, the building's first, then the plug. "
    "Ground rod out.",
    "Jacks up, outriggers in and pinned, pads and boards counted.",
    "Hitch: coupler latched and pinned, chains crossed, breakaway cable to the frame, lights. Jacks, mast, dish looked "
    "at from all sides.",
    "Chocks last. Leave nothing; log hours and faults. Stop after {first} and look at hitch, wheels and mast.",
    "The way home is the way in, the other way round: low gear before each descent, brakes tried first.",
)


def take_down(units: Units) -> list[str]:
    """What is done before the trailer leaves, in its order."""
    return [step.format(first=units.distance(RECHECK_M)) for step in _TAKE_DOWN]


def ten_minutes(units: Units) -> str:
    """How to leave fast: people first, the trailer only where there is time for it."""
    return (
        "1. Say on the radio that you leave and by which road. 2. No time (fire, water, wire): go now, leave the "
        "trailer, generator off if you pass it. 3. Ten minutes: cell off, generator off, cables out; look up, mast "
        "down and pinned; dish stowed; jacks and outriggers up; hitch, pin, chains; chocks last. Anchors, rod, pads "
        "stay. Check the mast: nobody drives with it up."
    )


def nothing_comes_up(search_min: float, satellite: bool, units: Units) -> list[tuple[str, str]]:
    """(what is looked at, what to do), in the order in which it is looked at; `search_min`: the longest search."""
    rows = [("Power", "Breaker, fuel, engine; main lights on the rack? Off, count to ten, on. Twice at most.")]
    if satellite:
        rows.append(
            (
                "Satellite",
                f"No lock in {units.figure(search_min, 'min')}: dish free to turn, tree or ridge in the line, right "
                "satellite picked, cable tight; search again once, then call its operator.",
            )
        )
    else:
        rows.append(("Backhaul", "Link or terminal on, nothing in its way, cable tight; then call who runs it."))
    return [
        *rows,
        ("Cell", "Backhaul up but no cell: time locked (clock source)? core reached? Call who runs the core."),
        ("Call", "Still nothing: stop, call, think. Say what the lights show. Do not lower or climb in a hurry."),
    ]
