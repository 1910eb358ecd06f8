"""Operational periods of a staged mission: each with its own incident area."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

from pydantic import AwareDatetime, Field, model_validator

from siteplanner.mission.parts import Part

MOST_PERIODS = 12
MOST_PERIOD_H = 24 * 14


class Period(Part):
    """One operational period: ICS 202 block 2 gives it a start and an end (from memory)."""

    name: str = Field(min_length=1, max_length=120, description="As it is called: on the page of the sequence.")
    starts: AwareDatetime = Field(description="When it begins, with its offset.")
    until: AwareDatetime = Field(description="When it ends.")
    incident_area: str = Field(
        min_length=1, description="The area of this period, as layers.incident_area: a file of polygons."
    )

    @model_validator(mode="after")
    def _in_order(self) -> Period:
        if not timedelta() < self.until - self.starts <= timedelta(hours=MOST_PERIOD_H):
            raise ValueError(f"{self.name[:40]!r} ends after it starts, within {MOST_PERIOD_H // 24} days")
        return self

    @property
    def hours(self) -> float:
        """How long it lasts."""
        return (self.until - self.starts) / timedelta(hours=1)


def check_periods(periods: Sequence[Period]) -> None:
    """Raises ValueError for periods of one name, or that overlap or go backward."""
    names = [p.name for p in periods]
    if len(set(names)) < len(names):
        raise ValueError("periods need different names")
    for one, other in pairwise(periods):
        if other.starts < one.until:
            raise ValueError(f"period {other.name[:40]!r} starts before {one.name[:40]!r} ends: put them in order")
