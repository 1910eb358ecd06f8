"""Fingerprints of values: equal content gives an equal digest, whatever object holds it.

Arrays count by type, shape and bytes, shapes by their WKB, tables by columns and cells, frozen dataclasses and
parameters by their fields, files by what is in them. What is cached on an object beside its fields does not count.
A value of a kind that is not known here raises TypeError: whoever asks must then take it as different.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from glob import escape
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from affine import Affine
from pydantic import BaseModel
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from siteplanner.data.records import sha256_of

Put = Callable[[Any], None]
"""Takes bytes, or an array's own."""


class Digests:
    """Digests of large values, each worked out once while this object lives."""

    def __init__(self) -> None:
        self._known: dict[int, tuple[Any, str]] = {}

    def of(self, value: Any) -> str:
        """The digest of a value. Raises TypeError for a kind that is not known."""
        held = self._known.get(id(value))
        if held is not None:
            return held[1]
        digest = fingerprint(value, self._nested)
        if _large(value):
            self._known[id(value)] = (value, digest)  # the value is held too: its id stays its own
        return digest

    def _nested(self, value: Any) -> str | None:
        return self.of(value) if _large(value) else None


def _large(value: Any) -> bool:
    return is_dataclass(value) or isinstance(value, np.ndarray) or hasattr(value, "columns")


def fingerprint(value: Any, known: Callable[[Any], str | None] | None = None) -> str:
    """Digest of a value as 40 hexadecimal digits.

    `known` may answer for a value inside it. Raises TypeError for a kind that is not known.
    """
    digest = hashlib.blake2b(digest_size=20)
    _feed(value, digest.update, known, top=True)
    return digest.hexdigest()


def _feed(value: Any, put: Put, known: Callable[[Any], str | None] | None, top: bool) -> None:
    """Every value starts with its kind and says its length, so that no two values run into each other alike."""
    if value is None or isinstance(value, (bool, int, float, complex, str)):
        _word(put, type(value).__name__, value if isinstance(value, str) else repr(value))
        return
    held = None if top or known is None else known(value)
    if held is not None:
        _word(put, "known", held)
    elif isinstance(value, np.ndarray):
        _word(put, "array", f"{value.dtype} {value.shape}")
        if value.dtype == object:
            _items(value.ravel().tolist(), put, known)
        else:
            put(np.ascontiguousarray(value).reshape(-1).view(np.uint8))
    elif isinstance(value, np.generic):
        _word(put, str(value.dtype), repr(value.item()))
    elif isinstance(value, bytes):
        _word(put, "bytes", value.hex())
    elif isinstance(value, BaseGeometry):
        _word(put, "shape", shapely.to_wkb(value, hex=True))
    elif isinstance(value, CRS):
        _word(put, "crs", value.to_wkt())
    elif isinstance(value, Affine):
        _word(put, "affine", repr(tuple(value)))
    elif isinstance(value, BaseModel):
        _word(put, "model", type(value).__name__)
        _feed({name: getattr(value, name) for name in type(value).model_fields}, put, known, False)
    elif is_dataclass(value) and not isinstance(value, type):
        _word(put, "dataclass", f"{type(value).__module__}.{type(value).__qualname__}")
        for field in fields(value):
            _word(put, "field", field.name)
            _feed(getattr(value, field.name), put, known, False)
    elif isinstance(value, Mapping):
        _word(put, "mapping", str(len(value)))
        for key in sorted(value, key=repr):
            _feed(key, put, known, False)
            _feed(value[key], put, known, False)
    elif isinstance(value, (set, frozenset)):
        _word(put, "set", repr(sorted(value, key=repr)))
    elif isinstance(value, (tuple, list)):
        _word(put, "sequence", str(len(value)))
        for item in value:
            _feed(item, put, known, False)
    elif isinstance(value, Path):
        _file(value, put)
    elif type(value).__name__ in ("NAType", "NaTType"):  # what pandas says for a missing cell
        _word(put, "missing", type(value).__name__)
    elif isinstance(value, date):
        _word(put, "time", value.isoformat())
    elif hasattr(value, "columns") and hasattr(value, "dtypes"):
        _table(value, put, known)
    else:
        raise TypeError(f"no fingerprint for {type(value).__name__}")


def _word(put: Put, kind: str, text: str) -> None:
    raw = text.encode("utf-8", "surrogatepass")
    put(f"\x00{kind}:{len(raw)}:".encode())
    put(raw)


def _items(items: list[Any], put: Put, known: Callable[[Any], str | None] | None) -> None:
    if items and all(isinstance(item, BaseGeometry) for item in items):
        for raw in shapely.to_wkb(np.array(items, object)):
            put(f"{len(raw)}:".encode() + raw)
        return
    for item in items:
        _feed(item, put, known, False)


def _table(frame: Any, put: Put, known: Callable[[Any], str | None] | None) -> None:
    crs = getattr(frame, "crs", None)
    _word(put, "table", f"{len(frame)} {list(map(str, frame.columns))} {list(map(str, frame.dtypes))}")
    _feed(CRS.from_user_input(crs) if crs is not None else None, put, known, False)
    _feed(np.asarray(frame.index), put, known, False)
    for name in frame.columns:
        column = frame[name]
        values = np.asarray(column.array if hasattr(column, "geom_type") else column)
        if values.dtype.kind in "MmOSU" or str(column.dtype) in ("category", "string"):
            _items(column.tolist(), put, known)
        else:
            _feed(values, put, known, False)


_BESIDE = {
    ".shx", ".dbf", ".prj", ".cpg", ".qpj", ".tfw", ".tifw", ".tiffw", ".wld", ".blw", ".bpw", ".hdr", ".stx", ".clr",
    ".aux", ".rrd", ".aux.xml", ".ovr", ".msk", ".gpkg-wal", ".gpkg-shm", ".gpkg-journal",
}  # fmt: skip
"""Endings of files that are read along with one of the same name: parts of a shapefile, world files, GDAL's notes."""


def _file(path: Path, put: Put) -> None:
    """What is in a file and in those beside it that are read along with it. One that cannot be read is vetted, and
    told, where it is opened."""
    _word(put, "file", str(path))
    try:
        there = path.is_file()
        beside = [
            p
            for p in path.parent.glob(f"{escape(path.stem)}.*")
            if any(p.name.lower() == f"{base}{end}".lower() for base in (path.stem, path.name) for end in _BESIDE)
            and p.is_file()
        ]
    except (OSError, ValueError):  # a name longer than the system allows, or with a zero byte
        there = False
    if not there:
        _word(put, "missing", "")
        return
    for part in sorted({path, *beside}):
        try:
            digest = sha256_of(part)
        except OSError:
            digest = "unreadable"
        _word(put, "part", f"{part.name} {digest}")
