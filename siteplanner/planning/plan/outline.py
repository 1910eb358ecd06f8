"""The incident area as rings of longitude and latitude, for a record that somebody draws without the layers."""

from __future__ import annotations

from siteplanner.planning.plan.model import Plan


def outline(plan: Plan) -> list[list[list[float]]]:
    """Outer rings, each point longitude and latitude in degrees to a metre; no point stands off by more than a cell."""
    grid = plan.scene.elevation
    rings = []
    for shape in plan.scene.area.geometry:
        for part in getattr(shape, "geoms", [shape]):
            if part.geom_type != "Polygon":
                continue
            x, y = part.simplify(grid.cell_size_m).exterior.xy
            lon, lat = grid.lonlat(x, y)
            rings.append([[round(float(a), 5), round(float(b), 5)] for a, b in zip(lon, lat, strict=True)])
    return rings
