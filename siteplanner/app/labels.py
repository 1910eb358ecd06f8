"""Text and figures for the screen: hostile text made plain, units and coordinates as the user chose them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.constants import FOOT_M, MILE_M, POUND_KG
from siteplanner.errors import Finding, SiteplannerError
from siteplanner.outputs.words.text import clean

MARKS = re.compile(r"([!-/:-@\[-`{-~])")  # every ASCII punctuation mark: CommonMark 0.31, section 2.4


def plain(text: object) -> str:
    """Any text for a widget that reads Markdown: what is typed is what is shown, nothing is fetched or formatted.

    A backslash before an ASCII punctuation mark makes it literal (CommonMark 0.31, section 2.4 Backslash escapes).
    A line that starts with digits and a dot loses its list meaning by the same rule.
    """
    return MARKS.sub(r"\\\1", clean(text))


def error_text(error: SiteplannerError) -> tuple[str, str]:
    """(what is wrong and where, remedy), both for Markdown-reading widgets. Folders of the session are left out."""
    where = []
    if error.file:
        where.append(re.split(r"[\\/]", error.file)[-1])
    if error.field:
        where.append(f"field {error.field}")
    head = f"{', '.join(where)}: " if where else ""
    return plain(head + error.what), plain(error.remedy)


_METRIC = re.compile(r"(?<![\w.,])(\d[\d,]*(?:\.\d+)?)\s(km/h|km²|km|m/s|m|kg)(?![\w/²])(?!\s*\()")
_TO_US = {
    "km/h": (1000 / MILE_M, "mph"),
    "km²": ((1000 / MILE_M) ** 2, "sq mi"),
    "km": (1000 / MILE_M, "mi"),
    "m/s": (3600 / MILE_M, "mph"),
    "m": (1 / FOOT_M, "ft"),
    "kg": (1 / POUND_KG, "lb"),
}


@dataclass(frozen=True)
class Units:
    """How lengths, areas, masses and places are written. Angles are degrees for everyone."""

    system: Literal["metric", "US"] = "metric"
    place: Literal["degrees", "degrees and minutes", "grid reference"] = "degrees"

    @property
    def is_us(self) -> bool:
        return self.system == "US"

    @property
    def length_unit(self) -> str:
        return "ft" if self.is_us else "m"

    @property
    def mass_unit(self) -> str:
        return "lb" if self.is_us else "kg"

    def length(self, metres: float | None, digits: int = 0) -> str:
        """A length up to a few hundred metres."""
        if metres is None or not math.isfinite(metres):
            return "not known"
        return f"{self.from_m(metres):,.{digits}f} {self.length_unit}"

    def distance(self, metres: float | None) -> str:
        """A length on the map: metres or feet when short, kilometres or miles when long."""
        if metres is None or not math.isfinite(metres):
            return "not known"
        if self.is_us:
            return f"{metres / MILE_M:.1f} mi" if metres >= 0.2 * MILE_M else f"{metres / FOOT_M:,.0f} ft"
        return f"{metres / 1000:.1f} km" if metres >= 995 else f"{metres:.0f} m"

    def area(self, km2: float | None) -> str:
        """An area on the map."""
        if km2 is None or not math.isfinite(km2):
            return "not known"
        return f"{km2 / (MILE_M / 1000) ** 2:.1f} sq mi" if self.is_us else f"{km2:.1f} km²"

    def said(self, text: str) -> str:
        """A sentence of the plan; for US units each metric figure gets its twin behind it, as on the printed sheets.

        The metric figure stays: names from files can hold figures too, and a name is never changed.
        """
        return _METRIC.sub(_with_us_twin, text) if self.is_us else text

    def from_m(self, metres: float) -> float:
        return metres / FOOT_M if self.is_us else metres

    def to_m(self, value: float) -> float:
        return value * FOOT_M if self.is_us else value

    def from_kg(self, kilograms: float) -> float:
        return kilograms / POUND_KG if self.is_us else kilograms

    def to_kg(self, value: float) -> float:
        return value * POUND_KG if self.is_us else value


def _with_us_twin(match: re.Match[str]) -> str:
    figure, unit = match[1], match[2]
    factor, us = _TO_US[unit]
    decimals = len(figure.partition(".")[2]) or int(unit in ("km", "km²") and float(figure.replace(",", "")) < 100)
    return f"{match[0]} ({float(figure.replace(',', '')) * factor:,.{decimals}f} {us})"


def minutes(value: float | None) -> str:
    """Minutes in words, hours beyond sixty."""
    if value is None or not math.isfinite(value):
        return "not known"
    whole = round(value)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def degrees(value: float | None, digits: int = 1) -> str:
    """An angle; unknown is said."""
    return f"{round(value, digits) + 0.0:.{digits}f}°" if value is not None and math.isfinite(value) else "not known"


SEVERITIES = ("caution", "warning", "note")


def by_severity(findings: tuple[Finding, ...] | list[Finding]) -> list[Finding]:
    """The gravest first, otherwise in the order found."""
    return sorted(findings, key=lambda f: SEVERITIES.index(f.severity))
