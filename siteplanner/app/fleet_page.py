"""The fleet: which unit can go, what is due, and a take-down that closes a call."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import intake, style, uploads
from siteplanner.app.frame import part, units_now, work_now
from siteplanner.app.labels import Units
from siteplanner.app.session import Work
from siteplanner.errors import InputError
from siteplanner.mission.fleet import Fleet, TakeDown, load_fleet, load_take_down
from siteplanner.mission.readiness import Ready, UnitReady, closed, ready
from siteplanner.outputs.words.text import named
from siteplanner.planning.telling import readiness as telling

ABOUT = "Drop the fleet file, and the take-down record of a unit that is home again. The guide's page ready lists both."
HEAD = ("Unit", "", "Stops it or to check", "Due")
DUTIES = ("What", "State", "Figure")
FLEET, TAKE_DOWN = "fleet", "take_down"


def page() -> None:
    """Files in, the table, files out."""
    work, units = work_now(), units_now()
    st.html(style.head("Which unit can go"))
    st.caption(ABOUT)
    left, middle, right = st.columns(3, gap="medium")
    sent = left.file_uploader("Fleet file", type=["toml", "json"], key="fleet_file")
    record = middle.file_uploader("Take-down record", type=["toml", "json"], key="take_down_file")
    on = right.date_input("On the day", date.today(), key="fleet_day")
    for key, given in ((FLEET, sent), (TAKE_DOWN, record)):
        if given is not None and given.file_id not in work.saved:
            work.saved.add(given.file_id)
            work.papers[key] = intake.save(given.name, uploads.content(given), work.files)
    if FLEET in work.papers:
        part(table, work, on, units)


def table(work: Work, on: Any, units: Units) -> None:
    """What the files say on a day. Raises InputError for a file that is none."""
    if not isinstance(on, date):
        raise InputError("No day is chosen.", remedy="Choose one.", field="On the day")
    file: Path = work.papers[FLEET]
    fleet, taken = load_fleet(file), None
    if TAKE_DOWN in work.papers:
        taken = load_take_down(work.papers[TAKE_DOWN])
        fleet = closed(fleet, taken, str(work.papers[TAKE_DOWN]))
    found = ready(fleet, on)
    none = "" if any(u.verdict == "can_go" for u in found.units) else " none"
    st.html(
        f'<div class="sp-answer{none}"><p class="say">{named(telling.headline(found))}</p></div>'
        + style.table([tuple(row) for row in telling.unit_rows(found)], HEAD)
    )
    for unit in found.units:
        _duties(unit, units)
    _take_along(found, fleet, taken, file.name, units)


def _duties(unit: UnitReady, units: Units) -> None:
    rows = [tuple(row) for row in telling.duty_rows(unit, units)]
    st.html(style.head(unit.unit.name) + style.table(rows, DUTIES))


def _take_along(found: Ready, fleet: Fleet, taken: TakeDown | None, name: str, units: Units) -> None:
    page_, new = st.columns(2)
    page_.download_button(
        "Page of the fleet", partial(_pdf, found, units), "ready.pdf", "application/pdf", on_click="ignore",
        width="stretch", key="ready_pdf",
    )  # fmt: skip
    if taken is None:
        return
    new.download_button(
        "New fleet file with the take-down", partial(_text, fleet, name), name, "application/toml", on_click="ignore",
        width="stretch", key="new_fleet", type="primary",
    )  # fmt: skip
    new.caption("Put it in the old one's place.")


def _pdf(found: Ready, units: Units) -> bytes:
    from siteplanner.outputs.ready import ready_pdf

    return ready_pdf(found, "us" if units.is_us else "metric")


def _text(fleet: Fleet, name: str) -> str:
    from siteplanner.outputs.ready import fleet_text

    return fleet_text(fleet, as_json=name.endswith(".json"))
