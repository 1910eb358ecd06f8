"""Which tests share a worker, and which start first. `bash tests/run` runs them all."""

from __future__ import annotations

import functools
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

TOGETHER = ("tests/browser/", "tests/end_to_end/")
"""Folders that one worker takes whole: the one browser and its server, the two samples that are planned once."""

settings.register_profile("suite", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")  # no test with a clock in it: a busy machine makes any example slow

GIVE_WAY = "SITEPLANNER_TESTS_GIVE_WAY"
"""Set for a run beside the browser's: its workers take only the processor time that nobody else asks for."""


def pytest_configure(config: pytest.Config) -> None:
    """To the end of the queue: the lowest priority, in a session of its own, which Linux weighs as one."""
    if not os.environ.pop(GIVE_WAY, None):
        return
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell starts what it does not wait for without it
    with suppress(OSError):
        os.setsid()
        Path("/proc/self/autogroup").write_text("19")  # sched(7)
    os.nice(19)


def pytest_runtest_setup() -> None:
    """The world's maps of rain, 100 MB of a package's own files, are read once a worker and not by every plan."""
    read = getattr(sys.modules.get("itur.utils"), "load_data_interpolator", None)
    if read is None or hasattr(read, "cache_info"):
        return
    kept = functools.cache(read)
    for name, module in list(sys.modules.items()):
        if name.startswith("itur.") and vars(module).get("load_data_interpolator") is read:
            vars(module)["load_data_interpolator"] = kept


def group(nodeid: str) -> str:
    """Tests of one group run on one worker, for their fixtures' sake: a whole folder, or a file."""
    return next((folder for folder in TOGETHER if nodeid.startswith(folder)), nodeid.partition("::")[0])


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest stories start first."""
    items.sort(key=lambda item: TOGETHER.index(g) if (g := group(item.nodeid)) in TOGETHER else len(TOGETHER))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Work goes out by `group` (xdist's own marks for that are lost on pytest 9.2)."""
    from xdist.scheduler import LoadScopeScheduling

    class ByGroup(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return group(nodeid)

    return ByGroup(config, log)
