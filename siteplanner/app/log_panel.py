"""The log of the plan in hand: entries to read, one to write, the log and the page for the next shift to take along."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import style, uploads
from siteplanner.app.frame import part
from siteplanner.app.labels import Units
from siteplanner.app.report_form import number
from siteplanner.app.session import Work
from siteplanner.errors import InputError
from siteplanner.mission.incident import INCIDENT, Incident, load_incident
from siteplanner.mission.log import entry_from_dict, read_log
from siteplanner.outputs.log import add_entry, log_csv
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.records import of, text
from siteplanner.planning.telling.log import KINDS, log_lines

INCIDENT_ABOUT = (
    "Objectives, people, resources, channels and the operational period: an incident.toml, as the guide's page "
    "handover lists it. It is kept with the log."
)
NOT_KEPT = "This plan is not kept on this computer: its log is lost when the program ends. Download it."


def log_at(work: Work) -> Path:
    """Where the log of the plan in hand stands: with the plan, or in the work's own folder where that is not kept."""
    return work.kept_at if work.kept_at is not None and work.kept_at.is_dir() else Path(work.folder.name)


def log_panel(work: Work, units: Units) -> None:
    """Entries by time, the form for another, and what to take along. Raises SiteplannerError."""
    st.html(style.head("Log: who decided or saw what"))
    if work.kept_at is None:
        st.caption(NOT_KEPT)
    log = read_log(log_at(work))
    for line in log_lines(log):
        st.text(clean(line))
    with st.form(f"log_{work.edition}", clear_on_submit=True):
        who, role, kind = st.columns(3)
        name = who.text_input("Who", max_chars=120)
        position = role.text_input("Position", max_chars=120)
        chosen = kind.selectbox("Kind", list(KINDS))
        words = st.text_area("What was decided or seen", max_chars=4000)
        fuel, answers = st.columns(2)
        gauge = fuel.text_input("Fuel in the tank, percent")
        answered = answers.selectbox("Answers the open question", ["", *(str(n) for n, _ in log.open_questions)])
        if st.form_submit_button("Write it into the log"):
            now = datetime.now().astimezone().replace(microsecond=0)
            held = {"at": now, "logged_at": now, "who": name, "role": position, "kind": chosen, "text": words}
            more = {"fuel_pct": number(gauge, "fuel_pct"), "answers": int(answered) if answered else None}
            add_entry(log_at(work), entry_from_dict({**held, **more}))
            st.rerun()
    part(incident_file, work)
    table, page = st.columns(2)
    table.download_button(
        "Download the log (CSV)", log_csv(log), "log.csv", "text/csv", on_click="ignore", width="stretch", key="log_csv"
    )
    if work.plan is not None and work.plan.spots:
        page.download_button(
            "Page for the next shift",
            partial(_hand_over, work, units),
            "handover.pdf",
            "application/pdf",
            on_click="ignore",
            width="stretch",
            key="handover_pdf",
        )


def incident_file(work: Work) -> None:
    """An incident file dropped is checked and kept beside the log. Raises InputError."""
    kept = log_at(work) / INCIDENT
    with st.expander("Incident file: in use" if kept.is_file() else "Incident file: none"):
        st.caption(INCIDENT_ABOUT)
        given = st.file_uploader("Incident file", type=["toml"], key=f"incident_{work.edition}")
        if given is None or given.file_id in work.saved:
            return
        work.saved.add(given.file_id)
        staged = kept.with_name(f".new_{INCIDENT}")
        try:
            staged.write_bytes(uploads.content(given))
            load_incident(staged)
            staged.replace(kept)
        except InputError as error:
            raise error.placed(file=given.name) from None
        finally:
            staged.unlink(missing_ok=True)
        st.rerun()


def hold(work: Work, key: str, made: Any, record: Callable[[], Any]) -> bool:
    """Keep a record for the next shift, the newest last; whether it is new. `made`: what it is of; the same is written
    down once."""
    if work.papers.get(f"{key} of") is made:
        return False
    work.papers.pop(key, None)
    work.papers |= {key: record(), f"{key} of": made}
    return True


def _hand_over(work: Work, units: Units) -> bytes:
    """The page from the plan in hand, the place as it was judged last, the last readings and the last stay or move."""
    from siteplanner.outputs.hand_over import hand_over_pdf
    from siteplanner.planning.plan.hand_over import hand_over
    from siteplanner.planning.plan.papers import Papers

    plan = work.planned or work.plan
    assert plan is not None
    held = work.papers
    record, again = plan_json(plan), held.get("again")
    last = [key for key in held if key in ("built", "measured", "again")][-1:] == ["again"]
    at = "" if again is None else text(of(plan_json(held["again of"].plan), "software", "created"))
    file = log_at(work) / INCIDENT
    incident = load_incident(file) if file.is_file() else Incident()
    log = read_log(log_at(work))
    papers = Papers(
        record, held.get("built"), held.get("measured"), log, incident, again=again, again_at=at, again_is_last=last
    )
    now = datetime.now().astimezone().replace(microsecond=0)
    return hand_over_pdf(hand_over(papers, now), units, plan.mission.sheets.paper)


def plan_json(plan: Any) -> Any:
    """The plan as its plan.json says it."""
    from siteplanner.outputs.write import json_text
    from siteplanner.planning.telling.record import plan_record

    return json.loads(json_text(plan_record(plan)))
