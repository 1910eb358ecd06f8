"""What findings say: a message and a remedy for each code, from its figures, in the reader's units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from siteplanner.errors import Finding
from siteplanner.planning.telling.findings_arrived import ARRIVED_WORDS
from siteplanner.planning.telling.findings_layers import LAYER_WORDS
from siteplanner.planning.telling.findings_leave import LEAVE_WORDS
from siteplanner.planning.telling.findings_mission import MISSION_WORDS
from siteplanner.planning.telling.findings_roads import ROAD_WORDS
from siteplanner.planning.telling.findings_search import SEARCH_WORDS
from siteplanner.planning.telling.findings_site import SITE_WORDS
from siteplanner.planning.telling.findings_spot import SPOT_WORDS
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.units import METRIC, Units

Words = Callable[[Mapping[str, Any], Units], tuple[str, str]]

WORDS: dict[str, Words] = {
    **MISSION_WORDS, **LAYER_WORDS, **ROAD_WORDS, **SEARCH_WORDS, **SITE_WORDS, **SPOT_WORDS, **LEAVE_WORDS,
    **ARRIVED_WORDS,
}  # fmt: skip
"""Code -> (message, remedy) of its facts. A code that starts with `*` stands for all that end with the rest."""


@dataclass(frozen=True)
class Said:
    """A finding in words."""

    message: str
    remedy: str


def words_for(code: str) -> Words:
    """The words of a code. Raises KeyError for a code that nobody gave words."""
    if code in WORDS:
        return WORDS[code]
    for key, words in WORDS.items():
        if key.startswith("*") and code.endswith(key[1:]):
            return words
    raise KeyError(f"no words for the finding {code}; add them in planning/telling/findings_*.py")


def said(finding: Finding, units: Units = METRIC) -> Said:
    """A finding in words. Raises KeyError for a code that nobody gave words."""
    return Said(*words_for(finding.code)(finding.facts, units))


def said_of_record(code: str, facts: Mapping[str, Any], message: str, units: Units = METRIC) -> str:
    """The message of a finding that was read from a plan.json, in the reader's units; as it is written there (metric)
    where the facts that went into the file do not say it."""
    try:
        return said(Finding(code, "note", facts=facts), units).message
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError):
        return message


def finding_record(finding: Finding) -> dict[str, Any]:
    """A finding as plain values, in words and in figures."""
    words = said(finding)
    return {
        "code": finding.code,
        "severity": finding.severity,
        "signal_word": signal_word(finding.severity),
        "message": words.message,
        "remedy": words.remedy,
        "file": finding.file,
        "facts": {k: plain for k, v in finding.facts.items() if (plain := _plain(v)) is not _NOT_PLAIN},
    }


_NOT_PLAIN = object()


def _plain(value: Any) -> Any:
    """Figures, names and rows of them; values of the house stand elsewhere in the record."""
    if isinstance(value, tuple):
        rows = [_plain(v) for v in value]
        return _NOT_PLAIN if any(v is _NOT_PLAIN for v in rows) else rows
    return value if value is None or isinstance(value, (bool, int, float, str)) else _NOT_PLAIN
