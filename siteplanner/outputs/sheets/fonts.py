"""The fonts of the sheets, and which letters they hold: a sheet never prints an empty box without a word."""

from __future__ import annotations

import re
import struct
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from siteplanner.data.formats import local_file
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.outputs.words.text import clean

FONT_FOLDER = Path(__file__).parent / "font_files"
BUILT_IN = ("DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf")
MISSING = "\u25af"  # white vertical rectangle, which the built-in font holds
BREAK = "\u200b"  # zero-width space: where a word without blanks may break
MOST_BYTES = 64 << 20  # of one font; those of East Asian scripts have 20 to 40 MB
LONGEST = 14  # letters without a place to break; more would stand out of a narrow column
NO_BREAK, JOINER = "\u00a0", "\u2060"  # a blank, and nothing, at which no line breaks (Unicode Annex 14)
ISOLATE, POP = "\u2068", "\u2069"  # Unicode Standard Annex 9: a name keeps its direction to itself


@lru_cache(maxsize=16)
def code_points(path: Path) -> frozenset[int]:
    """Characters that a TrueType or OpenType font has a glyph for (tables `cmap`, formats 4 and 12).

    Source: ISO/IEC 14496-22, section 5.2.1. Raises InputError for a file that is no such font.
    """
    try:
        data = local_file(path).read_bytes() if path.stat().st_size <= MOST_BYTES else b""
        count = struct.unpack(">H", data[4:6])[0]
        tables = {
            data[12 + 16 * k : 16 + 16 * k]: struct.unpack(">II", data[20 + 16 * k : 28 + 16 * k]) for k in range(count)
        }
        start = tables[b"cmap"][0]
        found: set[int] = set()
        for k in range(struct.unpack(">H", data[start + 2 : start + 4])[0]):
            offset = start + struct.unpack(">I", data[start + 8 + 8 * k : start + 12 + 8 * k])[0]
            kind = struct.unpack(">H", data[offset : offset + 2])[0]
            if kind == 4:
                found |= _format_4(data, offset)
            elif kind == 12:
                groups = struct.unpack(">I", data[offset + 12 : offset + 16])[0]
                before = -1
                for g in range(groups):
                    first, last, _ = struct.unpack(">III", data[offset + 16 + 12 * g : offset + 28 + 12 * g])
                    before = _after(before, first, last)
                    found.update(range(first, min(last, 0x10FFFF) + 1))
    except (OSError, KeyError, struct.error):
        raise InputError(
            f"This is not a TrueType or OpenType font, or it has more than {MOST_BYTES >> 20} MB.",
            remedy="Name a .ttf or .otf file in sheets.extra_fonts.",
            file=path,
        ) from None
    return frozenset(found)


def _after(before: int, first: int, last: int) -> int:
    """The end of a range of characters, which must come after the one before: ranges that overlap have no end."""
    if not before < first <= last:
        raise struct.error
    return last


def extra_fonts(mission: Mission) -> tuple[Path, ...]:
    """The fonts that a mission brings, each of them usable.

    Raises InputError naming the first that is none; a sheet is printed only after everything else is done, so this is
    asked at the start as well.
    """
    from PIL import ImageFont

    paths = tuple(mission.path(name) for name in mission.sheets.extra_fonts)
    for path in paths:
        local_file(path)
        code_points(path)
        try:
            ImageFont.truetype(str(path))
        except OSError:
            raise InputError(
                "This font is damaged.", remedy="Copy it again, or name another in sheets.extra_fonts.", file=path
            ) from None
    return paths


def _format_4(data: bytes, offset: int) -> set[int]:
    size = struct.unpack(">H", data[offset + 6 : offset + 8])[0] // 2
    words = struct.unpack(f">{size}H", data[offset + 14 : offset + 14 + 2 * size])
    starts = struct.unpack(f">{size}H", data[offset + 16 + 2 * size : offset + 16 + 4 * size])
    found: set[int] = set()
    before = -1
    for first, last in zip(starts, words, strict=True):
        before = _after(before, first, last)
        found.update(range(first, last + 1))
    return found - {0xFFFF}


def held(extra: tuple[Path, ...] = ()) -> frozenset[int]:
    """Characters that can be printed in both weights, with extra fonts of the mission."""
    built_in = code_points(FONT_FOLDER / BUILT_IN[0]) & code_points(FONT_FOLDER / BUILT_IN[1])
    return built_in.union(*(code_points(path) for path in extra))


def short(name: object, longest: int = 60) -> str:
    """A name cut to a length, between two words where it has several; what is cut is shown by an ellipsis."""
    text = clean(name)
    if len(text) <= longest:
        return text
    held = text[:longest]
    whole = held.rpartition(" ")[0]
    return (whole if 2 * len(whole) >= longest else held[:-1]).rstrip(" ,;:(") + "\u2026"


UNITS = "%|km/h|km²?|m/s|mm|cm|m|ft|mi|mph|in|l|gal|t|kg|lb|US tons|min|h|kV|MHz|dBm?|[Mk]bit/s"
FIGURE = re.compile(rf"(?<=\d) (?=(?:{UNITS})(?!\w))|(?<=\d h) (?=\d\d min)")
SLASH = re.compile(r"(?<=[mt])/(?=s\b)")


def unbroken(value: Any) -> Any:
    """Plain data in which no line of text ends between a figure and its unit, nor within a unit; drawings stay."""
    if isinstance(value, str):
        return SLASH.sub(f"/{JOINER}", FIGURE.sub(NO_BREAK, value))
    if isinstance(value, dict):
        return {k: v if k.endswith("_svg") else unbroken(v) for k, v in value.items()}
    return [unbroken(item) for item in value] if isinstance(value, (list, tuple)) else value


def name_in_text(name: object, longest: int = 60) -> str:
    """A name for use inside a sentence: cut, and set apart when it is written right to left."""
    text = short(name, longest)
    turned = any(unicodedata.bidirectional(c) in {"R", "AL"} for c in text)
    return f"{ISOLATE}{text}{POP}" if turned else text


def set_apart(text: str, names: Iterable[str], longest: int = 60) -> str:
    """A sentence in which names are cut to a length and those written right to left are set apart.

    Without that, a figure or comma beside such a name would be drawn on the name's wrong side.
    """
    odd = {n for n in names if len(n) > longest or any(unicodedata.bidirectional(c) in {"R", "AL"} for c in n)}
    if not odd:
        return text
    pieces = re.split("(" + "|".join(map(re.escape, sorted(odd, key=len, reverse=True))) + ")", text)
    return "".join(name_in_text(piece, longest) if piece in odd else piece for piece in pieces)


class Printer:
    """Makes text printable with a set of characters, and remembers whether something had to be left out."""

    def __init__(self, points: frozenset[int]) -> None:
        self.points = points
        self.missing = False

    def text(self, value: str) -> str:
        """One string: letters without a glyph become MISSING, long words get places to break."""
        out: list[str] = []
        run = 0
        for c in value:
            if c in (ISOLATE, POP, BREAK):
                out.append(c)
                continue
            if ord(c) not in self.points and c not in "\n":
                if unicodedata.category(c) in {"Cf", "Mn"} and unicodedata.combining(c) == 0:
                    continue  # joiners and marks that show nothing by themselves
                self.missing = True
                c = MISSING
            run = 0 if c.isspace() or c == "-" else run + 1
            if run > LONGEST and unicodedata.combining(c) == 0:
                out.append(BREAK)
                run = 1
            out.append(c)
        return "".join(out)

    def all(self, value: Any) -> Any:
        """Every string of plain data; what stands under a key ending in `_svg` is a drawing and stays."""
        if isinstance(value, str):
            return self.text(value)
        if isinstance(value, dict):
            return {k: v if k.endswith("_svg") else self.all(v) for k, v in value.items()}
        if isinstance(value, (list, tuple)):
            return [self.all(item) for item in value]
        return value
