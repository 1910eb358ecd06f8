"""Near ties: the spots whose chance to lead is not told apart from the first place's."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from siteplanner.planning.choose.certainty import Drawn, Key
from siteplanner.planning.choose.ranked import Certainty, Tied

NOT_TOLD_APART = 1 / 3
"""Chance to be ahead of the first place from which a spot is not told apart from it: odds of less than two to one.
Common practice, no source."""


def ties(drawn: Drawn, sure: Mapping[Key, Certainty]) -> tuple[Tied, ...]:
    """The spots that are ahead of the first in at least `NOT_TOLD_APART` of the draws, the likeliest first.

    Spots are held against the first in the same draws, so that what they share parts none of them; where neither
    passes, neither is ahead. A spot that scores the same counts as half ahead.
    """
    standing = drawn.standing
    if len(standing) < 2:
        return ()
    first, rest = standing[0], standing[1:]
    known = np.isfinite(first) | np.isfinite(rest)
    level = known & (np.where(known, rest, 0) == np.where(known, first, 0))
    ahead = (known & (rest > first) & ~level).sum(1) + 0.5 * level.sum(1)
    chance = ahead / np.maximum(known.sum(1), 1)
    found = [
        Tied(r.spot.name, r.rank, float(c), sure[r.spot.key].best_chance)
        for r, c in zip(drawn.spots[1:], chance, strict=True)
        if c >= NOT_TOLD_APART
    ]
    return tuple(sorted(found, key=lambda t: (-t.ahead_chance, t.rank)))
