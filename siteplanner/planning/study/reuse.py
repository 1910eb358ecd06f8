"""What a new plan may take over from the plan before it: results of steps whose every input is the same by content.

A step is a function that gets all it depends on as arguments. Its result is kept under the fingerprint of these
arguments, files by what is in them; the next run that asks with equal arguments gets it without the work.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, ParamSpec, TypeVar, cast

from siteplanner.planning.study.fingerprint import Digests

P = ParamSpec("P")
T = TypeVar("T")
Tally = Mapping[str, tuple[int, int]]
"""Step -> (results taken over, all results)."""


@dataclass(frozen=True, eq=False)
class Kept:
    """Results of one run by step and fingerprint of its arguments; held by the plan, lent to the next run."""

    results: dict[tuple[str, str], Any] = field(default_factory=dict)

    def joined(self, newer: Kept | None) -> Kept:
        """What either holds; the newer one goes first."""
        return Kept({**self.results, **newer.results}) if newer is not None else self


class Reuse:
    """One run's view of the run before it.

    `kept` fills with what this run can lend to the next; `tally` counts (taken over, all) for each step.
    """

    def __init__(self, previous: Kept | None = None) -> None:
        self._previous = previous or Kept()
        self._digests = Digests()
        self.kept = Kept()
        self.tally: dict[str, tuple[int, int]] = {}

    def call(self, step: str, function: Callable[P, T], *args: P.args, **named: P.kwargs) -> T:
        """`function` of exactly these arguments, or what it gave for equal ones in the run before.

        It must depend on nothing else, and the arguments must not change while the run lasts. Paths stand for what
        they hold. What is bound to the function beforehand (a tick that reports progress) must not touch the result.
        """
        try:
            key = step, self._digests.of((args, named))
        except TypeError:  # an argument that cannot be compared: never taken over
            self._count(step, False)
            return function(*args, **named)
        held = key in self._previous.results
        value = self._previous.results[key] if held else function(*args, **named)
        self._count(step, held)
        self.kept.results[key] = value
        return cast(T, value)

    def within(self) -> Reuse:
        """A view that may also take over what this run has worked out so far, and lends what it works out."""
        inner = Reuse(self._previous.joined(self.kept))
        inner.kept, inner._digests = self.kept, self._digests
        return inner

    def _count(self, step: str, taken_over: bool) -> None:
        mine, all_ = self.tally.get(step, (0, 0))
        self.tally[step] = (mine + taken_over, all_ + 1)
