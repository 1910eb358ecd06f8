"""The plan made again with what readings say of the model: same spots, same names, and where each stands now."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from siteplanner.planning.plan.explain import explain
from siteplanner.planning.plan.measured import Measured
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import plan
from siteplanner.planning.plan.records import called_in, judged_rows, number, of, rows, text
from siteplanner.planning.plan.stands_now import reported_in, standing_now, standing_row
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.study.reuse import Kept
from siteplanner.planning.study.spot import Stance

MOST_RANKS = 6
SAME_PLACE_M = 1.0


@dataclass(frozen=True)
class RankNow:
    """One spot after the readings and before: rank, share of the weighted area; NaN where it was not judged before."""

    name: str
    rank: int
    share: float
    old_rank: float
    old_share: float


@dataclass(frozen=True, eq=False)
class Redrawn:
    """`plan`: with the readings in it. `ranks`: its best spots. `stands_rank`: of the place where the trailer stands;
    None: a limit rules it out. `stands_coverage`: from there with mast and sectors set anew."""

    plan: Plan
    ranks: tuple[RankNow, ...]
    stands_rank: int | None
    stands_coverage: Coverage | None


def redrawn(
    found: Measured, record: Mapping[str, Any], progress: Progress | None = None, previous: Kept | None = None
) -> Redrawn:
    """Plan again with the mission after the readings. `record`: the plan.json that they were held against."""
    before = judged_rows(record)
    made = plan(found.after, progress, previous, called_in(record))
    old = {text(r.get("name")): r for r in before}
    ranks = []
    for ranked in made.judged[:MOST_RANKS]:
        was = old.get(ranked.spot.name, {})
        coverage = ranked.evaluation.coverage
        share = math.nan if coverage is None else coverage.share
        ranks.append(RankNow(ranked.spot.name, ranked.rank, share, number(was.get("rank")), number(was.get("share"))))
    here = found.standing.spot
    own = next((r for r in made.judged if math.dist(r.spot.key, here.key) <= SAME_PLACE_M), None)
    if own is not None:
        return Redrawn(_standing(made, found, record, own.evaluation), tuple(ranks), own.rank, own.evaluation.coverage)
    asked = explain(made, here.latitude, here.longitude)
    rank, e = asked.would_rank, asked.evaluation
    return Redrawn(_standing(made, found, record, e), tuple(ranks), rank, e.coverage)


def _standing(made: Plan, found: Measured, record: Mapping[str, Any], e: Evaluation) -> Plan:
    """The plan with where the trailer stands, as the record has it or as the plan would park it there."""
    at = found.standing
    held = standing_row(record, at.spot.name) or next(
        (r for r in rows(record, "spots") if text(r.get("name")) == at.spot.name), {}
    )
    heading = number(of(held, "ground", "heading_deg"))
    stance = Stance(
        heading if math.isfinite(heading) else e.ground.heading_deg, at.mast_height_m, at.sector_bearings_deg
    )
    there = replace(e, spot=replace(e.spot, name=at.spot.name))
    return replace(made, stands=standing_now(there, stance, found.now.share, reported_in(record)))
