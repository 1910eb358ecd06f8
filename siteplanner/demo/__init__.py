"""Sample missions: an invented county, and invented roads on real hills."""

from __future__ import annotations

import os
import sys
from pathlib import Path

SAMPLES: dict[str, str] = {
    "dunmarrow_county": "An invented mountain county: flood in the main valley, search in a side valley.",
    "real_hills": "Real heights in degrees, invented roads; layers in many formats and coordinate systems.",
}


def cache_folder() -> Path:
    """Where samples are built when the package came without data_samples."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    return base / "siteplanner"


def sample_mission(name: str = "dunmarrow_county") -> Path:
    """The mission file of a sample.

    In a clone it lies in `data_samples` beside the package; otherwise it is built once, for about a minute,
    in the user's cache folder (`real_hills` then needs matplotlib). Raises KeyError for a name that is not in
    `SAMPLES`.
    """
    if name not in SAMPLES:
        raise KeyError(f"{name!r} is not a sample; there are {', '.join(SAMPLES)}")
    committed = Path(__file__).parents[2] / "data_samples" / name / "mission.toml"
    if committed.is_file():
        return committed
    from importlib.metadata import version

    built = cache_folder() / f"samples-{version('siteplanner')}" / name / "mission.toml"
    if not built.is_file():
        if name == "real_hills":
            from siteplanner.demo.real_hills import build
        else:
            from siteplanner.demo.build import build

        build(built.parent)
    return built
