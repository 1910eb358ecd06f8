"""A sentence that says what can hurt somebody reaches its reader whole."""

from __future__ import annotations

from siteplanner.errors import Finding
from siteplanner.outputs.sheets.sheet_words import finding_text
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.units import BOTH

BESIDE = {
    "name": "Flood, high water expected", "running_m": 1900.0, "length_m": 8500.0, "across_m": 13.0, "up_m": 0.7,
    "drive_m": 12800.0, "bridges": 3,
}  # fmt: skip


def test_a_warning_is_not_cut_and_a_note_may_be():
    warning = Finding("hazard_beside_drive", "warning", facts=BESIDE)
    text = finding_text(warning, BOTH)
    assert len(text) > 260  # the length at which it was cut, in the middle of who says that the way is lost
    assert text.endswith(said(warning, BOTH).remedy)
    note = Finding("hazard_beside_drive", "note", facts={**BESIDE, "name": "Flood, high water expected, " * 4})
    told = said(note, BOTH)
    cut = finding_text(note, BOTH)  # cut at 320: room for what a slope that is not known asks for
    assert cut.endswith("…")
    assert 300 < len(cut) <= 320
    assert f"{cut[:-1]} " in f"{told.message} {told.remedy}"  # between two words
