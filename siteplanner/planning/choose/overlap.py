"""How much of the area that one spot serves another serves too: the measure by which options and sets differ."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def overlap(one: np.ndarray, other: np.ndarray, weight: np.ndarray) -> float:
    """sum w min(p1, p2) / sum w max(p1, p2) over the cells of the area: 1 the same service, 0 none in common.

    `one`, `other`: probability of service a cell, 0..1; `weight`: of each cell, at least 0; all of one length. NaN
    where neither serves anything: two of nothing are neither alike nor apart. It is the weighted Jaccard (Ruzicka)
    index.
    """
    return float(overlaps(np.stack([one, other]), 0, weight)[1])


def overlaps(probability: np.ndarray, with_row: int, weight: np.ndarray) -> np.ndarray:
    """Overlap of each row (spot) of `probability` (spots, cells) with one of them, as `overlap` has it.

    min and max are taken from |p1 - p2|: min + max = p1 + p2 and max - min = |p1 - p2|, so one pass over the cells is
    enough. Sums in float64.
    """
    weight = np.asarray(weight, float)
    served = probability @ weight
    own = probability[with_row]
    apart = np.array([float(np.abs(row - own) @ weight) for row in probability])
    both = served + served[with_row]
    most = both + apart
    return np.divide(both - apart, most, out=np.full(len(most), np.nan), where=most > 0)


def stacked(probabilities: Sequence[np.ndarray | None], cells: int) -> np.ndarray:
    """Rows of (spots, cells), float32; a spot whose service is not known serves nothing.

    Kept as they were worked out: a change of weights must find the very same figures again.
    """
    out = np.zeros((len(probabilities), cells), np.float32)
    for row, probability in zip(out, probabilities, strict=True):
        if probability is not None:
            row[:] = probability
    return out
