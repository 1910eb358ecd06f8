"""SQLite files of strangers, opened to be read and for a bounded time."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

_STEPS = 100_000  # instructions of the database between two looks at their number
_MOST_LOOKS = 200


@contextmanager
def read_only(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that changes nothing; a query that does not end raises sqlite3.OperationalError."""
    base = sqlite3.connect(f"file:{quote(str(path))}?mode=ro&immutable=1", uri=True)
    looks = 0

    def look() -> bool:
        nonlocal looks
        looks += 1
        return looks > _MOST_LOOKS

    base.set_progress_handler(look, _STEPS)
    try:
        yield base
    finally:
        base.close()
