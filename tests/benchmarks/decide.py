"""Deciding among many spots: `python -m tests.benchmarks.decide`.

The judged spots of the sample county, strewn again until there are 300 and 500 as a county has them: each copy stands
elsewhere, serves a mixture of what two of them serve, and has a drive, ground and sky of its own. Planning the sample
in the same run is the baseline. Targets: a change of weights at 500 spots within 0.3 s by the clock; options, sets and
draws of 300 spots together within 5 s on two cores.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from siteplanner import load_mission, plan
from siteplanner.demo import sample_mission
from siteplanner.mission import Weights
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import name_spots, rescore
from siteplanner.planning.plan.sets_of import completed
from siteplanner.planning.spots.evaluation import Evaluation

REWEIGHT_S, ALL_S = 0.3, 5.0
TURNS = (
    ("the drive counts more", {"access": 4.0}),
    ("the ground counts more", {"ground": 3.0}),
    ("the area counts more", {"coverage": 9.0}),
    ("the named points count more", {"must_serve": 6.0}),
    ("the area does not count", {"coverage": 0.0}),
    ("as they were", {}),
)


def strewn(made: Plan, count: int) -> Plan:
    """The plan with so many judged spots, ranked and named by its weights; nothing else of it is worked out yet."""
    rng = np.random.default_rng(0)
    own = [r.evaluation for r in made.judged]
    found: list[Evaluation] = own[:count]
    while len(found) < count:
        one, other = (own[int(k)] for k in rng.integers(0, len(own), 2))
        found.append(_copy(one, other, rng, f"copy {len(found)}"))
    ranked = name_spots(rank(found, made.mission))
    return replace(
        made, judged=ranked, spots=(), options=(), sets={}, beside_first=None, with_runner_up=None, fixed=None
    )


def _copy(one: Evaluation, other: Evaluation, rng: np.random.Generator, name: str) -> Evaluation:
    assert one.coverage is not None
    assert other.coverage is not None
    a, b = one.coverage.probability, other.coverage.probability
    assert a is not None
    assert b is not None
    mixed = np.minimum(a, b) if rng.uniform() < 0.5 else ((a + b) / 2).astype(np.float32)
    share = one.coverage.share * float(mixed.mean() / max(a.mean(), 1e-9))
    off = share - one.coverage.share
    coverage = replace(
        one.coverage, probability=mixed, share=share,
        share_low=one.coverage.share_low + off, share_high=one.coverage.share_high + off,
    )  # fmt: skip
    x, y = (float(v) for v in rng.uniform(-60, 60, 2))
    access = one.access and replace(one.access, drive_time_s=one.access.drive_time_s * float(rng.uniform(0.8, 1.3)))
    ground = replace(one.ground, slope_deg=one.ground.slope_deg * float(rng.uniform(0.5, 1.5)))
    spot = replace(one.spot, name=name, x=one.spot.x + x, y=one.spot.y + y, origin="search")
    return replace(one, spot=spot, coverage=coverage, access=access, ground=ground)


def timed(call: Callable[[], Plan]) -> tuple[Plan, float, float]:
    """(what it gives, seconds of processor, seconds by the clock)."""
    start = time.process_time(), time.perf_counter()
    out = call()
    return out, time.process_time() - start[0], time.perf_counter() - start[1]


def main() -> None:
    made, planning, clock = timed(lambda: plan(load_mission(sample_mission("dunmarrow_county"))))
    print(f"planning {len(made.judged)} spots: {planning:.1f} s of processor, {clock:.1f} s by the clock")
    report(made, planning)


def report(made: Plan, planning: float) -> None:
    """Print what deciding costs, beside the processor time of planning."""
    start = made.mission.weights
    rescore(strewn(made, 20), start)  # compiled before it counts
    fresh = strewn(made, 300)
    _, used, took = timed(lambda: rescore(fresh, start))
    print(f"  options, sets and draws of 300 spots: {_told(used, took, planning)} (target {ALL_S:g} s)")
    now, used, took = timed(lambda: rescore(strewn(made, 500), start))
    print(f"  the same of 500 spots: {_told(used, took, planning)}")
    for turn in (1, 2):
        for words, changed in TURNS:
            weights = Weights(**{**start.model_dump(), **changed})
            now, used, took = timed(lambda plan=now, weights=weights: rescore(plan, weights, at_once=True))
            print(f"  {words}, time {turn}: {_told(used, took, planning)} (target {REWEIGHT_S:g} s)")
            now, used, took = timed(lambda plan=now: completed(plan))
            print(f"    its sets: {_told(used, took, planning)}")


def _told(used: float, took: float, planning: float) -> str:
    return f"{used:6.3f} s of processor, {took:6.3f} s by the clock, {100 * used / planning:5.2f} % of planning"


if __name__ == "__main__":
    main()
