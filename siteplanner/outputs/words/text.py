"""Text from files, made harmless for each place that shows it, and figures in words.

Names, tags and notes come from files that nobody vetted. Each output has one function here, and every string
that is not written in this program's own source passes through it.
"""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from siteplanner.planning.telling.units import METRIC

_PLAIN = frozenset(" .,:()/-")
_REPLACEMENT = "\ufffd"


_FORCED_DIRECTION = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _unprintable(character: str) -> bool:
    """Control characters, halves of surrogate pairs, code points that are no characters, forced directions.

    The last (Unicode Standard Annex 9, explicit formatting characters) would let a name turn the line around it.
    """
    return (
        unicodedata.category(character) in {"Cc", "Cs"}
        or (ord(character) & 0xFFFE) == 0xFFFE
        or character in _FORCED_DIRECTION
    )


def shown(value: object) -> str:
    """Any value as text for an HTML page, a JavaScript string in it, and a template compiled once more.

    Everything but letters, digits and a few harmless marks becomes a numeric entity, so quotes, brackets,
    backticks and braces reach the screen and nothing else. Control characters, forced reading directions and
    lone surrogates become the replacement character; tab and line breaks stay.
    """
    out = []
    for c in str(value):
        if c.isalnum() or c in _PLAIN:
            out.append(c)
        elif c not in "\t\n\r" and _unprintable(c):
            out.append(f"&#{ord(_REPLACEMENT)};")
        else:
            out.append(f"&#{ord(c)};")
    return "".join(out)


def named(value: object) -> str:
    """`shown`, set apart so that a name written right to left cannot turn the sentence around it."""
    return f"<bdi>{shown(value)}</bdi>"


def sentence(text: str, names: list[str]) -> str:
    """A sentence as HTML in which names written right to left are set apart, so that figures keep their place."""
    turned = {name for name in names if any(unicodedata.bidirectional(c) in {"R", "AL"} for c in name)}
    if not turned:
        return shown(text)
    parts = re.split("(" + "|".join(map(re.escape, sorted(turned, key=len, reverse=True))) + ")", text)
    return "".join(named(part) if part in turned else shown(part) for part in parts)


def clean(value: object) -> str:
    """Any value as one line of plain text: control characters, surrogates, forced directions and
    line breaks become spaces.
    """
    text = str(value)
    if not text.isprintable():  # most is, and then holds nothing of the kind (no category Zl, Zp, Cc, Cf, Cs or Cn)
        text = "".join(" " if _unprintable(c) or c in "\u2028\u2029" else c for c in text)
    return re.sub(r" {2,}", " ", text).strip()


LINKED = re.compile(r"://|www(?=\.)|@", re.IGNORECASE)  # behind these readers see an address in plain text
JOINER = "\u2060"  # word joiner: takes no room, breaks no line, and is no part of an address
_CORNERS = str.maketrans("<>", "\u2039\u203a")


def balloon(value: object) -> str:
    """Any text for the name or description of a place in KML, which a viewer reads as HTML (OGC 07-147r2,
    kml:description) and in which it makes links of addresses.

    Corner brackets become single quotation marks of the same look; a mark that nobody sees keeps an address text.
    """
    return LINKED.sub(rf"\g<0>{JOINER}", clean(value).translate(_CORNERS))


LONGEST_MESSAGE, LONGEST_WORD = 1_500, 200


def message(value: object) -> str:
    """`clean` for a line on the terminal that quotes names from files: words and lines have an end.

    What is left out is shown by an ellipsis; the end of a message stays, for there stands the remedy.
    """
    text = re.sub(rf"(\S{{{LONGEST_WORD}}})\S+", "\\1\u2026", clean(value))
    if len(text) <= LONGEST_MESSAGE:
        return text
    return f"{text[: LONGEST_MESSAGE * 2 // 3]} \u2026 {text[-LONGEST_MESSAGE // 3 :]}"


def xml_text(value: object) -> str:
    """Any value as XML 1.0 character data or attribute value (production [2] Char of XML 1.0, 5th edition)."""
    out = clean(value)
    for raw, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;"), ("'", "&apos;")):
        out = out.replace(raw, entity)
    return out


_FORMULA = re.compile(r"^\s*[=+\-@\t\r\n＝＋－＠|%]")


def csv_cell(value: object) -> object:
    """A value for a spreadsheet: numbers as they are, text that a spreadsheet would run gets an apostrophe.

    Unknown (None, NaN) is an empty cell. The first characters = + - @ tab and CR start a formula in common
    spreadsheets; their full-width twins, and the same after blanks, are treated alike.
    """
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return value
    text = str(value)
    return "'" + clean(text) if _FORMULA.match(text) else clean(text)


def csv_text(header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """A table for a spreadsheet (RFC 4180), each cell by `csv_cell`; what a row does not have is empty."""
    held = io.StringIO(newline="")
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerow([csv_cell(name) for name in header])
    writer.writerows([csv_cell(row.get(name)) for name in header] for row in rows)
    return held.getvalue()


def number_text(value: float | None, digits: int = 1, unit: str = "") -> str:
    """A figure with its unit, where there is one; unknown is said, never a number."""
    unit = "°" if unit == "deg" else unit
    return METRIC.figure(value, unit, digits).strip()


def bearing_text(bearing_deg: float | None) -> str:
    """Three figures, 000 to 359, with the degree sign."""
    return METRIC.bearing(bearing_deg)


def percent_text(share: float | None, digits: int = 0) -> str:
    """A share 0..1 as per cent; a small one is never shown as nothing, a large one never as all."""
    return METRIC.share(share, digits)
