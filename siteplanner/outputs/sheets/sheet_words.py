"""What more than one sheet prints: a place in three formats, a finding with its remedy, names cut to a length."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_text
from siteplanner.errors import Finding
from siteplanner.outputs.sheets.fonts import NO_BREAK, name_in_text
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.units import Units

MOST_HAZARDS = 3  # nearest areas that a sheet names
UNCUT = 800  # letters: longer than any sentence of ours, in both systems too; short enough for an endless name


def named(longest: int) -> Callable[[str], str]:
    """How a name from a file is shown inside a sentence of a sheet."""
    return partial(name_in_text, longest=longest)


def point_letter(number: int) -> str:
    """Small letter of a named point, by its place in the plan from 0 on, the same on every paper: numbers are steps of
    the drive, capitals are spots."""
    return chr(ord("a") + number % 26) * (1 + number // 26)


def coordinates(latitude: float, longitude: float, reference: str) -> list[tuple[str, str]]:
    """A place in three formats (label, text), all WGS 84: decimal degrees, degrees and minutes, military grid.

    0.0001 minute is 0.2 m.
    """
    halves = degrees_minutes(latitude, longitude, decimals=4).split(", ")
    return [
        ("Degrees", f"{latitude:.6f}, {longitude:.6f}"),
        ("Minutes", ", ".join(half.replace(" ", NO_BREAK) for half in halves)),
        ("Grid", grid_text(reference)),
    ]


def finding_text(finding: Finding, units: Units, longest: int = 320) -> str:
    """A finding with its remedy on one line; what can hurt somebody is never cut."""
    words = said(finding, units)
    uncut = finding.severity == "warning"
    return name_in_text(f"{words.message} {words.remedy}".strip(), UNCUT if uncut else longest)
