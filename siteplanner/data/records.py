"""What is remembered about a file that was read: its fingerprint, CRS, unit and extent."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from pyproj import CRS

_CHUNK = 1 << 20
_FRESH_NS = 3_000_000_000  # times of the coarsest file systems are whole multiples of 2 s
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")


@dataclass(frozen=True)
class Held:
    """What a file holds, as values. `features`: `kept` of `total`, from the layers `names`. `roads`: `kept` lines of
    `total` ways, and turn `restrictions`. `cells`: `columns` x `rows` of type `number`, `cell_m` west-east and
    north-south (empty: not worked out), their `driver`, the height `datum` where the file names one. `hours`: from
    `names[0]` to `names[1]`, ISO 8601.
    """

    kind: Literal["features", "roads", "cells", "hours"]
    kept: int = 0
    total: int = 0
    names: tuple[str, ...] = ()
    shape: str = ""
    restrictions: int = 0
    columns: int = 0
    rows: int = 0
    number: str = ""
    cell_m: tuple[float, ...] = ()
    driver: str = ""
    datum: str = ""


@dataclass(frozen=True)
class InputRecord:
    """One file as it was used.

    `role` is the layer's name in the mission, `file` its bare name, `sha256` the fingerprint of its bytes,
    `crs` the CRS of the file (authority code where it has one), `unit` the unit of heights ("m", "ft",
    "us-ft", "m (assumed)"; "" for vector layers), `extent_lonlat` west, south, east, north of the whole file in
    WGS 84 degrees, `count` the features or cells kept, `held` what it holds.
    """

    role: str
    file: str
    sha256: str
    crs: str
    unit: str
    extent_lonlat: tuple[float, float, float, float]
    count: int
    held: Held


def file_set(path: Path) -> list[Path]:
    """The files that belong together: all parts of a shapefile, otherwise the file itself."""
    if path.suffix.lower() != ".shp":
        return [path]
    parts = {p.suffix.lower(): p for p in path.parent.iterdir() if p.stem == path.stem}
    return [parts[s] for s in SHAPEFILE_PARTS if s in parts] or [path]


def sha256_of(path: str | Path) -> str:
    """SHA-256 of a file as 64 hexadecimal digits, read in pieces of 1 MiB.

    A shapefile is several files: the digest then covers the parts .shp .shx .dbf .prj .cpg in this order, each
    preceded by its ending, because a changed .prj or .dbf changes what the layer says. A file that the disk says is
    unchanged is not read again; one changed a moment ago is, because a change right after could bear the same time.
    """
    files = tuple(file_set(Path(path)))
    states = tuple(state_of(part) for part in files)
    if time.time_ns() - max(max(state[-2:]) for state in states) < _FRESH_NS:
        return _digest(files)
    return _settled(files, states)


@lru_cache(maxsize=512)
def _settled(files: tuple[Path, ...], states: tuple[tuple[int, ...], ...]) -> str:
    """The digest of files in a state that any later change would alter; read once."""
    return _digest(files)


def state_of(path: Path) -> tuple[int, ...]:
    """What the disk says of a file: which it is, its size, and the times of its last changes in nanoseconds."""
    found = path.stat()
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns


def _digest(files: tuple[Path, ...]) -> str:
    digest = hashlib.sha256()
    for part in files:
        if len(files) > 1:
            digest.update(part.suffix.lower().encode())
        with part.open("rb") as stream:
            while piece := stream.read(_CHUNK):
                digest.update(piece)
    return digest.hexdigest()


def extent_words(extent: Iterable[float]) -> str:
    """West, south, east, north in degrees, for an error message."""
    west, south, east, north = extent

    def degrees(value: float, plus: str, minus: str) -> str:
        return f"{abs(value):.4f} {plus if value >= 0 else minus}"

    return (
        f"longitude {degrees(west, 'E', 'W')} to {degrees(east, 'E', 'W')}, "
        f"latitude {degrees(south, 'N', 'S')} to {degrees(north, 'N', 'S')}"
    )


def crs_name(crs: CRS) -> str:
    """A short name of a pyproj CRS: authority code where there is one, otherwise its own name."""
    authority = crs.to_authority(min_confidence=70)
    return ":".join(authority) if authority else crs.name
