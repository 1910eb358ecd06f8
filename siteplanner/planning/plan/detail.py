"""What is worked out for spots that are handed over and for explained points, beyond what rules and ranks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from siteplanner.core.air_notice import TALL_M
from siteplanner.data.forecast import WindForecast, read_forecast
from siteplanner.data.records import InputRecord
from siteplanner.mission import Mission
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.keep_away import AntennaKeepAway, antenna_keep_away
from siteplanner.planning.limits.site_limits import footprint_reach_m
from siteplanner.planning.site.on_site import on_site
from siteplanner.planning.spots.drive import tell
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.leave import ABOVE_STOP_M, leave_findings, leave_of
from siteplanner.planning.spots.lifelines import beside_findings
from siteplanner.planning.spots.room import room_to_turn
from siteplanner.planning.spots.skyline import skyline
from siteplanner.planning.spots.slots import visible_arc
from siteplanner.planning.spots.surroundings import hazards_near
from siteplanner.planning.study.inputs import LeaveInputs
from siteplanner.planning.study.study import Study


def in_detail(judge: Judge, evaluation: Evaluation) -> Evaluation:
    """The same evaluation with its horizon diagram, the part of the satellite arc in view, and its drive told."""
    study, spot, sky, access = judge.study, evaluation.spot, evaluation.sky, evaluation.access
    if evaluation.skyline is None:
        evaluation = replace(evaluation, skyline=judge.step("skyline", skyline, judge.dish, spot.unnamed, sky))
    if evaluation.arc is None:
        evaluation = replace(evaluation, arc=judge.step("arc", visible_arc, judge.dish, spot.unnamed, sky))
    if access is not None and access.told is None:
        room = evaluation.ground.room or room_to_turn(study, spot.x, spot.y)
        told = tell(study, access, room)
        beside = beside_findings(told.beside, told.over_water, access.drive_distance_m)
        findings = (*evaluation.findings, *beside)
        evaluation = replace(evaluation, access=replace(access, told=told), findings=findings)
    return _asked(judge, evaluation)


def _asked(judge: Judge, e: Evaluation) -> Evaluation:
    """The same evaluation with who is asked before the trailer stands there and sends."""
    study, cell = judge.study, e.spot.cell
    if e.leave is not None or e.coverage is None or cell is None:
        return e
    mast, bearings = e.coverage.mast_height_m, e.coverage.sector_bearings_deg
    if not study.leave.given and mast + ABOVE_STOP_M <= TALL_M:
        return e
    inputs = LeaveInputs(
        study.relief, judge.service, study.leave, study.mission.leave, footprint_reach_m(study.mission.trailer)
    )
    last_leg = None if e.access is None else e.access.last_leg
    leave = judge.step("leave", leave_of, inputs, e.spot.unnamed, cell, mast, bearings, last_leg)
    return replace(e, leave=leave, findings=(*e.findings, *leave_findings(leave)))


def listed_in_detail(
    judge: Judge, listed: Iterable[RankedSpot], forecast: WindForecast | None
) -> tuple[RankedSpot, ...]:
    """Ranked spots with their details and what waits there; those that have them already are left as they are."""
    return tuple(replace(r, evaluation=_waiting(judge, in_detail(judge, r.evaluation), forecast)) for r in listed)


def _waiting(judge: Judge, e: Evaluation, forecast: WindForecast | None) -> Evaluation:
    if e.on_site is not None:
        return e
    study, mast = judge.study, None if e.coverage is None else e.coverage.mast_height_m
    hazards = hazards_near(study, e.spot, e.access)
    found = on_site(study.mission, study.elevation, e.spot, e.on_air, mast, hazards, forecast, antennas_of(study, e))
    return replace(e, on_site=found)


def antennas_of(study: Study, e: Evaluation) -> tuple[AntennaKeepAway, ...]:
    """What people keep from the antennas that would send at a spot: the sectors as aimed, the backhaul in use."""
    stop = max(study.mission.trailer.mast_stops_m) if e.coverage is None else e.coverage.mast_height_m
    bearings = None if e.coverage is None else e.coverage.sector_bearings_deg
    link = None if e.donor is None else e.donor.frequency_mhz
    return antenna_keep_away(study.mission, stop, bearings, link, e.dish_used and e.dish_wanted)


def forecast_of(mission: Mission) -> tuple[WindForecast | None, tuple[InputRecord, ...]]:
    """The wind forecast, where the mission gives one, with the record of its file."""
    if not mission.layers.wind_forecast:
        return None, ()
    path = mission.path(mission.layers.wind_forecast)
    forecast, record = read_forecast(path, mission.layers.wind_forecast_unit)
    return forecast, (record,)
