"""What the surroundings may have set or shut and the program cannot work with; put right at `import siteplanner`.

Compiled kernels need a folder that can be written, and the copies of PROJ and GDAL inside the wheels need the tables
that came with them, not those of another program.
"""

from __future__ import annotations

import ctypes
import os
import stat
import sys
import tempfile
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

_GDAL_CACHE_MB = "64"
_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3  # mallopt(3), malloc.h
_OWN_MAPPING_BYTES = 1 << 24  # from here on an array is a mapping of its own; from 1 MB a county took 12 % longer
# what a heap keeps at its end, room for a few arrays below that: by itself glibc then gives back from 128 kB on, and
# the next array takes each page anew, which took a county 2 s of the system
_KEPT_BYTES = 1 << 26
_TABLES = ("PROJ_LIB", "PROJ_DATA", "GDAL_DATA")


def ready() -> None:
    """Set what is needed in this process's environment; nothing is written but an empty folder for kernels."""
    _own_tables()
    # by itself GDAL keeps blocks of files in up to a twentieth of the machine's memory; each is read once here
    os.environ.setdefault("GDAL_CACHEMAX", _GDAL_CACHE_MB)
    _arrays_go_back()
    _a_place_for_kernels()
    os.environ.setdefault("OMP_WAIT_POLICY", "passive")  # threads without work sleep; turning, they took a third of it


def _arrays_go_back() -> None:
    """Give freed arrays back to the system at once (glibc).

    By itself glibc learns to keep blocks of up to 32 MB in its heaps, one heap a thread: a county's plan then holds
    hundreds of megabytes that nobody uses.
    """
    if sys.platform.startswith("linux"):
        with suppress(OSError, AttributeError):  # another C library
            library = ctypes.CDLL(None)
            library.mallopt(_M_MMAP_THRESHOLD, _OWN_MAPPING_BYTES)
            library.mallopt(_M_TRIM_THRESHOLD, _KEPT_BYTES)


def _own_tables() -> None:
    """Other GIS programs point these variables at their own tables, which other releases cannot read."""
    raster = find_spec("rasterio")
    if raster is None or raster.origin is None or not (Path(raster.origin).parent / "proj_data").is_dir():
        return  # not from a wheel: the system's own tables are the right ones
    for name in _TABLES:
        os.environ.pop(name, None)


def _a_place_for_kernels() -> None:
    """numba keeps compiled kernels beside the code or in the user's cache; where neither can be written it stops."""
    given = os.environ.get("NUMBA_CACHE_DIR")
    if given and _writable(Path(given)):
        return
    code = Path(__file__).parent / "core"
    if not given and (os.access(code, os.W_OK) or _writable(_users_cache())):
        return
    os.environ["NUMBA_CACHE_DIR"] = str(_temporary())


def _users_cache() -> Path:
    given = os.environ.get("XDG_CACHE_HOME")
    try:
        return Path(given) if given else Path.home() / ".cache"
    except RuntimeError:  # there is no home
        return Path(os.devnull)


def _writable(folder: Path) -> bool:
    """Whether a folder can be written, or made where it is missing."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder.is_dir() and os.access(folder, os.W_OK | os.X_OK)


def _temporary() -> Path:
    """A folder for kernels below the temporary ones, kept for the next run; only this account may write into it, for
    what lies there is run."""
    own = getattr(os, "getuid", lambda: 0)()
    folder = Path(tempfile.gettempdir()) / f"siteplanner-kernels-{own}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
        if stat.S_ISDIR(found.st_mode) and found.st_uid == own and not found.st_mode & 0o077:
            return folder
    except OSError:
        pass
    return Path(tempfile.mkdtemp(prefix="siteplanner-kernels-"))
