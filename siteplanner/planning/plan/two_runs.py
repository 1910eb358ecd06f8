"""A folder whose files are of two runs: what says so, and that nobody reads a plan out of it.

Where a system cannot exchange folders, the files of a run are put in place one after the other. A run that is stopped
meanwhile leaves some of its own and some of the run before, each of them whole, until the next run puts it right.
"""

from __future__ import annotations

from pathlib import Path

from siteplanner.errors import InputError

NOTICE = "FILES_OF_TWO_RUNS.txt"
"""Stands in the folder from before the first file is replaced until all have arrived; whoever opens it sees it."""
_WHAT = "The files in this folder are of two runs: one was stopped while it put its files in place, or is doing so now."
_REMEDY = (
    "Wait a moment, then run the mission again into this folder: that first brings back the files of the run before."
)
WORDS = f"{_WHAT}\nDo not use any of them. {_REMEDY}\n"


def check_one_run(file: Path) -> None:
    """Raises InputError: a file that stands in a folder with files of two runs."""
    try:
        mixed = file.with_name(NOTICE).is_file()
    except (OSError, ValueError):  # whoever reads the file says what is wrong with its name
        return
    if mixed:
        raise InputError(_WHAT, remedy=_REMEDY, file=file)
