"""What is kept clear of around the trailer, in words: overhead lines, antennas, exhaust, hazard areas near by.

`named` shows a name from a file where the sentence goes: cut to a length, set apart from the words around it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.telling.overhead_lines import line_words
from siteplanner.planning.telling.units import Units

Named = Callable[[str], str]
EXHAUST_M = 6.096  # 20 ft from openings: US consumer-safety advice on portable generators, from memory


def line_sentence(line: KeepAway | None, units: Units, named: Named = str) -> str:
    """The overhead line with the least to spare and the room that it needs."""
    return line_words(line, units, named)


def hazard_near_sentence(hazard: HazardNear, units: Units, named: Named = str) -> str:
    """How near a hazard area lies to the spot, and whether the drive goes through it."""
    label = named(hazard.name or "a hazard area")
    through = "; the drive goes through it." if hazard.on_the_drive else "."
    return f"{label[:1].upper() + label[1:]}: {units.distance(hazard.distance_m, 'down')} from the spot{through}"


def hazards_near_sentences(hazards: Iterable[HazardNear], units: Units, named: Named = str) -> list[str]:
    """`hazard_near_sentence` of each."""
    return [hazard_near_sentence(hazard, units, named) for hazard in hazards]


def antenna_label(keep_m: float, units: Units) -> str:
    """For the drawing of the spot."""
    return f"in front of the antennas keep {units.keep(keep_m, 1)}"


def guy_label(guys: int, anchors_m: float, units: Units) -> str:
    """For the drawing of the spot."""
    return f"{guys} guy anchors, {units.length(anchors_m, 1)} out"


def exhaust_label(side_known: bool, units: Units) -> str:
    """For the drawing of the spot."""
    return f"exhaust {units.keep(EXHAUST_M)}" if side_known else f"exhaust {units.keep(EXHAUST_M)}, side: look"


def fall_label(fall_m: float, units: Units) -> str:
    """For the drawing of the spot."""
    return f"mast fall {units.keep(fall_m, 1)}"
