"""The main job: one function from a mission to a plan."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from siteplanner.errors import Cancelled, Finding
from siteplanner.mission import Mission, Weights
from siteplanner.planning.choose.certainty import Key
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.how_sure import HowSure, how_sure
from siteplanner.planning.choose.options import options_of
from siteplanner.planning.choose.points import point_answers
from siteplanner.planning.choose.ranked import Certainty, RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.limits.cells import rule_ground, sky_limit
from siteplanner.planning.limits.ground_way import GroundWay
from siteplanner.planning.limits.ruling import Ruling
from siteplanner.planning.plan import warm_up
from siteplanner.planning.plan.decision import (
    by_key,
    field_of,
    fixed_in,
    fixed_of,
    listed_of,
    option_rows,
    required_findings,
    set_aside_of,
)
from siteplanner.planning.plan.detail import forecast_of, in_detail, listed_in_detail
from siteplanner.planning.plan.model import Plan, Scene, SearchSummary
from siteplanner.planning.plan.near_required import tried_for_required
from siteplanner.planning.plan.sets_of import completed, with_sets
from siteplanner.planning.plan.software import software
from siteplanner.planning.site.magnetic import day_of, magnetic
from siteplanner.planning.site.rain import rain_over
from siteplanner.planning.site.sun_outage import sun_outages
from siteplanner.planning.spots.backhaul_ground import first_working
from siteplanner.planning.spots.candidates import (
    KindOf,
    Merit,
    cells_around,
    choose_cells,
    letters,
    spot_at,
    spots_at,
    user_spots,
)
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Backhaul
from siteplanner.planning.spots.margin_raster import sky_margin
from siteplanner.planning.spots.required import CODE as REQUIRED
from siteplanner.planning.spots.required import cannot_be_kept, without_limit
from siteplanner.planning.study.cost import LOOKED_AT, Fit, fit_of
from siteplanner.planning.study.inputs import backhaul_inputs
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Progress, Stages
from siteplanner.planning.study.reuse import Kept, Reuse
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

LIKELY_SHARE = 0.1  # of the evaluation's time, goes into the likely ground


def plan(
    mission: Mission,
    progress: Progress | None = None,
    previous: Plan | Kept | None = None,
    names: Mapping[Key, str] | None = None,
    places: Sequence[tuple[float, float]] | None = None,
    told: Callable[[Fit], None] = lambda fit: None,
) -> Plan:
    """Plan one mission: load, rule, choose, evaluate, rank.

    With the plan before it as `previous`, only what a change touches is worked out again; the answer is the same.
    `names`: what spots are called already, by their keys to the meter: somebody may stand at one.
    `places` (longitude, latitude): candidate spots chosen elsewhere, in the place of the plan's own search.
    `progress(stage, share)` is called often with plain words and 0..1; raise `Cancelled` in it to stop.
    `told` hears once, when the layers are read, what the run will take.
    Raises InputError for a layer or parameter that cannot be used, and for a run that does not fit into memory. A
    `Cancelled` leaves with what was worked out so far in its `kept`, for the next run.
    """
    before = (previous.kept if isinstance(previous, Plan) else previous) or Kept()
    reuse = Reuse(before)
    try:
        return _plan(mission, Stages(progress), reuse, names or {}, places, told)
    except Cancelled as stopped:
        stopped.kept = before.joined(reuse.kept)
        raise


def _plan(
    mission: Mission, stages: Stages, reuse: Reuse, names: Mapping[Key, str],
    places: Sequence[tuple[float, float]] | None, told: Callable[[Fit], None],
) -> Plan:  # fmt: skip
    forecast, forecast_records = forecast_of(mission)
    with warm_up.another_core() as wait:
        study = load_study(mission, stages, reuse)
        told(fit_of(study))
        mission = study.mission  # with the staging points of a layer
        # its maps of the world take 200 MB while they are read: before the rasters of the limits are there
        rain = reuse.call("rain", rain_over, mission.sky, *centre_of(study))
        ruling, way, sky_findings = rule_ground(study, stages, reuse)
        with stages.stage("Preparing (first run only)"):
            wait()
    judge = Judge(study, ruling, way, reuse, forecast)
    with stages.stage("Choosing candidate spots") as tick:
        chosen = choose(study, ruling, way, reuse, tick) if places is None else chosen_before(study, way, places)
    with stages.stage("Evaluating spots") as tick:
        spots = [*user_spots(study), *chosen.spots]
        if spots:
            study.work_out_likely(lambda share: tick(LIKELY_SHARE * share))

        def rest(share: float) -> None:
            tick(LIKELY_SHARE + (1 - LIKELY_SHARE) * share)

        evaluations = [evaluate(judge, spot) for spot in stages.each(rest, spots, len(spots))]
        further = tried_for_required(judge, evaluations, chosen.spacing_m, rest)
        evaluations += further
    if cannot_be_kept(evaluations):
        judge, evaluations = replace(judge, required_holds=False), without_limit(evaluations)
    with stages.stage("Ranking") as tick:
        if places is None:
            evaluations = refine(judge, evaluations, chosen.merit, chosen.spacing_m, tick)
        scene = scene_of(judge)
        fixed = fixed_of(evaluations, mission, scene, study.area_cells)
        ranked = fixed.ranked(fixed.judged, mission.weights)
        field = field_of(ranked, fixed, study.required)
        rows = option_rows(field, mission)
        ranked = name_spots(ranked, rows, names)
        field = replace(field, judged=ranked)
        sure = _sure(fixed, ranked, mission, rows)
        listed = listed_in_detail(judge, with_certainty(listed_of(ranked, mission, rows), sure.certainty), forecast)
        points = point_answers(field, study.required)
        rejected = tuple(in_detail(judge, e) for e in evaluations if e.failed and e.spot.origin == "user")
    search = summary_of(judge, chosen, evaluations, ranked, len(further))
    must = required_findings(points, evaluations, ranked, mission, judge.required_holds)
    findings = [*study.findings, *sky_findings, *_magnetic_findings(study), *must, *_search_findings(search)]
    made = Plan(
        mission=mission,
        software=software(),
        inputs=(*study.inputs, *forecast_records),
        findings=tuple(dict.fromkeys(findings)),
        rulings=ruling.shares,
        spots=listed,
        rejected=rejected,
        scene=scene,
        timings_s=stages.timings_s,
        forecast=forecast,
        sun=sun_outages(mission, *centre_of(study)),
        rain=rain,
        judged=with_certainty(ranked, sure.certainty),
        set_aside=set_aside_of(evaluations, ranked, mission),
        options=options_of(field, rows, by_key(listed), mission, study.network),
        points=points,
        area=study.area_cells,
        search=search,
        firmness=sure.firmness,
        judge=replace(judge, reuse=None),
        fixed=fixed,
        kept=reuse.kept,
        reused=reuse.tally,
    )
    return with_sets(made, (e.spot for e in evaluations), chosen.spacing_m, stages, reuse)


@dataclass(frozen=True, eq=False)
class Chosen:
    """Candidate spots, how far apart they had to stand, and the guess of each cell's worth that chose them."""

    spots: tuple[Spot, ...]
    spacing_m: float
    merit: Merit


def choose(study: Study, ruling: Ruling, way: GroundWay, reuse: Reuse, tick: Callable[[float], None]) -> Chosen:
    """The candidates: spaced over the ground that passes, and among them the best ground for each backhaul."""
    grid, search = study.elevation, study.mission.search
    guess = Merit(study, way)
    rows, cols, spacing = choose_cells(
        ruling.feasible,
        guess,
        grid.cell_size_m,
        search.spacing_m,
        search.max_spots,
        *_by_backhaul(study, reuse, tick),
    )
    cells = enumerate(zip(rows, cols, strict=True), 1)
    return Chosen(tuple(spot_at(grid, int(r), int(c), f"candidate {n}") for n, (r, c) in cells), spacing, guess)


def chosen_before(study: Study, way: GroundWay, places: Sequence[tuple[float, float]]) -> Chosen:
    """Candidates that were chosen elsewhere."""
    return Chosen(spots_at(study.elevation, places), study.mission.search.spacing_m, Merit(study, way))


def summary_of(
    judge: Judge, chosen: Chosen, evaluations: Sequence[Evaluation], ranked: Sequence[RankedSpot], further: int = 0
) -> SearchSummary:
    """How the spots were found, in figures. `further`: tried for required points that no candidate serves."""
    study, cell_m = judge.study, judge.study.elevation.cell_size_m
    return SearchSummary(
        search_ground_km2=float(study.search_ground.sum() * cell_m**2 / 1e6),
        feasible_km2=float(judge.ruling.feasible.sum() * cell_m**2 / 1e6),
        cell_size_m=cell_m,
        spacing_asked_m=study.mission.search.spacing_m,
        spacing_used_m=chosen.spacing_m,
        candidates=len(chosen.spots),
        passed=len(ranked),
        user_spots=len(user_spots(study)),
        judged=len(evaluations),
        no_backhaul=sum(any(breach.code == "no_backhaul" for breach in e.failed) for e in evaluations),
        area_cells=len(study.area_cells.rows),
        required_missed=sum(bool(e.failed) and all(b.code == REQUIRED for b in e.failed) for e in evaluations),
        for_required=further,
    )


def _by_backhaul(study: Study, reuse: Reuse, tick: Callable[[float], None]) -> tuple[KindOf | None, list[np.ndarray]]:
    """What `choose_cells` asks so that the best ground for each wanted backhaul stays; nothing where the ground is
    ruled out for the dish already."""
    if not study.alternatives_possible:
        return None, []

    def kinds(rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        return reuse.call("choices", partial(first_working, tick=tick), backhaul_inputs(study), rows, cols)

    if "geostationary" not in study.mission.backhaul.wanted:
        return kinds, []
    return kinds, [sky_limit(study, reuse, lambda share: tick(0.0)).clear()]


def refine(
    judge: Judge, evaluations: list[Evaluation], guess: Merit, spacing_m: float, tick: Callable[[float], None]
) -> list[Evaluation]:
    """Move each of the best searched spots to the best-scoring cell close by; user's spots stay where they are.

    A move must raise the score and keep the spacing to every other searched spot that uses the same backhaul, so the
    set stays diverse.
    """
    study = judge.study
    mission, grid = study.mission, study.elevation
    ranked = [r for r in rank(evaluations, mission) if r.spot.origin == "search"][: mission.search.refined_spots]
    kept = {id(e): e for e in evaluations}
    for number, r in enumerate(ranked):
        tick(number / len(ranked))
        cell = r.spot.cell
        if cell is None:
            continue
        around = cells_around(judge.ruling.feasible, guess, *cell, spacing_m / 2 / grid.cell_size_m, LOOKED_AT)
        others = [e for e in kept.values() if e.spot.origin == "search" and e is not r.evaluation]

        def room(spot: Spot, used: Backhaul | None, others: list[Evaluation] = others) -> bool:
            alike = [e.spot for e in others if _kind(e.backhaul) == _kind(used)]
            return all(np.hypot(spot.x - s.x, spot.y - s.y) >= spacing_m for s in alike)

        moves = []
        for row, col in around:
            spot = spot_at(grid, row, col, r.spot.name)
            if room(spot, r.evaluation.backhaul):
                move = evaluate(judge, spot)
                if room(spot, move.backhaul):
                    moves.append(move)
        better = rank([r.evaluation, *moves], mission)
        if better and better[0].evaluation is not r.evaluation:
            del kept[id(r.evaluation)]
            kept[id(better[0].evaluation)] = better[0].evaluation
    return list(kept.values())


def _kind(backhaul: Backhaul | None) -> str:
    return "" if backhaul is None else backhaul.kind


def _sure(fixed: Fixed, ranked: tuple[RankedSpot, ...], mission: Mission, options: Sequence[int]) -> HowSure:
    return how_sure(ranked, mission, drawn=fixed.drawn(ranked, mission) if ranked else None, options=options)


def rescore(old: Plan, weights: Weights, at_once: bool = False) -> Plan:
    """The same plan under other weights; nothing that ranks is computed again, names stay.

    A spot that was not listed before gets its details (horizon diagram and the like) now. `at_once`: the sets of
    trailers are left to `sets_of.completed`: the best three of many places take longer than a finger on a slider.
    """
    mission = old.mission.model_copy(update={"weights": weights})
    fixed = fixed_in(old)
    known = {r.spot.key: r.evaluation for r in (*old.judged, *old.spots)}
    ranked = fixed.ranked([known[e.spot.key] for e in fixed.judged], weights)
    required = tuple(p.required for p in old.points)
    field = None if old.area is None else field_of(ranked, fixed, required)
    rows = () if field is None else option_rows(field, mission)
    sure = _sure(fixed, ranked, mission, rows)
    listed = with_certainty(listed_of(ranked, mission, rows), sure.certainty)
    if old.judge is not None:
        listed = listed_in_detail(old.judge, listed, old.forecast)
    # details are kept, so that the next weights need not ask again
    judged = with_certainty(
        (replace(r, evaluation=e) for r, e in zip(ranked, _detailed(ranked, listed), strict=True)), sure.certainty
    )
    changed = replace(
        old, mission=mission, spots=listed, firmness=sure.firmness, judged=judged, fixed=fixed, sets={},
        beside_first=None, with_runner_up=None, sets_wait=True,
    )  # fmt: skip
    if field is not None:
        options = options_of(field, rows, by_key(listed), mission, old.scene.roads)
        changed = replace(changed, options=options, points=point_answers(field, required))
    return changed if at_once else completed(changed)


def _detailed(spots: Iterable[RankedSpot], listed: Iterable[RankedSpot]) -> list[Evaluation]:
    """The evaluation of each spot, with its details where it is listed."""
    known = {r.spot.key: r.evaluation for r in listed}
    return [known.get(r.spot.key, r.evaluation) for r in spots]


def with_certainty(spots: Iterable[RankedSpot], sure: Mapping[Key, Certainty]) -> tuple[RankedSpot, ...]:
    """Spots with how sure their places are."""
    return tuple(replace(r, certainty=sure.get(r.spot.key)) for r in spots)


def name_spots(
    ranked: Sequence[RankedSpot], options: Sequence[int] = (), called: Mapping[Key, str] | None = None
) -> tuple[RankedSpot, ...]:
    """Letters by first ranking, the options before all others (A is the first place); the user's own names stay, and so
    do those that spots are called by already.

    `options`: their rows in the ranking.
    """
    out, number = list(ranked), 0
    known = {(round(x), round(y)): name for (x, y), name in (called or {}).items()}
    taken = {r.spot.name for r in ranked if r.spot.origin == "user"} | set(known.values())
    for row in (*options, *(k for k in range(len(ranked)) if k not in options)):
        r = ranked[row]
        if r.spot.origin == "user":
            continue
        name = known.get((round(r.spot.x), round(r.spot.y)), "")
        if not name:
            name = letters(number)
            number += 1
            while name in taken:
                name = letters(number)
                number += 1
        evaluation: Evaluation = replace(r.evaluation, spot=replace(r.spot, name=name))
        out[row] = replace(r, evaluation=evaluation)
    return tuple(out)


def scene_of(judge: Judge) -> Scene:
    """What the map draws around the spots."""
    study: Study = judge.study
    return Scene(
        elevation=study.elevation,
        ruling=judge.ruling.cells,
        slope=study.slope,
        area=study.area,
        roads=study.network,
        overlays=study.overlays,
        area_rows=study.area_cells.rows,
        area_cols=study.area_cells.cols,
        area_step=study.area_cells.step,
        margin_of=partial(sky_margin, study),
    )


def centre_of(study: Study) -> tuple[float, float, float]:
    """Latitude, longitude and height of the middle of the incident area: where sun and rain are worked out once."""
    centre = study.area.geometry.union_all().centroid
    longitude, latitude = (float(v) for v in study.elevation.lonlat(centre.x, centre.y))
    height = float(study.elevation.sample(centre.x, centre.y))
    return latitude, longitude, height if np.isfinite(height) else 0.0


def _magnetic_findings(study: Study) -> list[Finding]:
    """What keeps magnetic bearings from being given, told once for the whole mission: where it starts."""
    staging = study.mission.staging[0]
    finding = magnetic(staging.latitude, staging.longitude, 0.0, day_of(study.mission)).finding
    return [] if finding is None else [finding]


def _search_findings(search: SearchSummary) -> list[Finding]:
    more = [Finding("required_tried", "note", facts={"count": search.for_required})] if search.for_required else []
    if not search.candidates or search.spacing_used_m <= search.spacing_asked_m:
        return more
    return [
        *more,
        Finding("spacing_widened", "note", facts={"used_m": search.spacing_used_m, "asked_m": search.spacing_asked_m}),
    ]
