"""Which tests share a worker, and which start first. `bash tests/run` runs them all."""

from __future__ import annotations

from pathlib import Path

import pytest

HERE = Path(__file__).parent
TOGETHER = ("browser", "end_to_end")
"""Folders that one worker takes whole: the one browser and its server, the two samples that are planned once."""


@pytest.hookimpl(tryfirst=True)  # xdist reads the marks in the same hook
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """With `--dist loadgroup` a file stays on one worker, for its fixtures' sake; the longest stories start first."""

    def group(item: pytest.Item) -> str:
        folder = item.path.relative_to(HERE).parts[0] if item.path.is_relative_to(HERE) else ""
        return folder if folder in TOGETHER else str(item.path)

    for item in items:
        item.add_marker(pytest.mark.xdist_group(group(item)))
    items.sort(key=lambda item: TOGETHER.index(group(item)) if group(item) in TOGETHER else len(TOGETHER))
