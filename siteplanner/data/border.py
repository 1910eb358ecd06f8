"""The border of each reader: whatever its libraries throw leaves as one sentence that names the file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from siteplanner.errors import InputError, SiteplannerError


@contextmanager
def border(path: str | Path, what: str) -> Iterator[None]:
    """Turn any fault of a library inside the block into an InputError for the file; our own errors pass.

    `what`: what the file should be, e.g. `layer`. A library may throw anything at a damaged file, so nothing is left
    out but what asks the program to end.
    """
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
