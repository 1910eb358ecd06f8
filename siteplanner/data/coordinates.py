"""A place as a phone, a map or a radio gives it, read strictly: what could mean two places is refused, not guessed.

Read are decimal degrees, degrees and minutes, degrees, minutes and seconds, military grid references (MGRS, US
National Grid) and UTM with its zone and band. All of WGS 84.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from siteplanner.errors import InputError

EXAMPLES = "44.65250, -113.05240 or 44 39.150 N 113 03.144 W or 44 39 09.0 N 113 03 08.6 W or 12TUQ 37264 46397"
"""One place in the invented county, in each form."""
DEGREE_M = 111_320.0  # of latitude, on the equator of WGS 84: 6,378,137 m x pi / 180
NEAR_ENOUGH_M = 20.0  # half a step of the last figure; whole seconds (15 m) are enough, three decimals (56 m) are not
LONGEST = 120
Form = Literal["degrees", "minutes", "seconds", "grid", "utm"]
_GRID = re.compile(r"(\d{1,2})\s*([C-HJ-NP-X])\s*([A-HJ-NP-Z])\s*([A-HJ-NP-Z])\s*((?:\d\s*)*)", re.IGNORECASE)
_UTM = re.compile(
    r"(\d{1,2})\s*([C-HJ-NP-X])[\s,]+(\d{6})(\.\d+)?\s*(?:M?\s*E)?[\s,]+(\d{1,8})(\.\d+)?\s*(?:M?\s*N)?", re.IGNORECASE
)
_LABELS = re.compile(r"\b(?:latitude|longitude|lat|long|lon|lng)\b\.?\s*[:=]?", re.IGNORECASE)
_TOKEN = re.compile(r"[NSEW]|[+-]?\d+(?:\.\d+)?", re.IGNORECASE)
_MARKS = str.maketrans(
    {"\u2212": "-", "\u2013": "-", "º": "°", "˚": "°", "′": "'", "’": "'", "‘": "'", "″": '"', "”": '"', "“": '"',
     "\u00a0": " ", "\u202f": " "}
)  # fmt: skip
_ALLOWED = re.compile(r"[\d\s.,;:+\-°'\"NSEWnsew/]*")
_SIDES = {"N": "latitude", "S": "latitude", "E": "longitude", "W": "longitude"}


@dataclass(frozen=True)
class PlaceRead:
    """A place of WGS 84 in degrees. `off_m`: half a step of its last figure, to which it is known at best."""

    latitude: float
    longitude: float
    form: Form
    off_m: float


def read_place(text: str, most_off_m: float = NEAR_ENOUGH_M, field: str = "coordinates") -> PlaceRead:
    """A place out of any of the forms (EXAMPLES). Without letters the first number is the latitude; west and south
    are minus or have a letter, never both.

    `most_off_m`: how far the place may be off for want of figures. Raises InputError saying what is wrong, for a place
    off the Earth, for too few figures, and for everything that could be read in two ways.
    """
    line = " ".join(text.strip().translate(_MARKS).split())
    if not line:
        raise _wrong(text, "There are no coordinates.", field)
    if len(line) > LONGEST:
        raise _wrong(text, "This is too long for one place.", field)
    compact = _LABELS.sub(" ", line).strip()
    found = _grid(compact, field) or _utm(compact, field) or _degrees(compact, text, field)
    if found.off_m > most_off_m:
        raise InputError(
            f"{_quoted(text)} has too few figures: the place is only known to about {found.off_m:.0f} m.",
            remedy="Give degrees to five decimals, minutes to three, or both halves of a grid with five figures.",
            field=field,
        )
    return found


def _quoted(text: str) -> str:
    return repr(text.strip()[:60])


def _wrong(text: str, what: str, field: str, remedy: str = f"Write it like {EXAMPLES}.") -> InputError:
    said = f"{_quoted(text)} is not a place that is understood. " if text.strip() else ""
    return InputError(f"{said}{what}", remedy=remedy, field=field)


def _on_earth(latitude: float, longitude: float, text: str, field: str) -> None:
    if -90 <= latitude <= 90 and -180 <= longitude <= 180:
        return
    swapped = abs(latitude) <= 180 and abs(longitude) <= 90
    raise InputError(
        f"{latitude:g}, {longitude:g} is not a place on Earth.",
        remedy="Give the latitude first, then the longitude." if swapped else f"Write it like {EXAMPLES}.",
        field=field,
    )


def _grid(line: str, field: str) -> PlaceRead | None:
    """The middle of the square that a grid reference names (FGDC-STD-011-2001: figures are cut, not rounded)."""
    found = _GRID.fullmatch(line)
    if found is None:
        return None
    figures = re.sub(r"\s", "", found[5])
    if not 2 <= len(figures) <= 10 or len(figures) % 2:
        raise _wrong(
            line,
            "A grid reference has as many figures east as north.",
            field,
            "Write both halves with the same number of figures, five each.",
        )
    halves = found[5].split()
    if len(halves) == 2 and len(halves[0]) != len(halves[1]):
        raise _wrong(
            line, "Its halves differ in length.", field, "Write both halves with the same number of figures, five each."
        )
    import mgrs

    step = 10.0 ** (5 - len(figures) // 2)
    name = f"{int(found[1]):02d}{found[2]}{found[3]}{found[4]}{figures}".upper()
    try:
        zone, half, east, north = mgrs.MGRS().MGRSToUTM(name)
    except Exception:  # the library raises its own and plain kinds for squares that do not exist
        raise _wrong(line, "There is no such square.", field, "Read the letters again; I and O are not used.") from None
    # the square of 1 m is its own corner for every map: half of it would only add figures
    middle = 0.0 if step == 1.0 else step / 2
    latitude, longitude = _from_utm(int(zone), str(half) == "N", float(east) + middle, float(north) + middle)
    return PlaceRead(latitude, longitude, "grid", step / 2)


def _utm(line: str, field: str) -> PlaceRead | None:
    found = _UTM.fullmatch(line)
    if found is None:
        return None
    zone, band = int(found[1]), found[2].upper()
    if band == "S":
        raise _wrong(
            line,
            "S may be the band of 32 to 40 degrees north or the southern half.",
            field,
            "Give the grid reference with its two square letters, or degrees.",
        )
    east, north = float(found[3] + (found[4] or "")), float(found[5] + (found[6] or ""))
    if not (1 <= zone <= 60 and 100_000 <= east < 900_000 and north <= 10_000_000):
        raise _wrong(line, "Zone, easting or northing is out of range.", field)
    latitude, longitude = _from_utm(zone, band >= "N", east, north)
    if band != "N" and not _in_band(latitude, band):
        raise _wrong(line, f"That northing is not in band {band}.", field, "Read the band and the northing again.")
    return PlaceRead(latitude, longitude, "utm", 0.5)


def _in_band(latitude: float, band: str) -> bool:
    """Bands of 8 degrees from 80 S, X of 12 (NGA.SIG.0012, 2014); a minute of slack at the rims."""
    south = -80 + 8 * "CDEFGHJKLMNPQRSTUVWX".index(band)
    return south - 1 / 60 <= latitude <= south + (12 if band == "X" else 8) + 1 / 60


def _from_utm(zone: int, north_half: bool, east_m: float, north_m: float) -> tuple[float, float]:
    from pyproj import Transformer

    code = (32600 if north_half else 32700) + zone
    longitude, latitude = Transformer.from_crs(code, 4326, always_xy=True).transform(east_m, north_m)
    return float(latitude), float(longitude)


def _degrees(line: str, text: str, field: str) -> PlaceRead:
    if not _ALLOWED.fullmatch(line):
        raise _wrong(text, "It holds letters or marks that no coordinate has.", field)
    tokens = _TOKEN.findall(_with_dots(line, text, field))
    letters = [t.upper() for t in tokens if t.upper() in _SIDES]
    if len(letters) == 1:
        raise _wrong(text, "Only one half has a letter.", field, "Give N or S and E or W, or signs and no letters.")
    if len(letters) > 2:
        raise _wrong(text, "There are more than two letters.", field)
    if len(letters) == 2 and _SIDES[letters[0]] == _SIDES[letters[1]]:
        raise _wrong(text, f"Both halves are a {_SIDES[letters[0]]}.", field, "Give one latitude and one longitude.")
    one, two = _halves(tokens, text, field)
    if len(one) != len(two):
        raise _wrong(text, "Its halves are written in different ways.", field, "Write both halves in the same form.")
    values = [_angle(half, text, field) for half in (one, two)]
    if letters:
        if any(n.startswith(("-", "+")) for half in (one, two) for n in half):
            raise _wrong(
                text, "It has a sign and a letter, which could mean either side.", field, "Give one of the two only."
            )
        values = [-v if letter in "SW" else v for v, letter in zip(values, letters, strict=True)]
        if letters[0] in "EW":
            values.reverse()
            one, two = two, one
    latitude, longitude = values
    _on_earth(latitude, longitude, text, field)
    form: Form = ("degrees", "minutes", "seconds")[len(one) - 1]
    slack = [_step_deg(one), _step_deg(two) * max(math.cos(math.radians(latitude)), 0.01)]
    return PlaceRead(latitude, longitude, form, max(slack) * DEGREE_M / 2)


def _with_dots(line: str, text: str, field: str) -> str:
    """The line with decimal dots only: a comma between figures is a decimal mark where no dot stands in the line."""
    if "." in line:
        return re.sub(r"[,;]", " ", line)
    tight = len(re.findall(r"\d,\d", line))
    if tight == 1 and line.count(",") == 1:  # `44,113`: one comma can only part the two
        return line.replace(",", " ")
    if tight > 2:
        raise _wrong(text, "Its commas could be decimal marks or could part the numbers.", field)
    return re.sub(r"[,;]", " ", re.sub(r"(?<=\d),(?=\d)", ".", line))


def _halves(tokens: list[str], text: str, field: str) -> tuple[list[str], list[str]]:
    """The numbers of each half: by the letters where there are some, else the same count for both."""
    numbers = [t for t in tokens if t.upper() not in _SIDES]
    if not 2 <= len(numbers) <= 6:
        raise _wrong(text, "Two to six numbers are needed.", field)
    at = [k for k, t in enumerate(tokens) if t.upper() in _SIDES]
    if not at:
        if len(numbers) % 2:
            raise _wrong(text, "Its halves are written in different ways.", field, "Write both in the same form.")
        return numbers[: len(numbers) // 2], numbers[len(numbers) // 2 :]
    if at[0] == 0 and at[1] < len(tokens) - 1:
        return tokens[1 : at[1]], tokens[at[1] + 1 :]
    if at[1] == len(tokens) - 1 and at[0] > 0:
        return tokens[: at[0]], tokens[at[0] + 1 : at[1]]
    raise _wrong(text, "Its letters stand neither before nor behind both halves.", field)


def _angle(parts: list[str], text: str, field: str) -> float:
    if not 1 <= len(parts) <= 3:
        raise _wrong(text, "A half has one to three numbers.", field)
    if any(p.startswith(("-", "+")) for p in parts[1:]):
        raise _wrong(text, "Minutes and seconds have no sign.", field)
    if any("." in p for p in parts[:-1]):
        raise _wrong(text, "Only its last number may have decimals.", field, "Write decimals in the last number alone.")
    size = [float(p.lstrip("+-")) for p in parts]
    if any(not value < 60 for value in size[1:]):
        raise _wrong(text, "Minutes and seconds are below 60.", field, "Read the minutes and seconds again.")
    total = sum(value / 60**n for n, value in enumerate(size))
    return -total if parts[0].startswith("-") else total


def _step_deg(parts: list[str]) -> float:
    """What the last figure of a half steps by."""
    return float(10.0 ** -len(parts[-1].partition(".")[2]) / 60 ** (len(parts) - 1))
