"""Ways to spoil a good file, a mission's field, a table, a saved plan. Each draws from one `random.Random`: a case is
the same again for the same seed."""

from __future__ import annotations

import copy
import json
import random
import re
import struct
import zipfile
from collections.abc import Iterator
from io import BytesIO
from typing import Any, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel

from siteplanner.data.road_keys import KEYS
from siteplanner.mission import Mission

WORDS = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 10**6)
NUMBERS = ("0", "-1", "1e308", "-1e308", "1e-308", "NaN", "inf", "1e400", "9" * 400, "180.0000001", "-90", "2147483648",
           "0x10", "1,5", "", "null", "true")  # fmt: skip
TEXTS = (
    "", " ", "\x00", "\x1b]0;owned\x07", "\x9b31m", "\u202eabc", "<script>alert(1)</script>", "'; drop table x; --",
    "=1+1", "{{7*7}}", "%s%n", "../../../../etc/passwd", "/dev/zero",
    "a" * 5000, "\ud800".encode("utf-8", "replace").decode(),
    "\U0001f69b" * 50, "\u0645\u0631\u062d\u0628\u0627", "no", "yes", "NaN", "-1", "1e400", "none",
    "13'6\"", "3,5t; 4 st",
    "no @ (Nov-Apr)", "no @ (", "no @ (maxweight>1e400)",
    "no @ (00:00-99:99)", "Mo-Su 25:00", "@", ";;;;", "=", "|", ":",
)  # fmt: skip
NUMBER_IN_TEXT = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


def spoilt(data: bytes, rng: random.Random, address: str) -> bytes:
    """Bytes with one to four faults. `address`: of a host that must not be asked."""
    if data[:4] == b"PK\x03\x04" and rng.random() < 0.6:
        data = _inside_the_archive(data, rng, address)
        if rng.random() < 0.7:
            return data
    held = bytearray(data)
    ways = [_flip, _cut, _doubled, _zeroed, _swapped, _number, _word, _inserted, _addressed] * 2 + [_flip, _header]
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        if not held:
            break
        held = rng.choice(ways)(held, rng, address)
    return bytes(held)


def _flip(held: bytearray, rng: random.Random, address: str) -> bytearray:
    # headers decide more than what follows them
    span = len(held) if rng.random() < 0.7 else min(len(held), 512)
    for _ in range(rng.choice((1, 1, 2, 8, 64))):
        held[rng.randrange(span)] ^= 1 << rng.randrange(8)
    return held


def _cut(held: bytearray, rng: random.Random, address: str) -> bytearray:
    at = rng.choice((rng.randrange(len(held)), len(held) - 1 - rng.randrange(min(len(held), 64))))
    return held[: max(at, 0)]


def _doubled(held: bytearray, rng: random.Random, address: str) -> bytearray:
    if rng.random() < 0.3:
        return held + held
    a, b = sorted(rng.randrange(len(held)) for _ in range(2))
    piece = held[a : min(b, a + 20_000)]
    return held[:a] + piece * rng.choice((2, 3, 50)) + held[b:]


def _zeroed(held: bytearray, rng: random.Random, address: str) -> bytearray:
    a = rng.randrange(len(held))
    size = min(rng.choice((1, 4, 64, 4096)), len(held) - a)
    held[a : a + size] = bytes([rng.choice((0, 0xFF, rng.randrange(256)))]) * size
    return held


def _swapped(held: bytearray, rng: random.Random, address: str) -> bytearray:
    size = min(rng.choice((1, 4, 16, 256)), len(held))
    a, b = rng.randrange(len(held) - size + 1), rng.randrange(len(held) - size + 1)
    one, other = bytes(held[a : a + size]), bytes(held[b : b + size])
    held[a : a + size], held[b : b + size] = other, one
    return held


def _number(held: bytearray, rng: random.Random, address: str) -> bytearray:
    found = list(NUMBER_IN_TEXT.finditer(bytes(held[:200_000])))
    if not found:
        return held
    match = rng.choice(found)
    return held[: match.start()] + rng.choice(NUMBERS).encode() + held[match.end() :]


def _word(held: bytearray, rng: random.Random, address: str) -> bytearray:
    """A whole number of a binary header, at its ends."""
    width, code = rng.choice(((2, "H"), (4, "I"), (8, "Q")))
    span = min(len(held), rng.choice((256, 4096, len(held))))
    if span < width:
        return held
    at = rng.randrange(span - width + 1)
    value = rng.choice(WORDS) & ((1 << (8 * width)) - 1)
    held[at : at + width] = struct.pack(rng.choice("<>") + code, value)
    return held


def _inserted(held: bytearray, rng: random.Random, address: str) -> bytearray:
    at = rng.randrange(len(held))
    return held[:at] + rng.choice(TEXTS).encode("utf-8", "replace") + held[at:]


def _header(held: bytearray, rng: random.Random, address: str) -> bytearray:
    """What a file begins with decides who reads it."""
    heads = (b"\xef\xbb\xbf", b"\xff\xfe", b"II*\x00", b"PK\x03\x04", b"<?xml version='1.0' encoding='x-user'?>", b"{",
             b"<kml>",
             b"\x89HDF\r\n\x1a\n", b"CDF\x05", b"<VRTDataset>", b"SQLite format 3\x00")  # fmt: skip
    head = rng.choice(heads)
    return bytearray(head) + held if rng.random() < 0.5 else bytearray(head) + held[len(head) :]


def _addressed(held: bytearray, rng: random.Random, address: str) -> bytearray:
    """The address of a host in the place of a text of the file."""
    found = list(re.finditer(rb"[A-Za-z_./:-]{5,}", bytes(held[:100_000])))
    ways = ("{0}/a.tif", "/vsicurl/{0}/a.tif", "WFS:{0}", "<NetworkLink><Link><href>{0}</href></Link></NetworkLink>")
    said = rng.choice(ways).format(address).encode()
    if not found:
        return held + said
    match = rng.choice(found)
    return held[: match.start()] + said + held[match.end() :]


def _inside_the_archive(data: bytes, rng: random.Random, address: str) -> bytes:
    out = BytesIO()
    try:
        with zipfile.ZipFile(BytesIO(data)) as held, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
            chosen = rng.choice(held.namelist())
            for name in held.namelist():
                content = held.read(name)
                made.writestr(name, spoilt(content, rng, address) if name == chosen else content)
    except (zipfile.BadZipFile, OSError):
        return data
    return out.getvalue()


def fields(model: type[BaseModel] = Mission, above: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """(place, field) of every field of a mission, tables within tables too."""
    for name, info in model.model_fields.items():
        if info.exclude:
            continue
        inner = next((k for k in (info.annotation, *get_args(info.annotation), *_deeper(info.annotation))
                      if isinstance(k, type) and issubclass(k, BaseModel)), None)  # fmt: skip
        if inner is not None:
            yield from fields(inner, (*above, name))
        yield (*above, name), info


def _deeper(annotation: Any) -> list[Any]:
    return [inner for kind in get_args(annotation) for inner in (kind, *get_args(kind))]


def values(info: Any, rng: random.Random) -> list[Any]:
    """What to try in a field: the ends of its admitted range, beyond them, its choices, and what is of another kind."""
    tried: list[Any] = [
        -1, 0, 1, 0.5, 1e-9, -1e-9, 1e6, 1e30, 1e308, float("nan"), float("inf"), 2**63, True, None, "", "x", "5", [],
        {}, [0], [1.5, 2.5], ["a"], [[[]]], {"a": 1}, 10**400, *rng.sample(TEXTS, 2), "1979-05-27T07:32:00Z",
        "9999-12-31",
    ]  # fmt: skip
    for part in (*info.metadata, *(getattr(info.annotation, "__metadata__", ()))):
        for kind, name in ((Ge, "ge"), (Gt, "gt"), (Le, "le"), (Lt, "lt")):
            if isinstance(part, kind):
                end = getattr(part, name)
                tried += [end] * 4 + [end - 1, end + 1, end * (1 + 1e-9), end * (1 - 1e-9)]
    for inner in (info.annotation, *get_args(info.annotation)):
        if get_origin(inner) is not None and str(get_origin(inner)) == "typing.Literal":
            tried += [*get_args(inner)] * 3
    return tried


def with_field(data: dict[str, Any], place: tuple[str, ...], value: Any) -> dict[str, Any]:
    """Mission data with one field set; tables on the way are made."""
    out = copy.deepcopy(data)
    table: Any = out
    for name in place[:-1]:
        inner = table.get(name) if isinstance(table, dict) else None
        if isinstance(inner, list) and inner and isinstance(inner[0], dict):
            inner = inner[0]
        if not isinstance(inner, dict):
            inner = {}
            table[name] = inner
        table = inner
    table[place[-1]] = value
    return out


def with_tags(roads: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """A GeoJSON of roads with hostile values of keys that are read, and keys that are not."""
    out = copy.deepcopy(roads)
    names = [*KEYS, "access:conditional", "maxheight:conditional", "hazard", "x" * 300, "", "fid"]
    for feature in out["features"]:
        for _ in range(rng.choice((1, 3, 10))):
            kept = rng.choice(names)
            feature["properties"][kept] = rng.choice((*TEXTS, *NUMBERS, None, -1, 1e30, [], {"a": []}, True))
    return out


def in_json(data: Any, rng: random.Random) -> Any:
    """Plain data with one to five values replaced, taken out or of another kind."""
    out = copy.deepcopy(data)
    for _ in range(rng.choice((1, 1, 2, 5))):
        holder: Any = out
        while True:
            keys = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
            if not keys:
                break
            key = rng.choice(keys)
            inner = holder[key]
            if isinstance(inner, (dict, list)) and inner and rng.random() < 0.85:
                holder = inner
                continue
            if rng.random() < 0.25:
                del holder[key]
            else:
                holder[key] = rng.choice(
                    (None, -1, 0, 1e308, 1e-308, "x", [], {}, True, 10**30, "../x", [[1]], {"a": 1})
                )
            break
    return out


def table_text(text: str, rng: random.Random) -> str:
    """A CSV with odd cells, rows, columns or separators."""
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(rng.choice((1, 1, 3))):
        way, row = rng.randrange(6), rng.randrange(len(rows))
        if way == 0 and rows[row]:
            rows[row][rng.randrange(len(rows[row]))] = rng.choice((*TEXTS, *NUMBERS, '"', "\n"))
        elif way == 1:
            rows[row] = rows[row] * rng.choice((2, 100))
        elif way == 2:
            del rows[row]
        elif way == 3:
            rows.insert(row, list(rows[row]))
        elif way == 4:
            rng.shuffle(rows)
        else:
            rows[row] = rows[row][: rng.randrange(len(rows[row]) + 1)]
        if not rows:
            return ""
    return "\n".join(rng.choice((",", ",", ",", ";", "\t")).join(row) for row in rows)


def as_text(value: Any) -> str:
    """JSON as Python reads and writes it: NaN and infinities included."""
    return json.dumps(value, default=str)
