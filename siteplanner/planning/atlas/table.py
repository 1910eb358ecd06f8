"""The places of an atlas as a table for GIS: GeoParquet, a row a place, what each is good for without an incident."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from siteplanner.planning.atlas.folder import FACTS, put, read_json, read_rows, tile_folder
from siteplanner.planning.atlas.ground import RegionGround
from siteplanner.planning.atlas.place import KnownPlace, access_to, place_of
from siteplanner.planning.spots.evaluation import Access

TABLE = "places.parquet"


def places_in(atlas: Path, tiles: Sequence[str]) -> Iterator[tuple[str, KnownPlace]]:
    """(tile, place) of some tiles. Raises InputError for a file that cannot be read."""
    for tile in tiles:
        for record in read_json(tile_folder(atlas, tile) / FACTS):
            yield tile, place_of(record)


def places_at(atlas: Path, tile: str, rows: Sequence[int]) -> list[KnownPlace]:
    """Some places of a tile, by their rows. Raises InputError for a file that cannot be read."""
    return [place_of(record) for record in read_rows(tile_folder(atlas, tile) / FACTS, rows)]


def write_places(ground: RegionGround, atlas: Path, tiles: Sequence[str]) -> int:
    """Write the table; how many places it has. Raises OSError."""
    import geopandas as gpd
    import shapely

    rows, points = [], []
    starts = tuple(start.name for start in ground.mission.starts)
    for tile, place in places_in(atlas, tiles):
        rows.append(_row(ground, starts, tile, place))
        points.append(shapely.Point(place.evaluation.spot.x, place.evaluation.spot.y))
    frame = gpd.GeoDataFrame(rows, geometry=points, crs=ground.lattice.crs)
    put(atlas / TABLE, lambda staged: frame.to_parquet(staged, index=False, compression="zstd"))
    return len(rows)


def _row(ground: RegionGround, starts: tuple[str, ...], tile: str, place: KnownPlace) -> dict[str, Any]:
    e, mission = place.evaluation, ground.mission
    row: dict[str, Any] = {
        "place": place.name,
        "tile": tile,
        "latitude": e.spot.latitude,
        "longitude": e.spot.longitude,
        "grid_reference": e.spot.grid_reference,
        "elevation_m": e.spot.elevation_m,
        "slope_deg": e.ground.slope_deg,
        "roll_deg": e.ground.roll_deg,
        "pitch_deg": e.ground.pitch_deg,
        "heading_deg": e.ground.heading_deg,
        "turning_room_m": e.ground.swing_room_m,
        "above_drainage_m": e.ground.above_drainage_m,
        "tree_height_m": math.nan if e.ground.tree is None else e.ground.tree.height_m,
        "wire_distance_m": math.nan if e.line is None else e.line.distance_m,
        "backhaul": "" if e.backhaul is None else e.backhaul.kind,
    }
    for number, look in enumerate(e.sky, 1):
        row |= {f"satellite_{number}": look.satellite_name, f"sky_margin_{number}_deg": look.margin_deg}
    for backhaul in e.backhauls:
        row |= {f"{backhaul.kind}_verdict": backhaul.verdict, f"{backhaul.kind}_margin": backhaul.margin}
    rig = mission.rig
    for number, (name, tree) in enumerate(zip(starts, ground.drives.trees, strict=True), 1):
        access = access_to(
            place, ground.lattice, ground.drives.network, (tree,), (name,), rig.last_leg_speed_kmh, rig.max_grade_pct
        )
        row |= {f"staging_{number}": name, **_way(access, number)}
    row["margins"] = f"tiles/{tile}/margins/{place.name}.tif"
    return row


def _way(access: Access | None, number: int) -> dict[str, Any]:
    nan = math.nan
    line = None if access is None else access.lifeline
    return {
        f"drive_{number}_s": nan if access is None else access.drive_time_s,
        f"drive_{number}_m": nan if access is None else access.drive_distance_m,
        f"last_leg_{number}_m": nan if access is None else access.last_leg_m,
        f"ways_in_{number}": nan if line is None else float(line.staging.ways),
        f"cut_{number}_m": nan if line is None else line.staging.length_m,
        f"ways_out_{number}": nan if access is None or access.ways_out is None else float(access.ways_out),
    }
