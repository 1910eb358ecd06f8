"""A file tried in a process of its own first, under limits of memory and time: for readers that cannot be bounded."""

from __future__ import annotations

import subprocess
import sys
from functools import lru_cache
from pathlib import Path

from siteplanner.errors import InputError

MOST_MEMORY = 3 << 30  # bytes of address space
MOST_HELD = 1 << 20  # kB in use after a mere opening: a library may meet the end of its memory without dying of it
MOST_SECONDS = 30  # of processor time; waiting is allowed three times as long

_OPEN = """
import sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[3]),) * 2)
    resource.setrlimit(resource.RLIMIT_CPU, (int(sys.argv[4]),) * 2)
except ImportError:
    pass
import siteplanner
import rasterio
try:
    with rasterio.open(sys.argv[1], driver=sys.argv[2]) as d:
        d.subdatasets, d.tags()
except rasterio.errors.RasterioError:
    pass
try:
    with open("/proc/self/status") as held:  # where there is no such file the limits above must do
        most = next(int(line.split()[1]) for line in held if line.startswith("VmHWM:"))
except (OSError, StopIteration):
    most = 0
sys.exit(most > int(sys.argv[5]))
"""


def check_opens(path: Path, driver: str) -> None:
    """Raises InputError for a raster whose own reader runs out of memory or time as soon as it is opened.

    What the reader merely refuses is left to whoever opens it next.
    """
    found = path.stat()
    if not _opens(str(path), driver, found.st_mtime_ns, found.st_size):
        raise InputError(
            "The file cannot be opened within the memory and time that such a file needs; it is damaged or built to "
            "do harm.",
            remedy="Export the ground elevation as one GeoTIFF.",
            file=path,
        )


@lru_cache(maxsize=64)
def _opens(path: str, driver: str, changed_ns: int, size: int) -> bool:
    command = [sys.executable, "-c", _OPEN, path, driver, str(MOST_MEMORY), str(MOST_SECONDS), str(MOST_HELD)]
    try:
        done = subprocess.run(command, capture_output=True, timeout=3 * MOST_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0
