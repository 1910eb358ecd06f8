"""If this road goes: which of the listed spots can still be reached, and by what other way the crew gets out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.spots.evaluation import Access, told_of
from siteplanner.planning.spots.lifelines import Section
from siteplanner.roads.lifeline import Stretch


@dataclass(frozen=True, eq=False)
class IfLost:
    """What remains when a section goes, wherever on it: what stands here stands for the worst place of the loss.

    `parts`: what it parts the spot from. `spots`: listed spots that a rig still reaches from one of its staging
    points, without this one where only the loss for it is asked; `start`: another staging point that still reaches
    this spot, '' without one. `outside`: whether this spot still has a way out of the data; None: not known.
    """

    section: Section
    parts: tuple[Literal["staging", "outside"], ...]
    spots: tuple[str, ...]
    start: str
    outside: bool | None


def if_lost(listed: Sequence[RankedSpot], access: Access, whose: str) -> tuple[IfLost, ...]:
    """For each section that a drive hangs on, then for those that only the way out hangs on. `whose`: the spot."""
    told, line = told_of(access), access.lifeline
    if line is None:
        return ()
    out = []
    seen: set[tuple[Stretch, ...]] = set()
    for section in (*told.staging_cuts, *told.outside_cuts):
        if section.stretches in seen:
            continue
        seen.add(section.stretches)
        lost = section.stretches
        parts: list[Literal["staging", "outside"]] = []
        if line.staging.needs(lost):
            parts.append("staging")
        if line.outside is not None and line.outside.needs(lost):
            parts.append("outside")
        still = [r.spot.name for r in listed if r.spot.name != whose and _reached(r.evaluation.access, lost)]
        out.append(
            IfLost(
                section,
                tuple(parts),
                tuple(still),
                next((name for name, other in line.others if other.ways and not other.needs(lost)), ""),
                None if line.outside is None else line.outside.ways > 0 and not line.outside.needs(lost),
            )
        )
    return tuple(out)


def _reached(access: Access | None, lost: Sequence[Stretch]) -> bool:
    if access is None or access.lifeline is None:
        return False
    threads = (access.lifeline.staging, *(other for _, other in access.lifeline.others))
    return any(thread.ways > 0 and not thread.needs(lost) for thread in threads)
