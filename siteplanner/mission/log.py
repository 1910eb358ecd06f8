"""The log kept with a plan's folder: one line of JSON an entry, in the order in which they were written.

Nothing is ever taken out of it. A line that cannot be read is kept, numbered and shown as it stands: it may be the only
trace of what somebody decided.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BeforeValidator, Field, ValidationError, field_validator

from siteplanner.data.plain_text import read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.parts import Part
from siteplanner.mission.search import EARLIEST, LATEST

LOG = "log.jsonl"
TOLD_BY = "`siteplanner guide handover` lists what an entry has"
MOST_LOG = 16 << 20  # bytes: years of entries typed by hand
MOST_ENTRIES = 20_000
MOST_LINE = 40_000  # letters of one entry: the longest text in six bytes a letter, with all else
Kind = Literal["decided", "seen", "done", "question"]


def _figure(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("A number is needed, not yes or no")
    return value


class Entry(Part):
    """One entry: when, who, what. What was not said is empty or None."""

    at: AwareDatetime = Field(description="When it happened, with its offset from UTC.")
    logged_at: AwareDatetime = Field(description="When it was written down.")
    by: Literal["person", "program"] = Field("person", description="Whether somebody typed it or a run added it.")
    who: str = Field("", max_length=120, description='Who decided or saw it. "": not said.')
    role: str = Field("", max_length=120, description='Position at the incident, e.g. COML. "": not said.')
    kind: Kind = Field("seen", description="decided, seen, done, or question: what is open until it is answered.")
    text: str = Field(min_length=1, max_length=4000, description="What was decided or seen, in one or two sentences.")
    spot: str = Field("", max_length=200, description='Name of the spot that it is about. "": none.')
    fuel_pct: Annotated[float, BeforeValidator(_figure)] | None = Field(
        None, ge=0, le=100, description="Fuel in the tank at that moment, by its gauge."
    )
    answers: int | None = Field(None, ge=1, le=MOST_ENTRIES, description="Number of the question that this answers.")

    @field_validator("at", "logged_at")
    @classmethod
    def _a_year_of_ours(cls, moment: datetime) -> datetime:
        if not EARLIEST <= moment.year <= LATEST:
            raise ValueError(f"The year must lie between {EARLIEST} and {LATEST}")
        return moment


@dataclass(frozen=True)
class Numbered:
    """An entry with its number, which is that of its line. `entry` None: the line cannot be read; `raw` is how it
    stands."""

    number: int
    entry: Entry | None
    raw: str = ""


@dataclass(frozen=True)
class Log:
    """All of a log, in the order of writing."""

    lines: tuple[Numbered, ...] = ()

    @property
    def entries(self) -> tuple[tuple[int, Entry], ...]:
        """(number, entry) of what can be read, by the time at which it happened."""
        held = [(line.number, line.entry) for line in self.lines if line.entry is not None]
        return tuple(sorted(held, key=lambda pair: (pair[1].at, pair[0])))

    @property
    def damaged(self) -> tuple[Numbered, ...]:
        """Lines that cannot be read."""
        return tuple(line for line in self.lines if line.entry is None)

    @property
    def open_questions(self) -> tuple[tuple[int, Entry], ...]:
        """(number, entry) of questions that no entry answers."""
        answered = {entry.answers for _, entry in self.entries}
        return tuple((n, e) for n, e in self.entries if e.kind == "question" and n not in answered)


def entry_from_dict(data: dict[str, Any]) -> Entry:
    """Check an entry. Raises InputError naming the first wrong field and the remedy."""
    try:
        return Entry.model_validate(data)
    except ValidationError as error:
        raise fault(error, Entry, data, None, TOLD_BY) from None


def entry_line(entry: Entry) -> str:
    """The entry as its line of the log, without the line's end; what was not said is left out."""
    return json.dumps(entry.model_dump(mode="json", exclude_none=True, exclude_defaults=True), ensure_ascii=True)


def read_log(folder: Path) -> Log:
    """The log of a folder; empty where there is none yet. Raises InputError: not a readable file, too large."""
    file = folder / LOG
    if not file.is_symlink() and (not file.exists() or (file.is_file() and file.stat().st_size == 0)):
        return Log()
    text = read_text(file, MOST_LOG, "A log", damaged=True)  # a bad byte costs its line, not the log
    lines = text.split("\n")  # of no other mark: a text may have them all
    if lines and not lines[-1]:
        lines.pop()
    if len(lines) > MOST_ENTRIES:
        raise InputError(
            f"A log has at most {MOST_ENTRIES} entries; this one has {len(lines)}.",
            remedy=f"Move {LOG} to another folder and start a new one.",
            file=file,
        )
    return Log(tuple(_line(number, raw) for number, raw in enumerate(lines, 1)))


def _line(number: int, raw: str) -> Numbered:
    try:
        data = json.loads(raw) if len(raw) <= MOST_LINE else None
        return Numbered(number, Entry.model_validate(data))
    except (ValueError, RecursionError):  # broken syntax, or not an entry
        return Numbered(number, None, raw[:MOST_LINE])
