"""Roads of a drive whose grade lies so near to the rig's limit that they may be too steep for it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from siteplanner.roads.lifeline import Lifeline, Stretch
from siteplanner.roads.network import RoadNetwork

LEAST_CHANCE = 0.001  # below it a road counts as certain


@dataclass(frozen=True)
class NearLimit:
    """One road of a drive, by its stretch that is most likely too steep. `error_pct`: one standard error."""

    segment: int
    name: str  # '' unnamed
    grade_pct: float
    error_pct: float
    limit_pct: float
    way_round: bool  # without this stretch another way leads to the spot

    @property
    def road(self) -> str:
        """What tells the road from others: stretches of one name are steep together."""
        return self.name or f"segment {self.segment}"

    @property
    def chance(self) -> float:
        """Chance that the true grade is above the limit: normal error, closed form."""
        return 0.5 * math.erfc((self.limit_pct - self.grade_pct) / (self.error_pct * math.sqrt(2)))


def near_limit(
    network: RoadNetwork, segments: Iterable[int], line: Lifeline, limit_pct: float
) -> tuple[NearLimit, ...]:
    """The roads among the segments of a drive that may be too steep for the rig, the likeliest first.

    Posted grades are certain and none of them. Whether a way leads round a stretch is asked of the spot's lifeline,
    over every staging point: what is longer, or steep itself, counts as a way too.
    """
    found: dict[str, NearLimit] = {}
    threads = [line.staging, *(thread for _, thread in line.others)]
    grades = network.grades
    for segment in dict.fromkeys(int(s) for s in segments):
        grade, error = float(grades.worst_pct[segment]), float(grades.error_pct[segment])
        if not (math.isfinite(grade) and error > 0):
            continue
        whole: Sequence[Stretch] = (Stretch(segment, 0.0, float(network.geometry.length_m[segment])),)
        round_it = any(thread.ways > 0 and not thread.needs(whole) for thread in threads)
        near = NearLimit(segment, str(network.tags.name[segment]), grade, error, limit_pct, round_it)
        held = found.get(near.road)
        # of one road the stretch that cuts the spot off counts before one that does not
        if near.chance >= LEAST_CHANCE and (
            held is None or (not near.way_round, near.chance) > (not held.way_round, held.chance)
        ):
            found[near.road] = near
    return tuple(sorted(found.values(), key=lambda near: -near.chance))
