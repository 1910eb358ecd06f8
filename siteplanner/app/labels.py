"""Text and figures for the screen: hostile text made plain, units and coordinates as the user chose them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.constants import FOOT_M, POUND_KG
from siteplanner.errors import SEVERITIES, Finding, SiteplannerError
from siteplanner.outputs.words.text import JOINER, LINKED, clean
from siteplanner.planning.telling import units

MARKS = re.compile(r"([!-/:-@\[-`{-~])")  # every ASCII punctuation mark: CommonMark 0.31, section 2.4


def plain(text: object) -> str:
    """Any text for a widget that reads Markdown: what is typed is what is shown, nothing is fetched or formatted.

    A backslash before an ASCII punctuation mark makes it literal (CommonMark 0.31, section 2.4 Backslash escapes).
    A line that starts with digits and a dot loses its list meaning by the same rule. Addresses of the web and of mail
    become links after the backslashes are gone (GitHub Flavored Markdown 0.29, section 6.9 Autolinks): a mark that
    nobody sees keeps them text.
    """
    return MARKS.sub(r"\\\1", LINKED.sub(rf"\g<0>{JOINER}", clean(text)))


def error_text(error: SiteplannerError) -> tuple[str, str]:
    """(what is wrong and where, remedy), both for Markdown-reading widgets. Folders of the session are left out."""
    where = []
    if error.file:
        where.append(re.split(r"[\\/]", error.file)[-1])
    if error.field:
        where.append(f"field {error.field}")
    head = f"{', '.join(where)}: " if where else ""
    return plain(head + error.what), plain(error.remedy)


@dataclass(frozen=True)
class Units(units.Units):
    """How figures and places are written on the pages. Angles are degrees for everyone."""

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

    def from_m(self, metres: float) -> float:
        return metres / FOOT_M if self.is_us else metres

    def to_m(self, value: float) -> float:
        return value * FOOT_M if self.is_us else value

    def from_kg(self, kilograms: float) -> float:
        return kilograms / POUND_KG if self.is_us else kilograms

    def to_kg(self, value: float) -> float:
        return value * POUND_KG if self.is_us else value


def by_severity(findings: tuple[Finding, ...] | list[Finding]) -> list[Finding]:
    """The gravest first, otherwise in the order found."""
    return sorted(findings, key=lambda f: SEVERITIES.index(f.severity))
