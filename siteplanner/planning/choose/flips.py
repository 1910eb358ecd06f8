"""What would make another spot first: the smallest change of one figure, in its own unit, and how likely it is.

All else stays as told. A figure of the first place that gets worse hands the lead to the runner-up; a figure of a rival
that gets better hands it to that rival. A limit that takes the first place out (its road, its ground, its backhaul)
hands it to the best spot that the same road does not take out too. How likely a change is counts the spot's own errors
alone: what all spots share moves the others as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.certainty import Drawn, shifted
from siteplanner.planning.choose.losses import carriers
from siteplanner.planning.choose.ranked import Flip, RankedSpot, ScoreLine
from siteplanner.roads.near_limit import NearLimit

RIVALS = 4  # held against the first, the best ones, beside the options
FARTHEST = 1024.0  # no figure changes by more, in its unit
LEAST_CHANCE = 0.005  # of a limit that takes the first place out


def flips(drawn: Drawn, mission: Mission, options: Sequence[int] = ()) -> tuple[Flip, ...]:
    """Every one for the first place, and for each of `RIVALS` and of the options its likeliest; the likeliest first.

    `options`: their rows in the ranking.
    """
    if len(drawn.spots) < 2:
        return ()
    found = [*_worse_figures(drawn, mission), *_limits(drawn, mission), *_better_rivals(drawn, mission, options)]
    return tuple(sorted(found, key=lambda flip: -flip.chance))


def _worse_figures(drawn: Drawn, mission: Mission) -> Iterable[Flip]:
    first, second = drawn.spots[:2]
    for line in first.criteria:
        flip = _flip(drawn, 0, line, first.score - second.score, -1, second.spot.name, mission)
        if flip is not None:
            yield flip


def _better_rivals(drawn: Drawn, mission: Mission, options: Sequence[int]) -> Iterable[Flip]:
    first, count = drawn.spots[0], len(drawn.spots)
    for k in sorted({*range(1, min(1 + RIVALS, count)), *(row for row in options if 0 < row < count)}):
        rival = drawn.spots[k]
        lead = first.score - rival.score
        made = [_flip(drawn, k, line, lead, 1, rival.spot.name, mission) for line in rival.criteria]
        likely = [flip for flip in made if flip is not None and flip.chance > 0]
        if likely:
            yield max(likely, key=lambda flip: flip.chance)


def _flip(
    drawn: Drawn, k: int, line: ScoreLine, lead: float, toward: int, leader: str, mission: Mission
) -> Flip | None:
    """The change of one line's figure that moves a spot's score by `lead` down (`toward` -1) or up; None: none does."""
    ranked = drawn.spots[k]
    if not (math.isfinite(line.value) and line.weight > 0):
        return None
    wanted = line.utility + toward * lead / (100 * line.weight)
    found = change_to(lambda off: _worth(line.name, ranked, off, mission), wanted, toward)
    if found is None:
        return None
    by, rising = found
    own = drawn.own(line.name, k)
    chance = float(np.mean(own >= by if rising == (toward > 0) else own <= by))
    return Flip(ranked.spot.name, line.name, "", abs(by), line.value + by, line.unit, leader, chance)


def _worth(name: str, ranked: RankedSpot, off: float, mission: Mission) -> float:
    """The utility of a spot whose figure is so far off."""
    found = CRITERIA[name].measure(shifted(name, ranked.evaluation, off), mission)
    return 0.0 if found is None else found.utility


def change_to(worth: Callable[[float], float], wanted: float, toward: int) -> tuple[float, bool] | None:
    """(the change at which a utility has risen, `toward` 1, or fallen, -1, to `wanted`; whether it rises with it).

    The utility rises or falls all along; by halving, to a billionth. None where no change does, and where none is
    needed.
    """
    rising = worth(FARTHEST) > worth(-FARTHEST)
    sign = 1.0 if rising == (toward > 0) else -1.0

    def there(off: float) -> bool:
        return toward * worth(sign * off) >= toward * wanted

    if not 0 <= wanted <= 1 or there(0.0) or not there(FARTHEST):
        return None
    near, far = 0.0, FARTHEST
    while far - near > 1e-9 * far:
        middle = (near + far) / 2
        near, far = (near, middle) if there(middle) else (middle, far)
    return sign * far, rising


def _limits(drawn: Drawn, mission: Mission) -> Iterable[Flip]:
    """Limits that take the first place out."""
    first = drawn.spots[0]
    e, name = first.evaluation, first.spot.name
    for near in e.access.near_limit if e.access is not None else ():
        if near.chance >= LEAST_CHANCE and not near.way_round:
            leader = next((r.spot.name for r in drawn.spots[1:] if not _hangs_on(r, near)), "")
            over = near.limit_pct - near.grade_pct
            yield Flip(name, "", "road", over, near.limit_pct, "%", leader, near.chance, near.name)
    second = drawn.spots[1].spot.name
    ground = float(drawn.lost("ground")[0].mean())
    if ground >= LEAST_CHANCE:
        limit = mission.trailer.max_slope_deg
        yield Flip(name, "", "ground", limit - e.ground.slope_deg, limit, "deg", second, ground)
    blocked, able = float(drawn.lost("backhaul")[0].mean()), carriers(e, mission)
    if blocked >= LEAST_CHANCE and able:
        unit = next((c.unit for c in first.criteria if c.name == "backhaul"), "")
        yield Flip(name, "", "backhaul", able[0].margin - able[0].least, able[0].least, unit, second, blocked)


def _hangs_on(ranked: RankedSpot, near: NearLimit) -> bool:
    """Whether the same road, as steep as that, takes this spot out too."""
    access = ranked.evaluation.access
    return access is not None and any(
        other.road == near.road and other.grade_pct >= near.grade_pct - 1e-9 and not other.way_round
        for other in access.near_limit
    )
