"""How much memory this computer can still give; asked before something large is made, never relied on."""

from __future__ import annotations

import math
import os
import re
import sys
from pathlib import Path

from siteplanner.errors import InputError

MB = 1_000_000  # bytes
BYTES_A_CELL = 24  # of a raster while a plan works on it, at the least: `python -m tests.benchmarks.cost`
_MEMINFO = Path("/proc/meminfo")
_GROUP = Path("/sys/fs/cgroup")  # version 2: what a container may take


def available_mb() -> float | None:
    """Memory that can be taken now without paging, MB: the least of what the system, a container and a limit of this
    process leave. None: not known here."""
    known = [v for v in (_of_the_system(), _of_the_group(), _of_the_process()) if v is not None]
    return min(known) / MB if known else None


def _of_the_system() -> float | None:
    if sys.platform == "win32":
        return _windows()
    try:
        found = re.search(r"^MemAvailable:\s+(\d+) kB", _MEMINFO.read_text("ascii"), re.M)
    except (OSError, ValueError):
        found = None
    if found:
        return 1024.0 * int(found[1])
    try:  # other systems tell only what is built in: more than that never fits
        return float(os.sysconf("SC_PHYS_PAGES")) * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return None


def _windows() -> float | None:
    import ctypes

    class Status(ctypes.Structure):
        """MEMORYSTATUSEX of the Windows API."""

        _fields_ = [
            ("length", ctypes.c_ulong),
            ("load", ctypes.c_ulong),
            *((name, ctypes.c_ulonglong) for name in ("total", "free", "pages", "pages_free", "space", "space_free")),
            ("extended", ctypes.c_ulonglong),
        ]

    status = Status()
    status.length = ctypes.sizeof(Status)
    library = getattr(ctypes, "windll", None)
    if library is None or not library.kernel32.GlobalMemoryStatusEx(ctypes.byref(status)):
        return None
    return float(status.free)


def _of_the_group() -> float | None:
    """What the container's limit leaves; files that are only held for speed count as free."""
    try:
        most = (_GROUP / "memory.max").read_text("ascii").strip()
        if most == "max":
            return None
        taken = int((_GROUP / "memory.current").read_text("ascii"))
        held = re.search(r"^inactive_file (\d+)", (_GROUP / "memory.stat").read_text("ascii"), re.M)
    except (OSError, ValueError):
        return None
    return max(float(int(most) - taken + (int(held[1]) if held else 0)), 0.0)


def _of_the_process() -> float | None:
    """What a limit on this process's address space leaves; libraries map far more than they use."""
    try:
        import resource

        soft = resource.getrlimit(resource.RLIMIT_AS)[0]
        if soft == resource.RLIM_INFINITY:
            return None
        mapped = int(Path("/proc/self/statm").read_text("ascii").split()[0]) * resource.getpagesize()
    except (ImportError, OSError, ValueError):
        return None
    return max(float(soft - mapped), 0.0)


def check_room(cells: int, cell_size_m: float) -> None:
    """Raises InputError where rasters of so many cells do not fit into the memory that is free."""
    available, need = available_mb(), cells * BYTES_A_CELL / MB
    if available is not None and need > available:
        better = math.ceil(cell_size_m * math.sqrt(need / max(0.7 * available, 1.0)))  # with something to spare
        raise InputError(
            f"The ground needed has {cells:,} cells of {cell_size_m:g} m: a plan of it takes more than "
            f"{need / 1000:.1f} GB of memory, and this computer has {available / 1000:.1f} GB free.",
            remedy=f"Set search.cell_size_m to {better} or more, or search.radius_m lower; or close other programs.",
            field="search.cell_size_m",
        )
