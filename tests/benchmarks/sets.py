"""Best sets of two and three among 300 spots: `python -m tests.benchmarks.sets`.

Spots of the sample county, strewn again over its area by moving what each serves, so that there are 300 as a county
has them. Planning the sample in the same run is the baseline; the targets are 2 s for all pairs on two cores.
"""

from __future__ import annotations

import time

import numpy as np

from siteplanner import load_mission, plan
from siteplanner.core.maximal_cover import BestSet, best_sets, pair_values
from siteplanner.demo import sample_mission
from siteplanner.planning.choose.sets import objective

SPOTS, PAIRS_S = 300, 2.0


def spots_of(made) -> tuple[np.ndarray, np.ndarray]:
    """(300, cells) probabilities and what the cells count: each spot's own, and mixtures of two neighbours in rank."""
    area = made.judge.study.area_cells
    own = np.array([r.evaluation.coverage.probability for r in made.judged])
    rng = np.random.default_rng(0)
    more = []
    while len(own) + len(more) < SPOTS:
        one, other = rng.integers(0, len(own), 2)
        more.append(np.where(rng.uniform() < 0.5, np.minimum(own[one], own[other]), 0.5 * (own[one] + own[other])))
    return np.array([*own, *more], np.float32)[:SPOTS], objective(made.mission, area, 0)


def main() -> None:
    start = time.process_time(), time.perf_counter()
    made = plan(load_mission(sample_mission("dunmarrow_county")))
    planning = time.process_time() - start[0], time.perf_counter() - start[1]
    served, value = spots_of(made)
    pair_values(np.ascontiguousarray(served[:20] * value, np.float32))  # compiled before it counts
    best_sets(served[:20], value, 3)
    print(f"planning {planning[0]:.1f} s of processor, {planning[1]:.1f} s by the clock")
    found: dict[int, BestSet] = {}
    for size in (2, 3):
        begin = time.process_time(), time.perf_counter()
        found = best_sets(served, value, size)
        took = time.process_time() - begin[0], time.perf_counter() - begin[1]
        told = "proven" if found[size].optimal else f"within {found[size].bound - found[size].value:.4f}"
        print(
            f"  sets up to {size} of {len(served)} spots x {served.shape[1]} cells: {took[0]:6.2f} s of processor, "
            f"{took[1]:6.2f} s by the clock, {100 * took[0] / planning[0]:5.1f} % of planning, {told}"
        )
    print(f"target for pairs: {PAIRS_S:g} s by the clock on two cores")


if __name__ == "__main__":
    main()
