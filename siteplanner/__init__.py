"""siteplanner: where to park a towable communications trailer, how to get it there, how to raise and aim it.

The calls a script needs: `load_mission(path)`, `plan(mission, progress=None)`,
`explain(plan, latitude, longitude)`. They are imported when first used, so that `import siteplanner` stays fast.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from siteplanner import environment, no_network

if TYPE_CHECKING:
    from siteplanner.mission import load_mission
    from siteplanner.planning.plan.explain import explain
    from siteplanner.planning.plan.pipeline import plan

no_network.shut()  # first of all: before a copy of GDAL or PROJ is loaded
environment.ready()

__all__ = ["explain", "load_mission", "plan"]

_HOME = {
    "load_mission": "siteplanner.mission",
    "plan": "siteplanner.planning.plan.pipeline",
    "explain": "siteplanner.planning.plan.explain",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'siteplanner' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOME[name]), name)
