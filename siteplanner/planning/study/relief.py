"""The ground with what stands on it: what blocks the sky and radio paths."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from siteplanner.core.horizon import Blocks, blocks, surface
from siteplanner.data.grid import Grid

TALLEST_TREE_M = 60.0  # where a surface has no data a tree as tall as that may stand; common practice, no source


@dataclass(frozen=True, eq=False)
class Relief:
    """Ground, and trees and roofs where a surface was given; both on the same cells.

    `surface_known`: bool raster, False where the surface given has no data, so that what stands on the ground there is
    not known; None: no surface was given.
    """

    elevation: Grid
    obstacles: Grid | None
    surface_known: np.ndarray | None = None

    @property
    def surface(self) -> Grid:
        """What blocks sky and radio: trees and roofs, or the bare ground where no surface was given."""
        return self.elevation if self.obstacles is None else self.obstacles

    @cached_property
    def blocks(self) -> Blocks:
        """Block maxima of ground and obstacles, made once for all skylines."""
        return blocks(surface(self.elevation.values, self.surface.values))

    @cached_property
    def possible(self) -> Relief | None:
        """The same with the tallest trees wherever what stands on the ground is not known; None: it is everywhere."""
        if self.surface_known is None or self.obstacles is None:
            return None
        ground = self.elevation.values
        if (self.surface_known | ~np.isfinite(ground)).all():
            return None
        trees = np.where(self.surface_known, self.surface.values, ground + np.float32(TALLEST_TREE_M))
        return Relief(self.elevation, self.elevation.with_values(trees))
