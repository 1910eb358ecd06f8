"""A place the trailer could stand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal


@dataclass(frozen=True)
class Stance:
    """How a trailer stands that is there already: nothing of it is chosen any more. Bearings true, degrees."""

    heading_deg: float  # where the tongue points
    mast_stop_m: float
    sector_bearings_deg: tuple[float, ...]


@dataclass(frozen=True)
class Spot:
    """A place the trailer could stand."""

    name: str
    x: float
    y: float
    latitude: float
    longitude: float
    grid_reference: str
    elevation_m: float
    origin: Literal["search", "user"] = "search"
    cell: tuple[int, int] | None = None  # row and column of the elevation that hold it; None: outside the raster

    @property
    def key(self) -> tuple[float, float]:
        """What tells it from every other spot of a plan: its x and y."""
        return self.x, self.y

    @property
    def unnamed(self) -> Spot:
        """The same place without what it is called and where it came from."""
        return replace(self, name="", grid_reference="", origin="search")
