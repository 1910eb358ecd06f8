"""Progress and cancelling: one callable, called often, that may raise `Cancelled`."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TypeVar

T = TypeVar("T")

Progress = Callable[[str, float], None]
"""Called with a stage in plain words and the overall share done, 0..1. Raise `Cancelled` in it to stop."""

# Rough share of the work, so that the bar moves evenly; measured once on the demo, not a promise.
SHARES = {
    "Reading layers": 0.12,
    "Building the road network": 0.08,
    "Measuring slope": 0.03,
    "Checking the view of the satellite": 0.17,
    "Finding ways over ground": 0.06,
    "Preparing (first run only)": 0.0,
    "Tracing where water runs": 0.02,
    "Choosing candidate spots": 0.02,
    "Evaluating spots": 0.36,
    "Ranking": 0.12,
    "Choosing places for several trailers": 0.02,
}


class Stages:
    """Turns stage-wise progress into one rising share and keeps each stage's seconds."""

    def __init__(self, progress: Progress | None = None) -> None:
        self._report = progress or (lambda stage, share: None)
        self._done = 0.0
        self.timings_s: dict[str, float] = {}

    @contextmanager
    def stage(self, name: str) -> Iterator[Callable[[float], None]]:
        """A stage; the value is called with the share of this stage that is done."""
        share = SHARES[name]
        start = time.perf_counter()
        self._report(name, self._done)
        yield lambda part: self._report(name, self._done + share * min(max(part, 0.0), 1.0))
        self._done = min(self._done + share, 1.0)
        self.timings_s[name] = self.timings_s.get(name, 0.0) + time.perf_counter() - start
        self._report(name, self._done)

    @staticmethod
    def each(tick: Callable[[float], None], items: Iterable[T], count: int) -> Iterator[T]:
        """Hand out items, ticking before each."""
        for number, item in enumerate(items):
            tick(number / max(count, 1))
            yield item
