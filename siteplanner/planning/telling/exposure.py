"""What people keep from the antennas, in words: always the longer of the two sets of limits, rounded up."""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.planning.limits.keep_away import AntennaKeepAway
from siteplanner.planning.telling.units import BOTH, Units, rounded_text

PEOPLE = {"public": ("Public", "public"), "workers": ("Informed crew", "crew")}
"""People that a limit protects: as a row of the table is headed, and within a sentence."""
ANTENNAS = {"sector": "", "link": ", link antenna", "dish": ", in the dish's beam"}


def exposure_rows(antennas: Sequence[AntennaKeepAway], units: Units = BOTH) -> list[list[str]]:
    """Who and from what, the distance to keep, the limits that ask for it, share of the limit on the ground."""
    return [
        [
            f"{PEOPLE[row.people][0]}{ANTENNAS[row.antenna]}",
            units.keep(row.keep_m, 1),
            _rule(row),
            "-" if math.isnan(row.ground_share) else units.share(row.ground_share, 1),
        ]
        for row in antennas
    ]


def _rule(row: AntennaKeepAway) -> str:
    """The set of limits with the longer distance."""
    if not math.isfinite(row.keep_m):
        return "no limit known"
    return "ICNIRP 2020" if row.keep_m == row.icnirp_main_beam_m else "47 CFR 1.1310"


def exposure_line(antennas: Sequence[AntennaKeepAway], units: Units = BOTH) -> str:
    """`Keep away from the front of antennas: Public 3.3 m (11 ft); ...`, for a short message; '' for none."""
    if not antennas:
        return ""
    said = "; ".join(f"{row[0]} {row[1]}" for row in exposure_rows(antennas, units))
    return f"Keep away from the front of antennas: {said}."


def keep_m_up(antennas: Sequence[AntennaKeepAway], antenna: str, people: str = "public") -> float | None:
    """The distance to keep in metres, rounded up to a tenth, for a column of figures; None where it is not known."""
    row = next((r for r in antennas if r.antenna == antenna and r.people == people), None)
    if row is None or not math.isfinite(row.keep_m):
        return None
    return float(rounded_text(row.keep_m, 1, "up").replace(",", ""))
