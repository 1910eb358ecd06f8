"""The border of each reader: whatever its libraries throw leaves as one sentence that names the file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from siteplanner.errors import InputError, SiteplannerError

_LOG = "rasterio._env.log_error"
_told_before: Callable[..., Any] = sys.unraisablehook
_shown_before: Callable[..., Any] = sys.excepthook


def quiet_log() -> None:
    """Have the raster library's own log pass over a message that it cannot read.

    Its messages quote bytes of the file, which need not be text; it then printed a traceback beside our sentence, in
    two ways, of which the first has no place in any code.
    """
    global _told_before, _shown_before
    if sys.unraisablehook is not _told:
        _told_before, sys.unraisablehook = sys.unraisablehook, _told
    if sys.excepthook is not _shown:
        _shown_before, sys.excepthook = sys.excepthook, _shown


def _told(given: Any) -> None:
    if given.object != _LOG or not isinstance(given.exc_value, UnicodeDecodeError):
        _told_before(given)


def _shown(kind: Any, value: Any, place: Any) -> None:
    if place is not None or not isinstance(value, UnicodeDecodeError):
        _shown_before(kind, value, place)


@contextmanager
def border(path: str | Path, what: str) -> Iterator[None]:
    """Turn any fault of a library inside the block into an InputError for the file; our own errors pass.

    `what`: what the file should be, e.g. `layer`. A library may throw anything at a damaged file, so nothing is left
    out but what asks the program to end.
    """
    quiet_log()
    try:
        yield
    except SiteplannerError:
        raise
    except MemoryError:
        raise InputError(
            f"Reading this {what} takes more memory than there is.",
            remedy="Cut it to the mission's ground, or make its cells larger.",
            file=path,
        ) from None
    except Exception as error:
        if "bad_alloc" in str(error):
            raise InputError(
                f"Working out the shapes of this {what} takes more memory than there is.",
                remedy="Simplify its shapes, or leave out what does not matter here.",
                file=path,
            ) from error
        said = " ".join(str(error).split())[:200]
        raise InputError(
            f"The {what} cannot be read; it may be damaged ({type(error).__name__}: {said}).",
            remedy="Copy or export it again.",
            file=path,
        ) from error
