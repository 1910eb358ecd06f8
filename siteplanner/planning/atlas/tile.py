"""One tile of an atlas: places chosen and judged, each kept as it is done, so that an end at any moment loses one."""

from __future__ import annotations

import shutil
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from siteplanner.data.margins import write_margins
from siteplanner.errors import InputError, OutputError, SiteplannerError
from siteplanner.mission.region import load_region
from siteplanner.planning.atlas.folder import (
    FACTS,
    MARGINS,
    PLACES,
    ROADS,
    TILE,
    put_json,
    put_rows,
    read_json,
    read_value,
    tile_folder,
)
from siteplanner.planning.atlas.ground import RegionGround, TileGround, read_tile, with_shared
from siteplanner.planning.atlas.lattice import Lattice, Tile
from siteplanner.planning.atlas.place import judged_place, margins_of, record_of
from siteplanner.planning.atlas.screen import SCREEN, write_screen
from siteplanner.planning.atlas.served import cut
from siteplanner.planning.limits.cells import road_cells, rule_ground
from siteplanner.planning.plan.pipeline import choose
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.study.fingerprint import fingerprint
from siteplanner.planning.study.progress import Progress, Stages
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

NOT_OF_A_TILE = ("name", "note", "staging", "weights", "scales", "times", "sheets", "speeds", "power", "doubts")
"""Tables of a region that change nothing that a tile keeps."""


@dataclass(frozen=True)
class TileJob:
    """A tile to be judged by whoever sees the region's file and the atlas. `inputs`: digest of all input files."""

    region: Path
    atlas: Path
    tile: Tile
    inputs: str
    version: str


@dataclass(frozen=True)
class TileDone:
    """What became of a tile. `before`: it stood there already; `judged`: places worked out now."""

    name: str
    key: str
    places: int
    judged: int
    before: bool
    seconds: float


_held: dict[tuple[str, int], RegionGround] = {}


def judged_tile(job: TileJob, said: Progress) -> TileDone:
    """Judge a tile, or find it judged from the same. Raises InputError for its layers, OutputError for its files."""
    from importlib.metadata import version

    start = time.monotonic()
    if job.version != version("siteplanner"):
        raise SiteplannerError(
            f"This worker has version {version('siteplanner')} of the program, not {job.version}.",
            remedy="Install the same version on every worker.",
        )
    folder = tile_folder(job.atlas, job.tile.name)
    try:
        return _judged(job, folder, said, start)
    except OSError as error:
        if isinstance(error, SiteplannerError):
            raise
        raise OutputError(
            f"The atlas cannot be written ({error.strerror or error}); what is finished is kept.",
            remedy="Free space on the disk, then run the same command: it goes on where it stopped.",
            file=folder,
        ) from error


def _judged(job: TileJob, folder: Path, said: Progress, start: float) -> TileDone:
    said("Reading layers", 0.0)
    ground = _ground(job)
    tile = read_tile(ground, job.tile) if has_ground(ground, job.tile) else None
    key = key_of(ground, tile, job) if tile is not None else fingerprint((job.version, job.tile, ground.lattice))
    held = _finished(folder)
    if held is not None and held["key"] == key:
        put_json(folder / TILE, {**held, "inputs": job.inputs})
        return TileDone(job.tile.name, key, held["places"], 0, True, time.monotonic() - start)
    (folder / TILE).unlink(missing_ok=True)
    (folder / FACTS).unlink(missing_ok=True)
    stages = Stages(lambda stage, share: said(stage, 0.4 * share))
    records: list[dict[str, Any]] = []
    judged = 0
    if tile is not None and tile.study.search_ground.any():
        study = tile.study
        ruling, way, _ = rule_ground(study, stages)
        judge = Judge(study, ruling, way)
        with stages.stage("Choosing candidate spots") as tick:
            spots = own_spots(choose(study, ruling, way, Reuse(), tick).spots, job.tile, ground.lattice, study)
        for number, spot in enumerate(spots):
            said("Judging places", 0.4 + 0.6 * number / len(spots))
            record, new = _kept(judge, spot, ground.lattice, folder, key)
            records += [] if record is None else [record]
            judged += new
    put_rows(folder / FACTS, records)
    write_screen(folder, records, ground.mission, ground.lattice)
    _tidy(folder, {record["name"] for record in records})
    done = {"key": key, "inputs": job.inputs, "places": len(records)}
    put_json(folder / TILE, done)
    shutil.rmtree(folder / PLACES, ignore_errors=True)
    return TileDone(job.tile.name, key, len(records), judged, False, time.monotonic() - start)


def _ground(job: TileJob) -> RegionGround:
    """What tiles share, read once by each process."""
    path = job.atlas / f"{ROADS}.zip"
    stamp = str(path), path.stat().st_mtime_ns
    if stamp not in _held:
        _held.clear()
        _held[stamp] = with_shared(load_region(job.region), read_value(path.with_suffix("")))
    return _held[stamp]


def has_ground(ground: RegionGround, tile: Tile) -> bool:
    """Whether any height is known in a tile: a region may reach beyond its elevation."""
    lattice = ground.lattice
    rows, cols = lattice.within(tile.top, tile.left, tile.bottom - 1, tile.right - 1)
    return bool(np.isfinite(cut(ground.heights, lattice, rows, cols).values).any())


def own_spots(spots: tuple[Spot, ...], tile: Tile, lattice: Lattice, study: Study) -> list[Spot]:
    """Those that stand in the tile itself, not in what overlaps."""
    top, left = lattice.offset(study.elevation)

    def inside(spot: Spot) -> bool:
        assert spot.cell is not None
        row, col = spot.cell[0] + top, spot.cell[1] + left
        return tile.top <= row < tile.bottom and tile.left <= col < tile.right

    return [spot for spot in spots if inside(spot)]


def _kept(judge: Judge, spot: Spot, lattice: Lattice, folder: Path, key: str) -> tuple[dict[str, Any] | None, bool]:
    """(the record of a place, None where it does not pass; whether it was judged now)."""
    top, left = lattice.offset(judge.study.elevation)
    assert spot.cell is not None
    name = f"{spot.cell[0] + top}_{spot.cell[1] + left}"
    path = folder / PLACES / f"{name}.json"
    if path.exists():
        held = read_json(path)
        if held["key"] == key:
            return held["place"], False
    place, record = judged_place(judge, spot, lattice), None
    if place is not None:
        margins, cells = margins_of(judge, place, lattice)
        (folder / MARGINS).mkdir(parents=True, exist_ok=True)
        stops = tuple(f"mast at {stop:g} m" for stop in judge.study.mission.trailer.mast_stops_m)
        tags = {"place": name, "latitude": f"{spot.latitude:.6f}", "longitude": f"{spot.longitude:.6f}"}
        write_margins(folder / MARGINS / f"{name}.tif", margins, cells, stops, tags)
        record = {"name": name, **record_of(place)}
    put_json(path, {"key": key, "place": record})
    return record, True


def _finished(folder: Path) -> dict[str, Any] | None:
    """What a finished tile says; None for one that is not, or cannot be read."""
    try:
        held, facts = read_json(folder / TILE), read_json(folder / FACTS)
        if (
            (folder / SCREEN).is_file()
            and len(facts) == held["places"]
            and all((folder / MARGINS / f"{f['name']}.tif").is_file() for f in facts)
        ):
            return {"key": str(held["key"]), "places": int(held["places"])}
    except (InputError, LookupError, TypeError, ValueError):
        pass
    return None


def _tidy(folder: Path, names: set[str]) -> None:
    """Take away rasters of places that are no more."""
    if (folder / MARGINS).is_dir():
        for path in (folder / MARGINS).iterdir():
            if path.name.removesuffix(".tif") not in names:
                path.unlink()


def key_of(ground: RegionGround, tile: TileGround, job: TileJob) -> str:
    """All that a tile's places hang on: parameters, what its layers hold here, the roads that touch it."""
    study = tile.study
    said = {name: getattr(study.mission, name) for name in type(study.mission).model_fields}
    named = {name: value for name, value in said.items() if name not in (*NOT_OF_A_TILE, "base", "renamed", "layers")}
    layers = study.mission.layers
    heights = (layers.elevation_error_m, layers.highest_ground_m, layers.default_clutter)
    network = study.network
    near = network.lines_tree.query(shapely.box(*study.elevation.bounds)) if len(network) else np.empty(0, int)
    lines = network.geometry.line[np.sort(near)]
    facts: tuple[Any, ...] = (
        job.version, job.tile, ground.lattice, named, heights, study.elevation, study.obstacles, study.surface_known,
        study.cover, study.source_cell_m, study.search_ground, study.overlays, study.donors, study.beyond,
        road_cells(study), lines,
    )  # fmt: skip
    return fingerprint(facts)
