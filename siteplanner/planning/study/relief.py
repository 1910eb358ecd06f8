"""The ground with what stands on it: what blocks the sky and radio paths."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from siteplanner.core.horizon import Blocks, blocks, surface
from siteplanner.data.grid import Grid


@dataclass(frozen=True, eq=False)
class Relief:
    """Ground, and trees and roofs where a surface was given; both on the same cells."""

    elevation: Grid
    obstacles: Grid | None

    @property
    def surface(self) -> Grid:
        """What blocks sky and radio: trees and roofs, or the bare ground where no surface was given."""
        return self.elevation if self.obstacles is None else self.obstacles

    @cached_property
    def blocks(self) -> Blocks:
        """Block maxima of ground and obstacles, made once for all skylines."""
        return blocks(surface(self.elevation.values, self.surface.values))
