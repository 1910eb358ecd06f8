"""The dangers of work at one spot, for the crew's sheet and the app's page alike."""

from __future__ import annotations

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.aiming import both_bearings
from siteplanner.planning.telling.keep_clear import Named
from siteplanner.planning.telling.safety import crew_dangers, dish_words
from siteplanner.planning.telling.units import Units


def dangers_at(plan: Plan, ranked: RankedSpot, units: Units, named: Named = str) -> list[tuple[str, str, str]]:
    """(signal word, of what, what to do), the gravest first; `named`: how a name from a file is written."""
    e = ranked.evaluation
    look = next(iter(e.aimed), None) if e.dish_used else None
    aim = "" if look is None else both_bearings(look.azimuth_deg, e, units)
    dish = "" if look is None else dish_words(ranked.on_site.antennas, aim, units)
    return crew_dangers(e.line, mast_fall_m(plan.mission), dish, plan.mission.guys > 0, units, named)
