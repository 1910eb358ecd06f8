"""What the app keeps on this computer: where, and that no other account of it can look inside.

Whoever can reach the loopback address of a computer can knock at the app, and that is every account of it. So the app
answers only below a secret name, which stands in the address that it prints and in a file of this account alone. It
stays the same from start to start: a page that is open when the program is started again finds its work.
"""

from __future__ import annotations

import os
import re
import secrets
import stat
import sys
from pathlib import Path

ASKED = "SITEPLANNER_WORK"
KEY_FILE = "address_key"
_KEY = re.compile(r"[A-Za-z0-9_-]{32,64}\Z")
FOLDER_MODE, FILE_MODE = 0o700, 0o600


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
