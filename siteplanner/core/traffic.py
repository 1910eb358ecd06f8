"""Speech traffic: how much talk a number of lines carries (A. K. Erlang's loss formula, Erlang B)."""

from __future__ import annotations

from functools import lru_cache


def erlang_b(offered_erlangs: float, lines: int) -> float:
    """Share of calls that find every line taken, 0..1; `offered_erlangs` is the mean number of talks at once.

    B(0) = 1, B(n) = A B(n-1) / (n + A B(n-1)). Callers who find no line go away. Raises ValueError for a negative
    traffic or number of lines.
    """
    if offered_erlangs < 0 or lines < 0:
        raise ValueError("traffic and lines must not be negative")
    blocked = 1.0
    for n in range(1, lines + 1):
        blocked = offered_erlangs * blocked / (n + offered_erlangs * blocked)
    return blocked


@lru_cache(maxsize=64)
def offered_erlangs(lines: int, blocking: float = 0.01) -> float:
    """Traffic at which `erlang_b` is just the blocking, by halving. Raises ValueError for a blocking outside 0..1."""
    if not 0 < blocking < 1:
        raise ValueError("blocking must be between 0 and 1, both excluded")
    low, high = 0.0, lines / (1 - blocking)  # carried traffic A (1 - B) never exceeds the lines
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if erlang_b(middle, lines) > blocking else (middle, high)
    return low
