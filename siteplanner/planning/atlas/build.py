"""The building of an atlas: tiles shared out to workers, what is finished left as it is, the head written last."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import shapely

from siteplanner.errors import InputError, OutputError, SiteplannerError
from siteplanner.mission import layer_kinds
from siteplanner.mission.layers import Layers
from siteplanner.mission.region import Region, load_region
from siteplanner.planning.atlas.folder import (
    FACTS,
    FORMAT,
    HEAD,
    ROADS,
    TILE,
    put_json,
    put_value,
    read_json,
    tile_folder,
)
from siteplanner.planning.atlas.ground import RegionGround, read_region, shared_of
from siteplanner.planning.atlas.lattice import Tile, tiles_over
from siteplanner.planning.atlas.layers import files_of
from siteplanner.planning.atlas.screen import SCREEN
from siteplanner.planning.atlas.table import write_places
from siteplanner.planning.atlas.tile import TileDone, TileJob, judged_tile
from siteplanner.planning.plan.mission_place import shared_parameters
from siteplanner.planning.study.fingerprint import fingerprint
from siteplanner.planning.study.layers import paths_of
from siteplanner.planning.workers import crew_of


@dataclass(frozen=True)
class Pace:
    """How far a building is. `left_s` None: not known yet."""

    tiles_done: int
    tiles: int
    places: int
    places_a_second: float
    left_s: float | None
    share: float


@dataclass(frozen=True)
class Built:
    """A finished atlas. `judged`: places worked out now; `tiles_before`: tiles that stood there from the same."""

    folder: Path
    tiles: int
    tiles_before: int
    places: int
    judged: int
    seconds: float
    bytes: int


def build_atlas(
    region_file: Path,
    out: Path,
    *,
    heard: Callable[[Pace], None] = lambda pace: None,
    scheduler: str | None = None,
    workers: int | None = None,
) -> Built:
    """Build an atlas of a region, or go on with one: only tiles whose inputs have changed are judged again.

    `heard` may raise `Cancelled`. Raises InputError (region, layers, scheduler), OutputError (the folder, a full disk);
    what is finished by then is kept, and the next building goes on from there.
    """
    start = time.monotonic()
    region_file, out = Path(region_file).resolve(), Path(out).resolve()
    region = load_region(region_file)
    heard(Pace(0, 0, 0, 0.0, None, 0.0))
    ground = read_region(region)
    try:
        out.mkdir(parents=True, exist_ok=True)
        put_value(out / ROADS, shared_of(ground))
    except OSError as error:
        raise _cannot_write(out, error) from error
    inputs = digest_of(region)
    jobs = _jobs(region_file, out, ground, inputs)
    done: dict[str, TileDone] = {}
    for job in jobs:
        held = _as_it_stands(job)
        if held is not None:
            done[job.tile.name] = held
    wanted = [job for job in jobs if job.tile.name not in done]
    if wanted:
        _unfinished(out)
        with crew_of(scheduler, workers, len(wanted), out) as crew:
            _run(crew, wanted, len(jobs), done, heard)
    try:
        places = _finish(region, ground, out, jobs, done)
    except OSError as error:
        raise _cannot_write(out, error) from error
    heard(Pace(len(jobs), len(jobs), places, 0.0, 0.0, 1.0))
    return Built(
        out,
        len(jobs),
        sum(one.before for one in done.values()),
        places,
        sum(one.judged for one in done.values()),
        time.monotonic() - start,
        sum(path.stat().st_size for path in out.rglob("*") if path.is_file()),
    )


def _run(crew: Any, jobs: list[TileJob], tiles: int, done: dict[str, TileDone], heard: Callable[[Pace], None]) -> None:
    """Share the tiles out. The first error is raised when it is met: it is of the layers or the disk, and of all."""
    start, before = time.monotonic(), len(done)
    shares = [0.0] * len(jobs)

    def word(number: int, stage: str, share: float) -> None:
        if number >= 0:
            shares[number] = max(shares[number], share)
        spent, part = time.monotonic() - start, sum(shares) / len(jobs)
        judged = sum(one.judged for one in done.values())
        left = spent * (1 - part) / part if part > 0.02 else None
        pace = judged / spent if spent > 0 else 0.0
        heard(Pace(len(done), tiles, judged, pace, left, (before + sum(shares)) / tiles))

    for one in crew.results(judged_tile, jobs, word):
        if one.error is not None:
            raise _told(one.error, jobs[one.number])
        done[jobs[one.number].tile.name] = one.value
        shares[one.number] = 1.0
        word(-1, "", 0.0)


def _told(error: BaseException, job: TileJob) -> BaseException:
    if isinstance(error, (SiteplannerError, KeyboardInterrupt)):
        return error
    if isinstance(error, MemoryError):
        return InputError(
            "A tile takes more memory than there is.",
            remedy="Set a smaller region.tile_m or a larger search.cell_size_m, or use fewer workers.",
            file=job.region,
            field="region.tile_m",
        )
    return SiteplannerError(
        f"The program failed in tile {job.tile.name} ({type(error).__name__}: {error}).",
        remedy="Run the same command again. If it fails again, send the files of the region to your administrator.",
    )


def _cannot_write(out: Path, error: OSError) -> OutputError:
    return OutputError(
        f"The atlas cannot be written ({error.strerror or error}); what is finished is kept.",
        remedy="Free space on the disk or choose a folder that you may write to, then run the same command.",
        file=out,
    )


def digest_of(region: Region) -> str:
    """Of all that a region is made from, files by what is in them."""
    roles = [role for role in Layers.model_fields if layer_kinds(role)]
    files = [region.mission.path(path) for role in roles for path in paths_of(region.mission, role)]
    return fingerprint((region.mission, region.extent, files, region.settlements))


def _jobs(region_file: Path, out: Path, ground: RegionGround, inputs: str) -> list[TileJob]:
    from importlib.metadata import version

    whole, cell = ground.place.whole_area, ground.lattice.cell_m
    tiles = tiles_over(whole.bounds, cell, _tile_m(region_file))
    touched = [t for t in tiles if shapely.intersects(box_of(t, cell), whole)]
    return [TileJob(region_file, out, tile, inputs, version("siteplanner")) for tile in touched]


def _tile_m(region_file: Path) -> float:
    return load_region(region_file).extent.tile_m


def box_of(tile: Tile, cell_m: float) -> shapely.Polygon:
    """A tile's ground."""
    return shapely.box(tile.left * cell_m, -tile.bottom * cell_m, tile.right * cell_m, -tile.top * cell_m)


def _as_it_stands(job: TileJob) -> TileDone | None:
    """A tile that was judged from the very files that stand there now."""
    folder = tile_folder(job.atlas, job.tile.name)
    try:
        held = read_json(folder / TILE)
        if held["inputs"] != job.inputs or not ((folder / SCREEN).is_file() and (folder / FACTS).is_file()):
            return None
        return TileDone(job.tile.name, str(held["key"]), int(held["places"]), 0, True, 0.0)
    except (InputError, LookupError, TypeError):
        return None


def _unfinished(out: Path) -> None:
    """Until all tiles are done nobody takes the atlas for finished."""
    try:
        (out / HEAD).unlink(missing_ok=True)
    except OSError as error:
        raise _cannot_write(out, error) from error


def _finish(region: Region, ground: RegionGround, out: Path, jobs: list[TileJob], done: Mapping[str, TileDone]) -> int:
    """The table of places and the head; tiles of an earlier outline are taken away."""
    names = {job.tile.name for job in jobs}
    if (out / "tiles").is_dir():
        for folder in (out / "tiles").iterdir():
            if folder.name not in names:
                shutil.rmtree(folder, ignore_errors=True)
    places = write_places(ground, out, sorted(names))
    lattice = ground.lattice
    put_json(
        out / HEAD,
        {
            "format": FORMAT,
            "name": region.mission.name,
            "mission": shared_parameters(region.mission),
            "inputs": jobs[0].inputs if jobs else "",
            "files": files_of(region.mission),
            "version": jobs[0].version if jobs else "",
            "crs": lattice.crs.to_wkt(),
            "cell_m": lattice.cell_m,
            "step": lattice.step,
            "outline": shapely.to_wkb(ground.place.whole_area, hex=True),
            "tiles": {name: done[name].key for name in sorted(names)},
            "boxes": {job.tile.name: asdict(job.tile) for job in jobs},
            "places": places,
        },
    )
    return places
