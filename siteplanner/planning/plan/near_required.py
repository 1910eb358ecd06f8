"""More candidates for required points that no judged spot serves, so that "no spot serves it" is said of the ground and
not of the search: the cells that a handset at the point reaches with the least loss.

A path loses the same both ways (reciprocity), so one look from the point tells of every cell that passes the limits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from siteplanner.core.coverage import path_loss_db
from siteplanner.planning.spots.candidates import spot_at, thin
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.required import without_limit

TRIED = 8  # places a point, or for all of the points at once; common practice, no source
MOST_LOOKED_AT = 5000  # cells with the least loss, before they are spread


def tried_for_required(
    judge: Judge, evaluations: Sequence[Evaluation], spacing_m: float, tick: Callable[[float], None]
) -> list[Evaluation]:
    """Further spots, judged as all others; none where the required points are served, each and all by one spot."""
    grid, held = judge.study.elevation, {e.spot.cell for e in evaluations}
    out: list[Evaluation] = []
    for points in _without_a_spot(judge, evaluations):
        cells = [cell for cell in _best_seen(judge, points, spacing_m) if cell not in held][:TRIED]
        for number, (row, col) in enumerate(cells):
            tick(number / len(cells))
            held.add((row, col))
            out.append(evaluate(judge, spot_at(grid, row, col, f"for required {len(out) + 1}")))
    return out


def _without_a_spot(judge: Judge, evaluations: Sequence[Evaluation]) -> list[tuple[int, ...]]:
    """The required points that no passing spot serves, one by one, and all of them where no spot serves all."""
    chance = judge.study.mission.radio.chance_needed
    must = tuple(k for k, required in enumerate(judge.study.required) if required)
    passing = [e.coverage for e in without_limit(evaluations) if not e.failed and e.coverage is not None]
    served = [{k for k in must if c.must_serve[k].probability >= chance} for c in passing]
    alone = [(k,) for k in must if not any(k in one for one in served)]
    together = [must] if len(must) > 1 and not any(len(one) == len(must) for one in served) else []
    return [*alone, *together]


def _best_seen(judge: Judge, points: tuple[int, ...], spacing_m: float) -> list[tuple[int, int]]:
    """Cells that pass the limits, spread, the one first from which the worst of the points loses least."""
    study = judge.study
    frame, grid, radio = study.overlay("must_serve"), study.elevation, study.mission.radio
    if frame is None:
        return []
    feasible = np.array(judge.ruling.feasible, bool)
    rows, cols = np.nonzero(feasible)
    worst = np.full(len(rows), -math.inf)
    for k in points:
        place = frame.geometry.iloc[k]
        cell = grid.cell(place.x, place.y)
        if cell is None or not len(rows):
            return []
        mast_m, handset_m = max(study.mission.trailer.mast_stops_m), radio.handset_height_m
        loss = path_loss_db(grid.values, grid.cell_size_m, *cell, handset_m, mast_m, radio.frequency_mhz, feasible)
        far = np.hypot(rows - cell[0], cols - cell[1]) * grid.cell_size_m > radio.max_radius_m
        worst = np.maximum(worst, np.where(far, math.nan, loss[rows, cols]))  # NaN stays: not known, or too far
    known = np.flatnonzero(np.isfinite(worst))
    known = known[np.argsort(worst[known], kind="stable")[:MOST_LOOKED_AT]]
    rows, cols, worst = rows[known], cols[known], worst[known]
    if not len(rows):
        return []
    picked = thin(rows, cols, -worst, spacing_m / grid.cell_size_m)
    return [(int(rows[i]), int(cols[i])) for i in picked]
