"""What the app keeps on this computer: where, and that no other account of it can look inside.

Whoever can reach the loopback address of a computer can knock at the app, and that is every account of it. So the app
answers only below a secret name, which stands in the address that it prints and in a file of this account alone. It
stays the same from start to start: a page that is open when the program is started again finds its work.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import stat
import sys
import tempfile
import time
from pathlib import Path

from siteplanner.data.vector_files import UNPACKED
from siteplanner.outputs.turns import lock

ASKED = "SITEPLANNER_WORK"
KEY_FILE = "address_key"
_KEY = re.compile(r"[A-Za-z0-9_-]{32,64}\Z")
FOLDER_MODE, FILE_MODE = 0o700, 0o600
PASSING = "siteplanner-app-"  # folders in the system's place for passing files: uploads, pictures of the map
CLAIM = ".claim"  # in each of them, held by the program that made it
WAY_IN = "open-"  # pages that lead the browser to the address
OLD_S = 3600.0  # no browser is still on its way after that
NEW_S = 2.0  # between a folder's making and its being held
UNPACKED_S = 24 * 3600.0


def root() -> Path:
    """The folder of all that is kept: SITEPLANNER_WORK, or the place that the system gives to programs' data."""
    asked = os.environ.get(ASKED)
    if asked:
        return Path(asked)
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "siteplanner"


def private_folder(path: Path) -> Path:
    """A folder, made if it is missing, that only this account may open. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.mkdir(mode=FOLDER_MODE, exist_ok=True)
    if path.stat().st_mode & 0o077:  # made by an earlier version, or under another mask
        path.chmod(FOLDER_MODE)
    return path


def address_key() -> str:
    """The secret name below which the app answers: of this account, made at its first start.

    Delete the file and start again for a new one. Where nothing can be kept, one for this start only.
    """
    try:
        file = private_folder(root()) / KEY_FILE
        held = _own_key(file)
        if held is None:
            held = secrets.token_urlsafe(32)
            staged = file.with_name(f".{KEY_FILE}-{os.getpid()}")
            staged.unlink(missing_ok=True)
            with os.fdopen(os.open(staged, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE), "w") as out:
                out.write(held)
            staged.replace(file)
        return held
    except (OSError, RuntimeError):  # a disk that takes nothing, or no home
        return secrets.token_urlsafe(32)


def _own_key(file: Path) -> str | None:
    """The key in a file; None where there is none that only this account can have read or written."""
    try:
        with open(file, encoding="ascii", opener=_no_link) as stream:
            found, text = os.fstat(stream.fileno()), stream.read(100)
    except (OSError, ValueError):
        return None
    if not stat.S_ISREG(found.st_mode) or not _KEY.match(text):
        return None
    if os.name != "nt" and (found.st_uid != os.getuid() or found.st_mode & 0o077):
        return None
    return text


def _no_link(name: str, flags: int) -> int:
    return os.open(name, flags | getattr(os, "O_NOFOLLOW", 0))


class PassingFolder:
    """A folder for uploads or pictures: of this account alone, gone with this program; where the program is killed, the
    next start removes it (`sweep`)."""

    def __init__(self) -> None:
        self._held = tempfile.TemporaryDirectory(prefix=PASSING)
        self.name = self._held.name
        # until the program ends, however it ends; not of the folder itself: outputs below take turns by that
        (Path(self.name) / CLAIM).mkdir()
        self._claim = lock(Path(self.name) / CLAIM, wait=False)

    def cleanup(self) -> None:
        self._held.cleanup()
        if self._claim is not None:
            os.close(self._claim)
            self._claim = None


def sweep() -> None:
    """Remove what programs that were killed have left: folders that nobody holds, pages of the way in, and what was
    unpacked of an archive (a reader holds that for minutes at most)."""
    place, now = Path(tempfile.gettempdir()), time.time()
    for folder in place.glob(f"{PASSING}*"):
        if _is_old(folder, now, NEW_S):
            claim = lock(folder / CLAIM, wait=False)
            if claim is not None or not (folder / CLAIM).is_dir():  # nobody alive holds it
                shutil.rmtree(folder, ignore_errors=True)
            if claim is not None:
                os.close(claim)
    for folder in place.glob(f"{UNPACKED}*"):
        if _is_old(folder, now, UNPACKED_S):
            shutil.rmtree(folder, ignore_errors=True)
    for page in root().glob(f"{WAY_IN}*.html"):
        try:
            if now - page.stat().st_mtime > OLD_S:
                page.unlink()
        except OSError:
            continue


def _is_old(folder: Path, now: float, least_s: float) -> bool:
    """Whether this is a folder of this account, no link, untouched for so long."""
    try:
        found = folder.lstat()
    except OSError:
        return False
    mine = os.name == "nt" or found.st_uid == os.getuid()
    return stat.S_ISDIR(found.st_mode) and mine and now - found.st_mtime > least_s
