"""What two plans differ in, as facts: files, parameters, roads, spots, figures, options, sets, and what did it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from siteplanner.planning.choose.alike import alike
from siteplanner.planning.plan.records import Place, distance_m

SAME_PLACE_M = 1.0
Kind = Literal["share", "people", "points", "minutes", "percent", "degrees", "metres", "count", "margin"]


@dataclass(frozen=True)
class FileChange:
    """A file that is another than before, by its SHA-256, or that only one of the plans has."""

    role: str
    file: str
    change: Literal["changed", "new", "gone"]
    old_sha256: str
    new_sha256: str


@dataclass(frozen=True)
class ParameterChange:
    """One parameter by its path. `old`, `new`: as in the records; None also where it is not there."""

    path: str
    old: Any
    new: Any


@dataclass(frozen=True)
class Shut:
    """A road that is not for the rig. `words`: as the record says why."""

    name: str
    kind: str
    words: str
    latitude: float
    longitude: float


@dataclass(frozen=True)
class Why:
    """What is behind a change. `kind`:

    `limit`: the spot breaks it now (`code`). `road`: a road of its drive is shut now (`name`). `more_ground`: it is
    not judged any more, and a limit rules out more of the same ground (`code`; `old`, `new` shares). `weights`: a
    criterion weighs otherwise (`code`; `old`, `new` weights). `figure`: a figure changed (`code` of the criterion;
    `old`, `new`, `unit`). `steep`: it is more likely than not too steep now, and ranks behind whatever its points are;
    `level`: no longer.
    `others`: its figures and their weights are as they were, other spots came or went ahead of it.
    `new_place`: it was not judged before. `not_judged`: it is not judged any more, and the records do not say why.
    """

    kind: Literal[
        "limit", "road", "more_ground", "weights", "figure", "steep", "level", "others", "new_place", "not_judged"
    ]
    code: str = ""
    name: str = ""
    old: float = math.nan
    new: float = math.nan
    unit: str = ""


@dataclass(frozen=True)
class SpotChange:
    """A spot that is handed over in one plan only, or that moved; `off_m`: by how far."""

    change: Literal["came", "went", "moved"]
    old: Place | None
    new: Place | None
    why: Why | None
    off_m: float = math.nan


@dataclass(frozen=True)
class FigureChange:
    """A figure of the two first spots. `more_is_better` None: neither is. `doubt`: the larger of the two, NaN: none."""

    name: str
    kind: Kind
    unit: str
    old: float
    new: float
    step: float
    doubt: float
    more_is_better: bool | None

    @property
    def alike(self) -> bool:
        """Nobody could tell the two apart."""
        return alike(self.old, self.new, self.step, self.doubt)


@dataclass(frozen=True)
class SetChange:
    """The best places of so many trailers; shares NaN and no places where a plan has no such set."""

    size: int
    old: tuple[Place, ...]
    new: tuple[Place, ...]
    old_share: float
    new_share: float

    near_m: float = SAME_PLACE_M

    @property
    def same(self) -> bool:
        """The same places, in the same order, but for a move by less than `near_m`."""
        return len(self.old) == len(self.new) and not _unmatched(self.old, self.new, self.near_m)


@dataclass(frozen=True)
class Comparison:
    """All that differs between two plans. `why`: another spot is first, and what did that."""

    files: tuple[FileChange, ...]
    parameters: tuple[ParameterChange, ...]
    shut: tuple[Shut, ...]  # roads that are not for the rig now
    opened: tuple[Shut, ...]  # roads that were not for it
    old_first: Place | None
    new_first: Place | None
    why: Why | None
    spots: tuple[SpotChange, ...]
    figures: tuple[FigureChange, ...]  # of the two first spots, alike or not
    weighted_by: str
    old_options: tuple[Place, ...]
    new_options: tuple[Place, ...]
    sets: tuple[SetChange, ...]
    old_chance: float  # that the first spot is the best of all judged
    new_chance: float
    old_area: tuple[tuple[tuple[float, float], ...], ...]  # rings of the incident area, longitude and latitude
    new_area: tuple[tuple[tuple[float, float], ...], ...]
    area_changed: bool  # where both records hold its outline
    near_m: float  # a spot that moved by less is the same one

    @property
    def first_moved_m(self) -> float:
        """How far the first spot is from where it was; NaN without one."""
        if self.old_first is None or self.new_first is None:
            return math.nan
        return distance_m(self.old_first, self.new_first)

    @property
    def same_first(self) -> bool:
        """The same spot is first, or none is in both."""
        if self.old_first is None or self.new_first is None:
            return self.old_first is self.new_first
        return self.first_moved_m <= self.near_m

    @property
    def options_gone(self) -> tuple[Place, ...]:
        """Options of the first plan only."""
        return _unmatched(self.old_options, self.new_options, self.near_m)

    @property
    def options_new(self) -> tuple[Place, ...]:
        """Options of the second plan only."""
        return _unmatched(self.new_options, self.old_options, self.near_m)

    @property
    def no_difference(self) -> bool:
        """Nothing that was given or that is said differs."""
        given = self.files or self.parameters or self.shut or self.opened or self.area_changed
        said = self.spots or self.options_gone or self.options_new or not all(one.same for one in self.sets)
        told = any(not f.alike for f in self.figures) or not alike(self.old_chance, self.new_chance, 0.01)
        return self.same_first and not given and not said and not told


def _unmatched(some: Sequence[Place], others: Sequence[Place], near_m: float) -> tuple[Place, ...]:
    return tuple(p for p in some if not any(distance_m(p, q) <= near_m for q in others))


def same_place(one: Place, other: Place) -> bool:
    """Two plans mean the same spot."""
    return distance_m(one, other) <= SAME_PLACE_M
