"""Why a road is shut for the rig, and what the road data leave open: facts, no sentences.

The words are those of `planning.telling.roads`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Limit = Literal["height limit", "weight limit", "width", "length limit", "axle load"]
ReasonKind = Literal[
    "no road", "access", "season or hours", "ford", "trailers", "height limit", "weight limit", "width",
    "length limit", "axle load", "grade", "surface", "track type", "smoothness", "barrier", "bend", "closure",
]  # fmt: skip
Source = Literal["posted", "road data", "elevation", "drawn line", "closure"]
"""A sign in the data; other tags; the elevation raster; the line's own shape; what the user marked."""
UnknownKind = Literal["height limit", "weight limit", "width", "surface", "grade", "direction", "season or hours"]
UNKNOWN_KINDS: tuple[UnknownKind, ...] = (
    "height limit", "weight limit", "width", "surface", "grade", "direction", "season or hours",
)  # fmt: skip


@dataclass(frozen=True)
class Reason:
    """One reason why a road is shut for the rig.

    `figure` is the road's, `limit` the rig's, both in `unit`; None where there is none. `certain` is False where the
    figure lies closer to the limit than it is known: `error` is its standard error then. `what` is the word or the
    name from the data (a surface, an access, a condition, what closes it), `allowed` the rig's worst one of its kind;
    of an access, whom it is open to all the same. `written`: what stands in the data where that is no figure by the
    rules, and `figure` the largest that it can mean.
    """

    kind: ReasonKind
    figure: float | None = None
    limit: float | None = None
    unit: str = ""
    source: Source = "road data"
    certain: bool = True
    what: str = ""
    allowed: str = ""
    structure: Literal["", "bridge", "tunnel"] = ""
    over_m: float | None = None  # length that a grade is told over
    error: float | None = None
    written: str = ""
    spare: float = 0.0  # how much more than the rig's the road's figure must be


@dataclass(frozen=True)
class Unknown:
    """One thing that the data do not tell of a road. With `figure` (a grade, percent) it is measured, but its standard
    error `error` is larger than its distance from the rig's `limit`.
    """

    kind: UnknownKind
    figure: float | None = None
    error: float | None = None
    limit: float | None = None

    @property
    def near(self) -> bool:
        """Known, but too close to the rig's limit to be sure."""
        return self.figure is not None


@dataclass(frozen=True)
class UnknownAlong:
    """How much of a drive of `total_m` metres one thing is not known on. `near`: as in `Unknown`."""

    kind: UnknownKind
    near: bool
    length_m: float
    total_m: float


def closure_names(reasons: Sequence[Reason]) -> tuple[str, ...]:
    """What closes a road, in the order given; () where nothing does."""
    return tuple(r.what for r in reasons if r.kind == "closure")


def only_closed(reasons: Sequence[Reason]) -> bool:
    """Whether a road is shut by closures and by nothing else."""
    return bool(reasons) and all(r.kind == "closure" for r in reasons)
