"""The set-up of a made-up plan's spot, with guys or without."""

from __future__ import annotations

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling import set_up
from siteplanner.planning.telling.antennas import angles_words, turn_words
from siteplanner.planning.telling.units import METRIC, Units


def with_trailer(plan: Plan, **fields: object) -> Plan:
    """The plan with other figures of its trailer; nothing is judged again."""
    from dataclasses import replace

    trailer = plan.mission.trailer.model_copy(update=fields)
    return replace(plan, mission=plan.mission.model_copy(update={"trailer": trailer}))


def set_up_of(
    plan: Plan, ranked: RankedSpot, units: Units = METRIC, backhaul: str = "geostationary", **trailer: object
):
    """The set-up as the crew's sheet makes it."""
    mission, e = with_trailer(plan, **trailer).mission, ranked.evaluation
    stop = e.coverage.mast_height_m if e.coverage else 8.0
    nose = f"{units.bearing(e.ground.heading_deg)} true"
    return set_up.set_up_of(mission, nose, angles_words(e, mission, units), turn_words(e, units), backhaul, stop)
