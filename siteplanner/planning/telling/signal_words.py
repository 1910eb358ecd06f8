"""Signal words: how grave a danger to people is, in the words of the safety-sign standards.

ANSI Z535.4-2007 section 4.14 and ISO 3864-2: DANGER will kill or badly injure if not avoided, WARNING could, CAUTION
could injure lightly, NOTICE is of equipment alone. What may only make the plan wrong is none of these: it is told
under `Check`, what nobody knows under `Not known`, what was repaired or is worth knowing under `Note`. Every sheet,
map, page, file and spoken text has its word from here.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from siteplanner.errors import SEVERITIES, Finding, Severity

SignalWord = Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
CHECK = "Check"
UNKNOWN = "Not known"
NOTE = "Note"

ORDER: tuple[str, ...] = ("DANGER", "WARNING", "CAUTION", "NOTICE", CHECK, UNKNOWN, NOTE)
"""The gravest first."""

WORDS: dict[Severity, str] = {
    "warning": "WARNING",  # nothing in the data shows that it surely will kill: that would be DANGER
    "notice": "NOTICE",
    "check": CHECK,
    "unknown": UNKNOWN,
    "note": NOTE,
}


def signal_word(severity: Severity) -> str:
    """The word that stands before a finding or a hazard of this severity."""
    return WORDS[severity]


def under(severity: Severity, text: str) -> str:
    """`text` behind its word; a note needs none."""
    return text if severity == "note" else f"{signal_word(severity)}: {text}"


def by_gravity(findings: Iterable[Finding]) -> list[Finding]:
    """The gravest first, otherwise in the order found."""
    return sorted(findings, key=lambda f: SEVERITIES.index(f.severity))


def gravest_first(words: str) -> int:
    """Where a word stands in `ORDER`, for sorting."""
    return ORDER.index(words)
