"""Rows of the GeoPackage about findings: each a row of its own, so that they can be asked for by code or spot."""

from __future__ import annotations

from typing import Any

from siteplanner.errors import Finding
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.units import Units, reader_units


def finding_rows(plan: Plan) -> list[dict[str, Any]]:
    """One row a finding: those of the plan, then each listed spot's by rank, then those of spots that fail."""
    units = reader_units(plan.mission)
    rows = [_row(f, units, "plan", None, None) for f in plan.findings]
    for ranked in plan.spots:
        rows += [_row(f, units, "spot", ranked.rank, ranked.spot.name) for f in ranked.evaluation.findings]
    for failed in plan.rejected:
        rows += [_row(f, units, "rejected spot", None, failed.spot.name) for f in failed.findings]
    return rows


def _row(finding: Finding, units: Units, about: str, rank: int | None, spot: str | None) -> dict[str, Any]:
    words = said(finding, units.first)
    return {
        "about": about,
        "rank": rank,
        "spot": None if spot is None else clean(spot),
        "code": finding.code,
        "severity": finding.severity,
        "signal_word": signal_word(finding.severity),
        "file": None if finding.file is None else clean(finding.file),
        "sentence": clean(words.message),
        "remedy": clean(words.remedy) or None,
    }
