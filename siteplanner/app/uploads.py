"""Files on their way from a browser: large ones lie on the disk from the moment they have arrived.

The web framework keeps each file that was dropped whole in memory until its page is closed, and a folder of layers
has gigabytes. Here what is large is written down as it arrives and its memory given back; what is small stays where it
was, and a disk that takes no more costs nothing either. Whoever wants a file asks `source` or `content`; whoever has
kept it calls `let_go`.
"""

from __future__ import annotations

import ctypes
import secrets
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFileRec

from siteplanner.app.private import PassingFolder
from siteplanner.errors import InputError

SMALL_BYTES = 1 << 20
MOST_BYTES = 64 << 20  # of a file that is read whole: a report, a form, an area


class OnDisk(bytes):
    """What the framework holds in place of a large file's bytes: none of them, but as long as they are."""

    path: Path
    size: int

    def __new__(cls, path: Path, size: int) -> OnDisk:
        made = super().__new__(cls)
        made.path, made.size = path, size
        return made

    def __len__(self) -> int:
        return self.size


class Uploads(MemoryUploadedFileManager):
    """The framework's store of files that were dropped, with the large ones in a folder of this account alone."""

    def __init__(self, upload_endpoint: str) -> None:
        super().__init__(upload_endpoint)
        self._folder: PassingFolder | None = None

    def add_file(self, session_id: str, file: UploadedFileRec) -> None:
        """Take a file in; one of the same name (the framework's own) goes."""
        self.remove_file(session_id, file.file_id)
        super().add_file(session_id, self._written(file))

    def remove_file(self, session_id: str, file_id: str) -> None:
        """Forget a file, on the disk too."""
        gone = self.get_files(session_id, [file_id])
        super().remove_file(session_id, file_id)
        _unlink(gone)

    def remove_session_files(self, session_id: str) -> None:
        """Forget all files of a page that was closed."""
        gone = list(self.file_storage.get(session_id, {}).values())
        super().remove_session_files(session_id)
        _unlink(gone)

    def _written(self, file: UploadedFileRec) -> UploadedFileRec:
        if len(file.data) <= SMALL_BYTES:
            return file
        try:
            if self._folder is None:
                self._folder = PassingFolder()
            # never by a name that came with it
            path = Path(self._folder.name) / secrets.token_hex(16)
            path.write_bytes(file.data)
        except OSError:  # whoever keeps it meets the same disk, and says so on the page
            return file
        return file._replace(data=OnDisk(path, len(file.data)))


def _unlink(files: list[UploadedFileRec]) -> None:
    for file in files:
        if isinstance(file.data, OnDisk):
            with suppress(OSError):
                file.data.path.unlink(missing_ok=True)


def source(file: Any) -> bytes | Path:
    """Where the bytes of a dropped file are: on the disk, or at hand."""
    page = get_script_run_ctx()
    for held in page.uploaded_file_mgr.get_files(page.session_id, [file.file_id]) if page is not None else ():
        if isinstance(held.data, OnDisk):
            return held.data.path
    given: bytes = file.getvalue()  # shared with the framework's, while its buffer would be a copy
    return given


def content(file: Any, most: int = MOST_BYTES) -> bytes:
    """The bytes of a dropped file that is small by its kind. Raises InputError: more than `most`, or gone."""
    if file.size > most:
        raise InputError(
            f"This file has more than {most >> 20} MB, the most that is read here.",
            remedy="Choose the right file.",
            file=file.name,
        )
    held = source(file)
    if isinstance(held, bytes):
        return held
    try:
        return held.read_bytes()
    except OSError:
        raise InputError("The file can no longer be read.", remedy="Drop it again.", file=file.name) from None


def let_go(file: Any) -> None:
    """Give back what a dropped file takes, once it has been kept: the page's list still names it, its bytes go."""
    page = get_script_run_ctx()
    if page is None:
        return
    forget = getattr(page.uploaded_file_mgr, "remove_file", None)  # not every store of the framework has it
    if forget is not None:
        forget(page.session_id, file.file_id)
    file.seek(0)
    file.truncate()


def free_memory() -> None:
    """Hand what was freed back to the system, where its library keeps it for later: after large rasters were read."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None) if sys.platform.startswith("linux") else None
    if trim is not None:
        trim(0)
