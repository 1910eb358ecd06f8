"""How the suite is shared out between two workers."""

from __future__ import annotations

import pytest


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """One worker takes a whole file, and the whole of end_to_end, whose tests share one planned county."""
    for item in items:
        together = "end_to_end" if "end_to_end" in item.path.parts else str(item.path)
        item.add_marker(pytest.mark.xdist_group(together))
