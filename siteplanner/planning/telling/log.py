"""The log in words: as a table, and as the lines of an activity log (ICS 214)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from siteplanner.mission.incident import Incident
from siteplanner.mission.log import Entry, Log
from siteplanner.planning.telling.clock import clock_text
from siteplanner.planning.telling.units import NOT_KNOWN

COLUMNS = ("number", "at", "logged_at", "by", "who", "role", "kind", "spot", "fuel_pct", "answers", "text")
NOT_SAID = "not said"
KINDS = {"decided": "decided", "seen": "seen", "done": "done", "question": "question"}
UNREADABLE = "cannot be read"


def log_rows(log: Log) -> list[dict[str, Any]]:
    """A row a line of the log, in the order of writing; nothing is left out."""
    out: list[dict[str, Any]] = []
    for line in log.lines:
        if line.entry is None:
            out.append({"number": line.number, "kind": UNREADABLE, "text": line.raw})
        else:
            out.append({**line.entry.model_dump(mode="json"), "number": line.number})
    return out


def who_words(entry: Entry) -> str:
    """`R. Diaz, COML`; a run of this program; or that nobody said."""
    told = ", ".join(filter(None, (entry.who, entry.role)))
    if told:
        return told
    return "siteplanner" if entry.by == "program" else NOT_SAID


def entry_words(number: int, entry: Entry, questions: Sequence[int] = ()) -> str:
    """One entry on a line. `questions`: numbers of those that are open."""
    about = f" (spot {entry.spot})" if entry.spot else ""
    late = "" if entry.at == entry.logged_at else f"; written down {clock_text(entry.logged_at)}"
    fuel = "" if entry.fuel_pct is None else f" Fuel {entry.fuel_pct:.0f} %."
    answer = "" if entry.answers is None else f" Answers {entry.answers}."
    still = " OPEN." if number in questions else ""
    kind = KINDS[entry.kind]
    return (
        f"{number}. {clock_text(entry.at)}, {who_words(entry)}, {kind}{about}: {entry.text}{fuel}{answer}{still}{late}"
    )


def log_lines(log: Log) -> list[str]:
    """Every entry on a line, by the time at which it happened; then what cannot be read."""
    still = [number for number, _ in log.open_questions]
    out = [entry_words(number, entry, still) for number, entry in log.entries]
    out += [f"{line.number}. {UNREADABLE}: {line.raw}" for line in log.damaged]
    return out


def written_words(number: int, file: str) -> str:
    """What is said when an entry stands in the log."""
    return f"Written as entry {number} into {file}"


def moment(at: datetime | None) -> str:
    """A moment of a form; blank where nobody stated it."""
    return NOT_KNOWN if at is None else clock_text(at)


def period_words(incident: Incident) -> str:
    """`Mon 01 Jun 06:00 (-06:00) to Mon 01 Jun 18:00 (-06:00)`."""
    if incident.period_from is None and incident.period_to is None:
        return NOT_KNOWN
    return f"{moment(incident.period_from)} to {moment(incident.period_to)}"


def activity_log_lines(log: Log, incident: Incident, name: str, prepared_at: datetime) -> list[str]:
    """The log with the blocks of ICS 214 around it. `name`: of the mission, where the incident file has none."""
    people = [", ".join(filter(None, (p.name, p.position, p.agency))) for p in incident.people]
    return [
        f"1. Incident name: {incident.name or name or NOT_KNOWN}",
        f"2. Operational period: {period_words(incident)}",
        f"3. Name (unit): {incident.unit or NOT_KNOWN}",
        f"4. ICS position: {incident.position or NOT_KNOWN}",
        f"5. Home agency (and unit): {incident.agency or NOT_KNOWN}",
        f"6. Resources assigned: {'; '.join(people) or NOT_KNOWN}",
        "7. Activity log (number, date and time, who, notable activity):",
        *[f"   {line}" for line in log_lines(log)],
        f"8. Prepared by: {prepared_words(incident)}; signature: ____________; {clock_text(prepared_at)}",
    ]


def prepared_words(incident: Incident) -> str:
    """Who made the form."""
    return ", ".join(filter(None, (incident.prepared_by, incident.prepared_position))) or NOT_KNOWN
