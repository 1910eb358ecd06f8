"""GDAL's own notes in a TIFF (tag 42112), found without GDAL: they may name other files, which GDAL would open."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Literal

from siteplanner.errors import InputError

TIFF_HEADS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")  # TIFF 6.0, section 2; BigTIFF has 43
GDAL_NOTES = 42112  # GDAL's documentation, GTiff driver: "GDAL_METADATA", XML
SUB_DIRECTORIES = 330  # TIFF supplement 1 (1995), "SubIFDs"
MAX_DIRECTORIES = 10_000
MAX_TAGS = 1_000_000  # all directories together
MAX_NOTES_BYTES = 64 << 20  # all notes together
_ONE_BYTE = (1, 2, 6, 7)  # BYTE, ASCII, SBYTE, UNDEFINED
_WIDTHS = {3: 2, 4: 4, 13: 4, 16: 8, 18: 8}  # SHORT, LONG, IFD, LONG8, IFD8


def gdal_notes(path: Path) -> Iterator[bytes]:
    """The text of every tag 42112 in a TIFF or BigTIFF of either byte order, in all of its directories.

    What lies beyond the end of the file is passed over. Raises InputError for more directories, tags or notes than any
    writer makes, and for notes of another type.
    """
    with path.open("rb") as stream:
        yield from _Walk(stream, path).notes()


class _Walk:
    """One pass through the directories of a TIFF, each visited once, within bounds however they overlap."""

    def __init__(self, stream: BinaryIO, path: Path) -> None:
        head = stream.read(16)
        self.stream, self.path, self.size = stream, path, path.stat().st_size
        self.order: Literal["little", "big"] = "little" if head[:1] == b"I" else "big"
        self.big = head[:4] in TIFF_HEADS[2:]
        self.wide = 8 if self.big else 4  # bytes of a count, an offset, and a value held in place
        self.tags = self.bytes = 0
        self.waiting = [self.number(head[8:16] if self.big else head[4:8])]

    def notes(self) -> Iterator[bytes]:
        seen: set[int] = set()
        while self.waiting:
            at = self.waiting.pop()
            if at in seen or not at:
                continue
            seen.add(at)
            if len(seen) + len(self.waiting) > MAX_DIRECTORIES:
                raise self.too_many()
            yield from self.directory(at)

    def directory(self, at: int) -> Iterator[bytes]:
        """The notes of one directory; the next one and those below it are added to `waiting`."""
        count_width, entry, wide = (8 if self.big else 2), 4 + 2 * self.wide, self.wide
        count = self.number(self.read(at, count_width))
        self.tags += count
        if self.tags > MAX_TAGS:
            raise self.odd(f"The TIFF promises more than {MAX_TAGS:,} tags.")
        table = self.read(at + count_width, count * entry + wide)
        for n in range(0, min(count * entry, len(table) - entry + 1), entry):
            tag, kind = self.number(table[n : n + 2]), self.number(table[n + 2 : n + 4])
            if tag not in (GDAL_NOTES, SUB_DIRECTORIES):
                continue
            values, held = self.number(table[n + 4 : n + 4 + wide]), table[n + 4 + wide : n + entry]
            if tag == GDAL_NOTES:
                if kind not in _ONE_BYTE:
                    raise self.odd("GDAL's notes in the TIFF are of an odd type.")
                self.bytes += values
                if self.bytes > MAX_NOTES_BYTES:
                    raise self.odd(f"GDAL's notes in the TIFF are longer than {MAX_NOTES_BYTES:,} bytes.")
                yield self.value(held, values)
            elif width := _WIDTHS.get(kind):
                if len(self.waiting) + values > MAX_DIRECTORIES:  # a directory may name as many in each of its rows
                    raise self.too_many()
                data = self.value(held, values * width)
                self.waiting += [self.number(data[k : k + width]) for k in range(0, len(data) - width + 1, width)]
        self.waiting.append(self.number(table[count * entry :]))

    def value(self, held: bytes, size: int) -> bytes:
        return held[:size] if size <= self.wide else self.read(self.number(held), size)

    def read(self, at: int, size: int) -> bytes:
        if at >= self.size:
            return b""
        self.stream.seek(at)
        return self.stream.read(size)

    def number(self, data: bytes) -> int:
        return int.from_bytes(data, self.order)

    def too_many(self) -> InputError:
        return self.odd(f"The TIFF contains more than {MAX_DIRECTORIES:,} pictures.")

    def odd(self, what: str) -> InputError:
        return InputError(what, remedy="Export it again as GeoTIFF.", file=self.path)
