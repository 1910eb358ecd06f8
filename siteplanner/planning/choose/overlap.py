"""How much of the area that one spot serves another serves too: the measure by which options and sets differ."""

from __future__ import annotations

import numpy as np


def overlap(one: np.ndarray, other: np.ndarray, weight: np.ndarray) -> float:
    """sum w min(p1, p2) / sum w max(p1, p2) over the cells of the area: 1 the same service, 0 none in common.

    `one`, `other`: probability of service a cell, 0..1; `weight`: of each cell, at least 0; all of one length. NaN
    where neither serves anything: two of nothing are neither alike nor apart. It is the weighted Jaccard (Ruzicka)
    index. Sums in float64, pairwise, so that the number of threads changes nothing.
    """
    weight = np.asarray(weight, float)
    both = float((np.minimum(one, other) * weight).sum())
    most = float((np.maximum(one, other) * weight).sum())
    return both / most if most > 0 else float("nan")
