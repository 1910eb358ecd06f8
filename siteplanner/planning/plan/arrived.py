"""After arrival: the place as it stands, judged by the same code as every spot of the plan, and held against it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.core.constants import FOOT_M
from siteplanner.core.geodesy import wrap_180_deg
from siteplanner.core.link import reading_that_serves_dbm
from siteplanner.errors import SEVERITIES, Finding, InputError, Severity
from siteplanner.mission import Mission
from siteplanner.mission.links import link_parameters
from siteplanner.mission.report import Report
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.limits.ruling import OUTSIDE, codes_of
from siteplanner.planning.plan.as_built import (
    STEP_M,
    AsBuilt,
    Assumed,
    Planned,
    PointNow,
    called_before,
    paired,
    planned_of,
    times_off,
)
from siteplanner.planning.plan.decision import fixed_of
from siteplanner.planning.plan.detail import listed_in_detail
from siteplanner.planning.plan.explain import spot_here
from siteplanner.planning.plan.judged_again import Again
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import centre_of, scene_of
from siteplanner.planning.plan.records import of, rows, text
from siteplanner.planning.plan.software import software
from siteplanner.planning.site.magnetic import day_of, magnetic
from siteplanner.planning.site.rain import rain
from siteplanner.planning.site.sun_outage import sun_outages
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.spot import Spot, Stance

FAR_M = 5_000.0  # a place farther from the spot may have lost its sign or changed its halves
AGREE_M = 10.0  # coordinates and grid may differ by this beyond their own figures: two receivers; common practice
OF_THE_SEARCH = frozenset({"required_costs", "required_unmet", "spacing_widened"})
HURTS: dict[str, Severity] = {
    "sky_blocked": "check", "sky_unknown": "unknown", "no_backhaul": "check", "required_point": "check",
    "no_way_in": "check", "no_data": "unknown", "water": "notice", "soft_ground": "notice",
}  # fmt: skip
"""How grave a broken limit is where somebody stands already; what is not named here can kill or hurt."""


def _hurts(code: str) -> Severity:
    return HURTS.get(code, "warning")


def spot_row(record: Mapping[str, Any], name: str, file: str) -> Mapping[str, Any]:
    """The listed spot that a report is about; without a name the plan's first. Raises InputError: none of that name."""
    listed = rows(record, "spots")
    if not listed:
        raise InputError(
            "This plan has no spot: nothing was planned that a report could be held against.",
            remedy="Name the plan.json by which the crew was sent.",
            file=file,
        )
    if not name:
        return listed[0]
    found = next((r for r in listed if text(of(r, "name")).casefold() == name.casefold()), None)
    if found is None:
        names = ", ".join(text(of(r, "name"))[:40] for r in listed[:12])
        raise InputError(
            f"The plan has no listed spot {name[:40]!r}; its spots are {names}.",
            remedy="Give the name that stands on the crew's sheet, or leave it out for the first.",
            field="spot",
        )
    return found


def arrived(again: Again, record: Mapping[str, Any], report: Report, stages: Stages, file: str | Path) -> Plan:
    """The plan of one place: the trailer as it stands, with `Plan.as_built` saying what differs and what is broken.

    `record`: the plan by which the crew was sent (plan.json); `file`: its name, for errors. Raises InputError for a
    report that does not fit the plan, naming the report's field.
    """
    planned = planned_of(spot_row(record, report.spot, str(file)), str(file))
    judge, mission = again.judge, again.judge.study.mission
    _check_levels(report, planned)
    times = times_off(report, planned)
    spot, doubt_m = stood_at(judge, report, planned)
    stands, assumed, declination = stance(judge, report, planned, spot)
    with stages.stage("Evaluating spots"):
        found = evaluate(judge, spot, stands)
    coverage = found.coverage
    assert coverage is not None, "service is predicted wherever there is elevation"
    distance, bearing = _from_planned(planned, spot.latitude, spot.longitude)
    edge = reading_that_serves_dbm(link_parameters(mission.radio))
    read = {level.point.casefold(): level for level in report.levels}
    as_built = AsBuilt(
        report=report,
        planned=planned,
        stands=stands,
        assumed=assumed,
        declination_deg=declination,
        distance_m=distance,
        bearing_deg=bearing,
        doubt_m=doubt_m,
        heading_off_deg=math.nan if "heading" in assumed else _turned(stands.heading_deg, planned.heading_deg),
        stop_off_m=math.nan if "stop" in assumed else stands.mast_stop_m - planned.mast_stop_m,
        sectors=() if "sectors" in assumed else paired(planned.sector_bearings_deg, stands.sector_bearings_deg),
        times=times,
        broken=tuple(sorted(found.failed, key=lambda b: SEVERITIES.index(_hurts(b.code)))),
        near=limits_within(judge, spot, doubt_m, {b.code for b in found.failed}),
        outside=int(judge.ruling.cells.values[spot.cell or (0, 0)]) == OUTSIDE,
        points=tuple(
            PointNow(
                p.name,
                planned.chances.get(p.name, math.nan),
                p.probability,
                edge + p.margin_db,
                read.get(p.name.casefold()),
            )
            for p in coverage.must_serve
        ),
        share=coverage.share,
        best_share=coverage.share_by_stop[0][1],
        called=called_before(record),
    )
    return _plan_of(again, found, as_built, stages)


def _plan_of(again: Again, found: Evaluation, as_built: AsBuilt, stages: Stages) -> Plan:
    judge, mission = again.judge, again.judge.study.mission
    study = judge.study
    found = replace(found, findings=(*as_built_findings(as_built, mission), *found.findings))
    scene, clear = scene_of(judge), replace(found, failed=())
    (listed,) = listed_in_detail(judge, rank([clear], mission), judge.forecast)
    # it is there: when to leave for it, and when service starts, is not to be estimated any more
    site = replace(listed.on_site, clock=None)
    there = replace(listed, evaluation=replace(listed.evaluation, failed=found.failed, on_air=None, on_site=site))
    findings = (*again.changed, *(f for f in again.findings if f.code not in OF_THE_SEARCH))
    return Plan(
        mission=mission,
        software=software(),
        inputs=again.inputs,
        findings=tuple(dict.fromkeys(findings)),
        rulings=judge.ruling.shares,
        spots=(there,),
        rejected=(),
        scene=scene,
        timings_s=stages.timings_s,
        forecast=judge.forecast,
        sun=sun_outages(mission, *centre_of(study)),
        rain=rain(mission, *centre_of(study)),
        judged=(RankedSpot(1, there.evaluation, listed.criteria, listed.score),),
        area=study.area_cells,
        judge=replace(judge, reuse=None),
        fixed=fixed_of([clear], mission, scene, study.area_cells),
        as_built=as_built,
    )


def stood_at(judge: Judge, report: Report, planned: Planned) -> tuple[Spot, float]:
    """(the place that the report names as a spot, how well it is known in metres: the phone's own error and the figures
    that were read out). Raises InputError: its two ways of saying it disagree, or it lies off the map."""
    said = report.places()
    place = said[0]
    if len(said) == 2:
        apart = _distance_m(place.latitude, place.longitude, said[1].latitude, said[1].longitude)
        if apart > place.off_m + said[1].off_m + AGREE_M:
            raise InputError(
                f"Coordinates and grid are {apart:,.0f} m apart.",
                remedy="Have both read out again, or leave out the one that is in doubt.",
                field="grid",
            )
    field = "coordinates" if report.coordinates else "grid"
    away = _distance_m(planned.latitude, planned.longitude, place.latitude, place.longitude)
    if away > FAR_M:
        _check_sides(planned, place.latitude, place.longitude, away, field)
    try:
        spot = spot_here(judge, place.latitude, place.longitude, planned.name)
    except InputError as error:
        raise error.placed(
            what=f"The place is {away / 1000:,.1f} km from spot {planned.name} and outside the elevation of this plan.",
            field=field,
        ) from None
    if not math.isfinite(float(judge.study.elevation.values[spot.cell or (0, 0)])):
        raise InputError(
            "There is no elevation where the trailer stands, so nothing can be judged there.",
            remedy="Have the place read out again; if it is right, add elevation that covers it and plan again.",
            field=field,
        )
    return spot, math.hypot(report.accuracy_m, place.off_m)


def _check_sides(planned: Planned, latitude: float, longitude: float, away_m: float, field: str) -> None:
    """Raises InputError where a sign or the order of the two would bring the place near the spot."""
    turned = ((latitude, -longitude), (-latitude, longitude), (-latitude, -longitude), (longitude, latitude))
    for lat, lon in turned:
        if abs(lat) <= 90 and _distance_m(planned.latitude, planned.longitude, lat, lon) < FAR_M:
            raise InputError(
                f"The place is {away_m / 1000:,.0f} km from spot {planned.name}; {lat:.5f}, {lon:.5f} would be near.",
                remedy="West and south are minus or have their letter, latitude comes first: ask the crew, then "
                "correct it.",
                field=field,
            )


def stance(
    judge: Judge, report: Report, planned: Planned, spot: Spot
) -> tuple[Stance, tuple[Assumed, ...], float | None]:
    """(how the trailer stands, what of it is taken as planned, true minus magnetic bearing there).

    Raises InputError: a stop above the mast's highest, another number of sectors than the plan's, magnetic bearings
    where no magnetic model holds.
    """
    mission = judge.study.mission
    turn = magnetic(spot.latitude, spot.longitude, spot.elevation_m, day_of(mission)).declination_deg
    add = 0.0
    if report.bearings == "magnetic":
        if turn is None:
            raise InputError(
                "Magnetic bearings cannot be turned into true ones here: no magnetic model holds for this place and "
                "day.",
                remedy="Have the bearings read from a GPS compass or off the map and report them as true.",
                field="bearings",
            )
        add = turn
    assumed: list[Assumed] = []
    heading = planned.heading_deg
    if report.heading_deg is None:
        assumed.append("heading")
    else:
        heading = (report.heading_deg + add) % 360
    stop = _stop(report, mission)
    if stop is None:
        assumed.append("stop")
        stop = planned.mast_stop_m
    sectors = planned.sector_bearings_deg
    if report.sector_bearings_deg is None or not report.sector_bearings_deg:
        assumed.append("sectors")
    elif len(report.sector_bearings_deg) != len(sectors):
        raise InputError(
            f"The plan has {len(sectors)} sectors, the report names {len(report.sector_bearings_deg)}.",
            remedy="Ask for the bearing of each sector, or leave them out to take them as planned.",
            field="sector_bearings_deg",
        )
    else:
        sectors = tuple((b + add) % 360 for b in report.sector_bearings_deg)
    return Stance(heading, stop, sectors), tuple(assumed), turn


def _stop(report: Report, mission: Mission) -> float | None:
    """The reported stop in metres, that of the mission where it is the same; None: not reported."""
    feet = report.mast_stop_ft
    stop = report.mast_stop_m if feet is None else feet * FOOT_M
    if stop is None:
        return None
    stops, field = mission.trailer.mast_stops_m, "mast_stop_m" if feet is None else "mast_stop_ft"
    if stop > max(stops) + STEP_M:
        raise InputError(
            f"The mast is reported at {stop:.1f} m ({stop / FOOT_M:.0f} ft); its highest stop is {max(stops):g} m.",
            remedy="Ask for the stop again and in which unit; trailer.mast_stops_m of the mission has the stops.",
            field=field,
        )
    nearest = min(stops, key=lambda s: abs(s - stop))
    return nearest if abs(nearest - stop) <= STEP_M else stop


def _check_levels(report: Report, planned: Planned) -> None:
    """Raises InputError for a level at a point that the plan does not have."""
    names = {name.casefold(): name for name in planned.chances}
    for number, level in enumerate(report.levels, 1):
        if level.point.casefold() in names:
            continue
        close = get_close_matches(level.point.casefold(), names, n=2, cutoff=0.5)
        like = [names[c] for c in close] or list(planned.chances)[:8]
        raise InputError(
            f"The plan has no named point {level.point[:40]!r}."
            + (f" It has {', '.join(n[:40] for n in like)}." if like else " It has none."),
            remedy="Write the name as the crew's sheet has it, or leave this level out.",
            field=f"levels[{number}].point",
        )


def limits_within(judge: Judge, spot: Spot, doubt_m: float, known: set[str]) -> tuple[str, ...]:
    """Limits of the ground in cells that the place may lie in too, by its doubt; its own cell is judged exactly.

    `known`: limits that are broken where it is said to stand.
    """
    grid = judge.ruling.cells
    if spot.cell is None:
        return ()
    row, col = spot.cell
    reach = math.ceil(doubt_m / grid.cell_size_m) + 1
    bits = 0
    for r in range(max(row - reach, 0), min(row + reach + 1, grid.shape[0])):
        for c in range(max(col - reach, 0), min(col + reach + 1, grid.shape[1])):
            x, y = (float(v) for v in grid.xy(r, c))
            half = grid.cell_size_m / 2
            gap = np.hypot(max(abs(spot.x - x) - half, 0.0), max(abs(spot.y - y) - half, 0.0))
            value = int(grid.values[r, c])
            if (r, c) != spot.cell and gap < doubt_m and value < OUTSIDE:
                bits |= value
    return tuple(code for code in codes_of(bits) if code not in known)


def as_built_findings(made: AsBuilt, mission: Mission) -> list[Finding]:
    """What whoever reads of the trailer as built must know first: broken limits, limits near by, what was not said."""
    out = [
        Finding(
            "as_built_broken",
            _hurts(breach.code),
            # the code and kind tell one from another
            facts={"breach": breach, "limit": breach.code, "kind": breach.kind},
        )
        for breach in made.broken
    ]
    if made.near:
        facts: dict[str, object] = {"limits": made.near, "doubt_m": made.doubt_m}
        grave = any(code not in HURTS for code in made.near)
        out.append(Finding("as_built_near", "warning" if grave else "check", facts=facts))
    if made.outside:
        out.append(Finding("as_built_outside", "unknown"))
    if made.assumed:
        out.append(Finding("as_built_assumed", "unknown", facts={"parts": made.assumed}))
    known = [n for s in mission.sky.satellites for n in (s.name, s.controller_name) if n]
    found = made.report.satellite
    if found and known and found.casefold() not in {n.casefold() for n in known}:
        out.append(Finding("as_built_satellite", "check", facts={"found": found[:60], "names": tuple(known[:6])}))
    return out


def _turned(built_deg: float, planned_deg: float) -> float:
    return float(wrap_180_deg(built_deg - planned_deg))


def _from_planned(planned: Planned, latitude: float, longitude: float) -> tuple[float, float]:
    """(metres, true bearing) on the ellipsoid of WGS 84."""
    from pyproj import Geod

    bearing, _, distance = Geod(ellps="WGS84").inv(planned.longitude, planned.latitude, longitude, latitude)
    return float(distance), float(bearing % 360)


def _distance_m(latitude: float, longitude: float, to_latitude: float, to_longitude: float) -> float:
    from pyproj import Geod

    return float(Geod(ellps="WGS84").inv(longitude, latitude, to_longitude, to_latitude)[2])


def changed_settings(record: Mapping[str, Any], mission: Mission) -> Sequence[str]:
    """Parameters of a mission file that are not those that a saved plan was made with; its files are not compared."""
    import json

    from siteplanner.planning.plan.mission_place import shared_parameters
    from siteplanner.planning.plan.records import parameters_of

    now = parameters_of(json.loads(json.dumps(shared_parameters(mission), default=str)))
    was = parameters_of(of(record, "mission"))
    paths = [p for p in dict.fromkeys([*now, *was]) if not p.startswith(("layers.", "weights."))]
    return [p for p in paths if now.get(p) != was.get(p)]
