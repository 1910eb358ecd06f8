"""Zipped layers, unpacked without trusting the archive: no odd paths, no links, no bombs."""

from __future__ import annotations

import stat
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import NoReturn

from siteplanner.data.records import SHAPEFILE_PARTS
from siteplanner.errors import InputError

MAX_FILES = 2_000
MAX_BYTES = 4 << 30  # unpacked, all kept members together
MAX_RATIO = 200  # unpacked over packed; vector layers pack about 3 to 20 times
_PIECE = 1 << 20


def _refuse(path: Path, what: str, remedy: str = "Unpack it yourself and name the layer inside.") -> NoReturn:
    raise InputError(what, remedy=remedy, file=path)


def _members(path: Path) -> list[zipfile.ZipInfo]:
    try:
        with zipfile.ZipFile(path) as archive:
            infos = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputError(f"The archive is broken ({error}).", remedy="Copy it again.", file=path) from None
    if len(infos) > MAX_FILES:
        _refuse(path, f"The archive contains {len(infos)} files, more than {MAX_FILES}.")
    for info in infos:
        name = info.filename.replace("\\", "/")
        inside = PurePosixPath(name)
        if inside.is_absolute() or ".." in inside.parts or ":" in name or any(ord(c) < 32 for c in name):
            _refuse(path, f"The archive contains the odd path {info.filename!r:.80}.", "Do not use this archive.")
        if stat.S_ISLNK(info.external_attr >> 16):
            _refuse(path, f"The archive contains a link ({info.filename!r:.80}).", "Do not use this archive.")
        if info.flag_bits & 1:
            _refuse(path, "The archive is locked with a password.")
    return [info for info in infos if not info.is_dir()]


def unpack(path: Path, folder: Path, endings: tuple[str, ...]) -> list[Path]:
    """Unpack the members with one of the endings (lower case, with dot) into an empty folder; return them.

    Each lands in `<folder>/<number of its own folder>/<name>`, so no path of the archive is ever used on disk.
    Raises InputError for a broken or hostile archive, or if it unpacks to more than MAX_BYTES.
    """
    kept = [
        info
        for info in _members(path)
        if PurePosixPath(info.filename).suffix.lower() in endings
        and not PurePosixPath(info.filename).name.startswith("._")  # shadows that one desktop adds
    ]
    folders: dict[str, int] = {}
    written: list[Path] = []
    total = 0
    with zipfile.ZipFile(path) as archive:
        for info in kept:
            inside = PurePosixPath(info.filename.replace("\\", "/"))
            number = folders.setdefault(str(inside.parent), len(folders))
            target = folder / str(number) / inside.name
            target.parent.mkdir(exist_ok=True)
            if target.exists():
                _refuse(path, f"The archive contains {info.filename!r:.80} twice.")
            size = 0
            try:
                with archive.open(info) as source, target.open("xb") as sink:
                    while piece := source.read(_PIECE):
                        size += len(piece)
                        if total + size > MAX_BYTES or (
                            size > 16 * _PIECE and size > MAX_RATIO * max(info.compress_size, 1)
                        ):
                            _refuse(
                                path,
                                f"The archive unpacks to far more than its size ({info.filename!r:.80}).",
                                "Do not use this archive, or unpack it yourself.",
                            )
                        sink.write(piece)
            except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError) as error:
                raise InputError(
                    f"The archive is broken at {info.filename!r:.80} ({error}).", remedy="Copy it again.", file=path
                ) from None
            total += size
            written.append(target)
    return written


def unpack_shapefiles(path: Path, folder: Path) -> list[Path]:
    """The .shp files of an archive, unpacked with their parts. Raises InputError if there is none."""
    found = [p for p in unpack(path, folder, SHAPEFILE_PARTS) if p.suffix.lower() == ".shp"]
    if not found:
        _refuse(path, "The archive has no shapefile (.shp).")
    return found


def unpack_kmz(path: Path, folder: Path) -> Path:
    """The main document of a KMZ: `doc.kml`, otherwise the first .kml (OGC 07-147r2, annex C: one root)."""
    found = unpack(path, folder, (".kml",))
    if not found:
        _refuse(path, "The KMZ has no .kml document.", "Export it again.")
    return next((p for p in found if p.name.lower() == "doc.kml" and p.parent.name == found[0].parent.name), found[0])
