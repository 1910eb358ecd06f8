"""Why here, why not here: any point on the map, judged by the same code as the ranked spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isnan
from pathlib import Path

from siteplanner.data.grid_reference import grid_reference
from siteplanner.errors import Finding, InputError
from siteplanner.mission import Mission
from siteplanner.planning.choose.ranked import ScoreLine
from siteplanner.planning.choose.scoring import Place, place_by, score
from siteplanner.planning.limits.ruling import OUTSIDE
from siteplanner.planning.plan.detail import in_detail
from siteplanner.planning.plan.judged_again import judged_again
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.records import number
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.progress import Progress, Stages
from siteplanner.planning.study.spot import Spot


@dataclass(frozen=True, eq=False)
class Explanation:
    """One point's judgement. `would_rank`: its place among the ranked spots if it passes, else None."""

    evaluation: Evaluation
    in_search_ground: bool
    criteria: tuple[ScoreLine, ...]
    score: float | None
    would_rank: int | None
    findings: tuple[Finding, ...] = ()

    @property
    def passes(self) -> bool:
        return self.in_search_ground and not self.evaluation.failed


def explain(plan: Plan, latitude: float, longitude: float) -> Explanation:
    """Judge a WGS 84 point in degrees.

    Raises InputError for a point outside the elevation, and for a plan that does not hold what it was judged by.
    """
    if plan.judge is None:
        raise InputError("This plan came without its layers.", remedy="Run its mission again, then ask.")
    return explain_with(
        plan.judge,
        plan.mission,
        latitude,
        longitude,
        [place_by(r.evaluation.ground.steep_chance, r.score) for r in plan.judged],
    )


def spot_here(judge: Judge, latitude: float, longitude: float, name: str) -> Spot:
    """Any WGS 84 point in degrees as a spot. Raises InputError: no place on Earth, or outside the elevation."""
    grid = judge.study.elevation
    if 180 < longitude <= 360:  # as a map in one piece across the 180th meridian writes it
        longitude -= 360
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise InputError(
            f"{latitude}, {longitude} is not a place on Earth.",
            remedy="Give latitude then longitude in WGS 84 degrees.",
            field="latitude, longitude",
        )
    x, y = (float(v) for v in grid.from_lonlat(longitude, latitude))
    cell = grid.cell(x, y)
    if cell is None:
        raise InputError(
            f"{latitude}, {longitude} lies outside the elevation of this plan.",
            remedy="Give a point inside it, latitude first.",
            field="latitude, longitude",
        )
    reference, height = grid_reference(latitude, longitude), float(grid.sample(x, y))
    return Spot(name, x, y, latitude, longitude, reference, height, "user", cell)


def explain_with(
    judge: Judge, mission: Mission, latitude: float, longitude: float, places: Sequence[Place]
) -> Explanation:
    """As `explain`, with what the spots to rank against stand by."""
    evaluation = in_detail(judge, evaluate(judge, spot_here(judge, latitude, longitude, "this point")))
    cell = evaluation.spot.cell
    assert cell is not None
    compass = evaluation.magnetic
    inside = int(judge.ruling.cells.values[cell]) != OUTSIDE
    criteria = score(evaluation, mission)
    total = float(sum(c.contribution for c in criteria))
    passes = inside and not evaluation.failed
    return Explanation(
        evaluation,
        inside,
        criteria,
        total if passes else None,
        1 + sum(p > place_by(evaluation.ground.steep_chance, total) for p in places) if passes else None,
        () if compass is None or compass.finding is None else (compass.finding,),
    )


def reweigh(found: Explanation, plan: Plan) -> Explanation:
    """The same judgement under the plan's weights; nothing physical is computed again."""
    criteria = score(found.evaluation, plan.mission)
    total = float(sum(c.contribution for c in criteria))
    if not found.passes:
        return replace(found, criteria=criteria)
    own = place_by(found.evaluation.ground.steep_chance, total)
    rank = 1 + sum(place_by(r.evaluation.ground.steep_chance, r.score) > own for r in plan.judged)
    return replace(found, criteria=criteria, score=total, would_rank=rank)


def explain_record(
    record: dict,
    latitude: float,
    longitude: float,
    *,
    file: str | Path = "plan.json",
    layers_in: Path | None = None,
    samples: Sequence[Path] = (),
    progress: Progress | None = None,
) -> Explanation:
    """As `explain` for a saved plan: layers are read again from where they lie (`mission_place.mission_of_record`).

    A layer whose content has changed since then is a finding. Raises InputError for a record that is not a plan's
    or a layer that is gone.
    """
    try:
        places = [_stands_by(s) for s in record.get("judged") or record["spots"]]
    except (KeyError, TypeError, ValueError, AttributeError):
        raise InputError(
            "This is not a plan written by siteplanner.", remedy="Give the plan.json of a run.", file=file
        ) from None
    again = judged_again(record, Path(file), layers_in, samples, Stages(progress))
    found = explain_with(again.judge, again.judge.study.mission, latitude, longitude, places)
    return Explanation(
        found.evaluation,
        found.in_search_ground,
        found.criteria,
        found.score,
        found.would_rank,
        (*again.changed, *found.findings),
    )


def _stands_by(spot: dict) -> Place:
    """What a spot of a record stands by. Raises KeyError, ValueError, AttributeError: this is not one."""
    score = number(spot["score"])
    if isnan(score):
        raise ValueError("a spot without a score")
    return place_by(number(spot.get("ground", spot).get("steep_chance")), score)
