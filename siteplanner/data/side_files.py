"""What a raster says about other files, read before GDAL does: GDAL opens those with any driver it has.

Such names stand in GDAL's notes (XML): in a TIFF's own tag, in the same tag of reduced copies (.ovr) and masks
(.msk) beside it, and in .aux.xml files. The XML is parsed, for a search of its bytes misses a key that is written with
character references.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from xml.parsers import expat

from siteplanner.data.tiff_tags import MAX_NOTES_BYTES, TIFF_HEADS, gdal_notes
from siteplanner.errors import InputError

_PICTURES = (".ovr", ".msk")
_ERDAS = (".aux", ".rrd")
_NOTES = ".aux.xml"
# keys by which GDAL opens another file or takes the raster for a virtual one, and what only they would hold
_NAMES_FILES = re.compile(
    r"overview_file|vrtdataset|xml:vrt|^\s*[xy]_dataset\s*$|subdataset_\d+_name|^\s*(?:\w+:)?[\"']?/vsi\w+",
    re.MULTILINE,
)
_CONTROL = bytes(32 if b < 32 and b not in (9, 10, 13) else b for b in range(256))


def check_companions(path: Path) -> None:
    """Look through a raster and the files that GDAL reads along with it.

    Raises InputError (with the file at fault) where one names other files, holds a document type, or is of another
    kind than its ending promises: GDAL would open it with any driver.
    """
    if _head(path)[:4] in TIFF_HEADS:
        _check_tiff(path, "The raster")
    for name in _companions(path):
        ending = name.name.lower()
        if not name.is_file():
            raise _odd_companion(name)
        if ending.endswith(_NOTES):
            if name.stat().st_size > MAX_NOTES_BYTES:
                raise _odd_companion(name)
            if names_files(name.read_bytes()):
                raise _odd_companion(name)
        elif ending.endswith(_PICTURES):
            if _head(name)[:4] not in TIFF_HEADS:
                raise _odd_companion(name)
            _check_tiff(name, "This companion of a raster")
        elif _head(name) != b"EHFA_HEADER_TAG":
            raise _odd_companion(name)


def names_files(notes: bytes) -> bool:
    """Whether GDAL's notes name other files, or are XML that GDAL reads more leniently than we can.

    GDAL takes the bytes as they are, whatever encoding they claim, and ends at a zero byte.
    """
    text: list[str] = []
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = False

    def start(name: str, attributes: dict[str, str]) -> None:
        text.extend(f"\n{word}\n" for word in (name, *attributes, *attributes.values()))

    def doctype(*_: object) -> None:
        raise ValueError

    parser.StartElementHandler = start
    parser.EndElementHandler = lambda name: text.append("\n")
    parser.CharacterDataHandler = text.append
    parser.StartDoctypeDeclHandler = doctype
    body = notes.removeprefix(b"\xef\xbb\xbf").split(b"\x00", 1)[0].translate(_CONTROL)
    if not body.strip():
        return False
    try:
        parser.Parse(body.decode("latin-1").encode("utf-8").lstrip(), True)
    except (expat.ExpatError, ValueError):
        return True
    return _NAMES_FILES.search("".join(text).lower()) is not None


def _companions(path: Path) -> list[Path]:
    """Files beside a raster that bear its name and an ending that GDAL follows, also one after another (.ovr.msk)."""
    stem, own = path.stem.lower() + ".", path.name
    endings = (*_PICTURES, *_ERDAS, _NOTES)
    try:
        names = os.listdir(path.parent)
    except OSError as error:
        raise InputError(f"Its folder cannot be listed ({error.strerror}).", remedy="Check the folder's permissions.",
                         file=path) from None  # fmt: skip
    return sorted(
        path.with_name(n) for n in names if n != own and n.lower().startswith(stem) and n.lower().endswith(endings)
    )


def _check_tiff(path: Path, what: str) -> None:
    if any(names_files(notes) for notes in gdal_notes(path)):
        raise InputError(
            f"{what} names files elsewhere in its GDAL metadata (tag 42112) and is refused.",
            remedy="Export it again as one GeoTIFF, without external overviews.", file=path,
        )  # fmt: skip


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(15)
    except OSError as error:
        raise InputError(f"The file cannot be read ({error.strerror}).", remedy="Check its permissions.",
                         file=path) from None  # fmt: skip


def _odd_companion(path: Path) -> InputError:
    return InputError(
        "This companion of a raster may name other files and is refused.",
        remedy="Move it away and try again.", file=path,
    )  # fmt: skip
