"""The log of a plan's folder: entries are added at its end and nothing else is ever done to it."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from siteplanner.errors import OutputError, SiteplannerError
from siteplanner.mission.log import LOG, MOST_ENTRIES, MOST_LINE, Entry, Log, entry_line, read_log
from siteplanner.outputs.words.text import csv_text
from siteplanner.planning.telling.log import COLUMNS, log_rows

try:
    import fcntl
except ImportError:  # not on every system
    fcntl = None  # type: ignore[assignment]


def log_folder(plan_file: Path) -> Path:
    """Where what follows from a plan is logged: its folder, or the one above where that is a plan's own, so that
    report, readings and what comes after stand in one log."""
    place = plan_file.absolute().parent
    return place.parent if (place.parent / "plan.json").is_file() else place


def add_entry(folder: Path, entry: Entry) -> int:
    """Write one entry at the end of the folder's log, whole or not at all; returns its number.

    One write of one line, while no other run writes: what stands there is never touched. The end of a line that a
    power cut has left half is made first. Raises OutputError: no such folder, one that cannot be written, a log that
    is full, a link in its place.
    """
    line = entry_line(entry)
    if len(line) > MOST_LINE:
        raise OutputError("This entry is too long for the log.", remedy="Write it as two entries.", file=folder / LOG)
    flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
    try:
        handle = os.open(folder / LOG, flags, 0o666)
        try:
            with _alone(handle):
                return _appended(handle, line.encode("ascii"), folder)
        finally:
            os.close(handle)
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(
            f"The log cannot be written ({error.strerror or error}); it has what it had before.",
            remedy="Name a folder that is there and that you may write to, or free space on the disk.",
            file=folder / LOG,
        ) from error


def _appended(handle: int, line: bytes, folder: Path) -> int:
    held = len(read_log(folder).lines)
    if held >= MOST_ENTRIES:
        raise OutputError(
            "The log is full.", remedy=f"Move {LOG} to another folder; the next entry starts a new one.", file=folder
        )
    size = os.fstat(handle).st_size
    broken = size > 0 and os.pread(handle, 1, size - 1) != b"\n" if hasattr(os, "pread") else False
    whole = (b"\n" if broken else b"") + line + b"\n"
    if os.write(handle, whole) != len(whole):  # the disk is full: not half an entry
        os.ftruncate(handle, size)
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    os.fsync(handle)
    return held + 1


@contextmanager
def _alone(handle: int) -> Iterator[None]:
    if fcntl is not None:
        fcntl.flock(handle, fcntl.LOCK_EX)
    yield  # closing the file lets it go


def told_by_run(folder: Path, text: str, spot: str = "", **more: Any) -> str:
    """Add what a run has done to the folder's log; '' or, where that failed, why: a run is not lost for its log."""
    now = datetime.now().astimezone().replace(microsecond=0)
    held = {"at": now, "logged_at": now, "by": "program", "kind": "done", **more}
    try:
        add_entry(folder, Entry.model_validate({**held, "text": text[:4000] or "-", "spot": spot[:200]}))
    except (SiteplannerError, ValueError) as error:
        return str(error)
    return ""


def log_csv(log: Log) -> str:
    """A row an entry, in the order of writing; lines that cannot be read as they stand."""
    return csv_text(COLUMNS, log_rows(log))
