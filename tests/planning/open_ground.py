"""Ground made by hand for one spot in its middle: a study with only what the sky's code reads."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from affine import Affine
from pyproj import CRS

from siteplanner.core.far_ground import FarGround
from siteplanner.data.grid import Grid
from siteplanner.data.projections import metric_crs
from siteplanner.mission import Layers, Mission, Staging
from siteplanner.planning.study.beyond import Beyond
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.spot import Spot


def study_on(
    values: np.ndarray,
    cell_size_m: float = 10.0,
    latitude: float = 45.0,
    longitude: float = -111.0,
    obstacles: np.ndarray | None = None,
    surface_known: np.ndarray | None = None,
    far: FarGround | None = None,
    ceiling_m: float | None = None,
    **parts: Any,
) -> Any:
    """Elevation centred on a place, in its UTM zone (or polar grid); `parts` are tables of the mission."""
    crs = CRS.from_user_input(metric_crs(longitude, latitude))
    from pyproj import Transformer

    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    rows, cols = values.shape
    transform = Affine(cell_size_m, 0, x - cols * cell_size_m / 2, 0, -cell_size_m, y + rows * cell_size_m / 2)
    grid = Grid(values.astype(np.float32), transform, crs)
    above = None if obstacles is None else grid.with_values(np.maximum(obstacles, values).astype(np.float32))
    mission = Mission(
        layers=Layers(elevation=("dem.tif",), incident_area="area.geojson", roads="roads.gpkg"),
        staging=Staging(latitude=min(latitude, 84), longitude=longitude),
        **parts,
    )
    relief = Relief(grid, above, surface_known)
    return SimpleNamespace(
        mission=mission,
        elevation=grid,
        obstacles=above,
        surface=relief.surface,
        relief=relief,
        blocks=relief.blocks,
        beyond=Beyond(far, relief.blocks.ceiling_m if ceiling_m is None else ceiling_m, "elevation_files"),
        source_cell_m=cell_size_m,
        overlay=lambda role: None,
    )


def spot_in(study: Any, row: int, col: int, name: str = "here") -> Spot:
    grid = study.elevation
    x, y = (float(v) for v in grid.xy(row, col))
    longitude, latitude = (float(v) for v in grid.lonlat(x, y))
    return Spot(name, x, y, latitude, longitude, "", float(grid.values[row, col]), "user", (row, col))
