"""How far the weights may change before another spot takes the first place: exact, over every judged spot.

With each weight w free between w (1 - d) and w (1 + d), the first place leads a rival at every point of that box
exactly when it does at its worst corner: there each weight stands low where the first is the better one and high where
the rival is. (Scores are weighted sums over a common divisor, which never changes their order.) With the first's lead
by criterion a = w (u_first - u_rival) the lead at that corner is sum(a) - d sum(|a|), so that the rival draws level at
d = sum(a) / sum(|a|). The least of these over all rivals is how far the weights may change. Closed form; it is 1 where
no rival is better at anything, and then no weights at all take the first place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from siteplanner.planning.choose.ranked import RankedSpot

LEAST = 1e-12  # of the weights: below it two spots are equal


@dataclass(frozen=True)
class Holding:
    """The first place holds while no weight changes by more than `share` of itself, each in its own direction."""

    share: float  # 0..1; 1: whatever the weights; NaN without a rival
    taken_by: str  # the spot that leads first beyond it; '': none ever does
    by: str  # the criterion whose weight does most for that spot


def holding(spots: Sequence[RankedSpot]) -> Holding:
    """How far the weights may change: `spots` ranked, all of them judged, the first place first."""
    if len(spots) < 2:
        return Holding(float("nan"), "", "")
    names = list(dict.fromkeys(c.name for r in spots for c in r.criteria))
    weights = {c.name: c.weight for r in spots for c in r.criteria}
    weight = np.array([weights[name] for name in names])
    found = [{c.name: c.utility for c in r.criteria} for r in spots]
    utility = np.array([[own.get(name, 0.0) for name in names] for own in found])
    lead = weight * (utility[0] - utility[1:])
    whole, reach = lead.sum(1), np.abs(lead).sum(1)
    level = np.ones(len(lead))  # nobody takes a place that is the same
    np.divide(whole, reach, out=level, where=reach > LEAST)
    level = np.clip(level, 0.0, 1.0)
    first = int(np.argmin(level))
    if level[first] >= 1 - LEAST:
        return Holding(1.0, "", "")
    return Holding(float(level[first]), spots[1 + first].spot.name, names[int(np.argmin(lead[first]))])
