"""Signal words: how grave a danger to people is, in the words of the safety-sign standards.

ANSI Z535.4-2007 section 4.14 and ISO 3864-2: DANGER will kill or badly injure if not avoided, WARNING could, CAUTION
could injure lightly, NOTICE is of equipment alone. What may only make the plan wrong is none of these: it is told
under `CHECK`, what nobody knows under `NOT_KNOWN`.
"""

from __future__ import annotations

from typing import Literal

from siteplanner.errors import Finding

SignalWord = Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
CHECK = "Check"
UNKNOWN = "Not known"

ORDER: tuple[str, ...] = ("DANGER", "WARNING", "CAUTION", "NOTICE", CHECK, UNKNOWN)
"""The gravest first."""

HURTS_EQUIPMENT = frozenset({"wind_stow", "wind_tracking"})
"""Findings of severity `caution` that harm the unit or its service, and nobody."""
NOBODY_KNOWS = frozenset({"wind_mast_not_stated", "coarse_elevation", "open_sky_bare_ground", "satellites_below_level"})
"""Findings of severity `caution` that say what the data or the mission leave open."""
TO_CHECK = frozenset(
    {
        "donor_agreement",
        "elevation_all_below_sea",
        "magnetic_caution",
        "route_not_for_through_traffic",
        "staging_no_way",
    }
)
"""Findings of severity `caution` that hold the plan, not people, in doubt."""


def signal_word(finding: Finding) -> str:
    """The word that stands before a finding: a signal word where people or the unit are in danger, else `CHECK` or
    `UNKNOWN`.

    A finding of severity `caution` can hurt somebody: WARNING, as nothing in the data shows that it surely will.
    """
    if finding.severity != "caution" or finding.code in TO_CHECK:
        return CHECK
    if finding.code in HURTS_EQUIPMENT:
        return "NOTICE"
    return UNKNOWN if finding.code in NOBODY_KNOWS else "WARNING"


def gravest_first(words: str) -> int:
    """Where a word stands in `ORDER`, for sorting."""
    return ORDER.index(words)
