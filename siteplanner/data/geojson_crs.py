"""What a GeoJSON file says about its CRS, read before GDAL does: GDAL follows a CRS that is a link to another place.

`crs` is of the format of 2008 (sections 3.1 to 3.3); RFC 7946 took it away, yet files with projected coordinates live
on. GDAL takes its names in any case and, outside streams, more than strict JSON.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from siteplanner.data.grid import WGS84
from siteplanner.data.projections import horizontal
from siteplanner.errors import InputError

if TYPE_CHECKING:
    from pyproj import CRS

_PIECE = 1 << 24
_LONGEST = 1 << 16  # bytes of one CRS object, also in projjson
# "crs" in any case, each letter plain or escaped, in either kind of quotes
_KEY = re.compile(rb"""["'](?:c|\\u00[46]3)(?:r|\\u00[57]2)(?:s|\\u00[57]3)["']""", re.IGNORECASE)
_AFTER = re.compile(rb"\s*(?::\s*)?([^\s:]?)")
_REMEDY = "Export the layer again in WGS 84, or with the CRS as a name such as EPSG:32612."


def stated_crs(path: Path) -> list[dict[str, Any]]:
    """The `crs` objects of a GeoJSON file, keys in lower case, in the order of the file.

    Raises InputError where one is a link to another file or host, or cannot be read as JSON.
    """
    found: list[dict[str, Any]] = []
    with path.open("rb") as stream:
        held = stream.read(_PIECE)
        while held:
            more = stream.read(_PIECE)
            text = held + more[:_LONGEST]
            for match in _KEY.finditer(text, 0, len(held) + 32):
                if match.start() < len(held):
                    value = _value(text, match.end(), path)
                    if isinstance(value, dict):
                        found.append(value)
            held = more
    return found


def _value(text: bytes, at: int, path: Path) -> Any:
    """The value after a key that ends at `at`; None for what no reader takes for a CRS (null, words, numbers)."""
    after = _AFTER.match(text, at)
    first = after.group(1) if after else b""
    if first in (b"/", b""):  # a comment, which some readers pass over, or blanks without end
        raise _not_json(path)
    if after is None or first != b"{":
        return None
    piece = text[after.start(1) : after.start(1) + _LONGEST].decode("utf-8", "replace")
    try:
        value, _ = json.JSONDecoder(object_pairs_hook=_checked(path)).raw_decode(piece)
    except (json.JSONDecodeError, RecursionError):
        raise _not_json(path) from None
    return value


def _checked(path: Path) -> Any:
    def one(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        for key, value in pairs:
            linked = key.lower() == "type" and str(value).lower().startswith(("link", "url"))
            if linked or key.lower() in ("href", "url"):
                raise InputError("The CRS is a link to another file or host, and is not followed.", remedy=_REMEDY,
                                 file=path)  # fmt: skip
        return {key.lower(): value for key, value in pairs}

    return one


def _not_json(path: Path) -> InputError:
    return InputError("The CRS (crs) is not written as JSON.", remedy=_REMEDY, file=path)


def check_understood(path: Path, taken: CRS) -> None:
    """Raises InputError where the file names a CRS, yet GDAL took WGS 84 (`taken`) because it did not know the name."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if not taken.equals(WGS84, ignore_axis_order=True):
        return
    for said in stated_crs(path):
        inner = said.get("properties")
        inner = inner if isinstance(inner, dict) else {}
        name = inner.get("name", inner.get("code"))
        try:
            meant = CRS.from_user_input(f"EPSG:{name}" if "name" not in inner else name)
            known = horizontal(meant).equals(WGS84, ignore_axis_order=True)
        except (CRSError, TypeError, ValueError):
            known = str(name).rpartition(":")[2].upper().replace(" ", "") in ("WGS84", "CRS84")
        if not known:
            raise InputError(f"The CRS {str(name)[:60]!r} is not understood.", remedy=_REMEDY, file=path)
