"""What computed a plan, for its record."""

from __future__ import annotations

import platform
import time

import numpy as np


def software() -> dict[str, str]:
    """Name and versions of what computed the plan."""
    from importlib.metadata import version

    return {
        "name": "siteplanner",
        "version": version("siteplanner"),
        "python": platform.python_version(),
        "numpy": np.__version__,
        "created": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
    }
