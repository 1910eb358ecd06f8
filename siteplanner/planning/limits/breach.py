"""A limit that a spot breaks, as a value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Breach:
    """`code` is that of `ruling.LIMITS`, `kind` the way in which a limit with several ways is broken.

    `figure` is what was found, `limit` what is allowed or needed, both in `unit`; `margin` the part of the limit that
    is kept as a margin. None: the limit has no such figure. `names` are those of what breaks it, from the data.
    `about`: the values that hold the figures where one number cannot (looks to satellites, backhauls).
    """

    code: str
    kind: str = ""
    figure: float | None = None
    limit: float | None = None
    unit: str = ""
    margin: float | None = None
    names: tuple[str, ...] = ()
    about: tuple[Any, ...] = ()
