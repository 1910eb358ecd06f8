"""Which tests share a worker, and which start first. `bash tests/run` runs them all."""

from __future__ import annotations

from typing import Any

import pytest

TOGETHER = ("tests/browser/", "tests/end_to_end/")
"""Folders that one worker takes whole: the one browser and its server, the two samples that are planned once."""


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
