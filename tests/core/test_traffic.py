"""Erlang B against published values and the closed form."""

import math

import pytest

from siteplanner.core.traffic import erlang_b, offered_erlangs


def test_a_worked_example():
    assert offered_erlangs(15, 0.01) == pytest.approx(8.108, abs=1e-3)  # manual of a traffic calculator


@pytest.mark.parametrize(
    ("lines", "blocking", "erlangs"), [(5, 0.01, 1.4), (10, 0.001, 3.1), (9, 0.02, 4.3), (8, 0.05, 4.5)]
)
def test_the_table(lines, blocking, erlangs):
    """Appendix A of a handbook on voice over packet networks, 2nd edition; printed to one decimal."""
    assert offered_erlangs(lines, blocking) == pytest.approx(erlangs, abs=0.05)


@pytest.mark.parametrize(("lines", "offered"), [(1, 0.3), (4, 2.5), (20, 15.0)])
def test_the_closed_form(lines, offered):
    terms = [offered**n / math.factorial(n) for n in range(lines + 1)]
    assert erlang_b(offered, lines) == pytest.approx(terms[-1] / sum(terms), rel=1e-12)


def test_ends_and_refusals():
    assert erlang_b(3.0, 0) == 1.0
    assert erlang_b(0.0, 3) == 0.0
    with pytest.raises(ValueError, match="negative"):
        erlang_b(-1.0, 3)
    with pytest.raises(ValueError, match="between 0 and 1"):
        offered_erlangs(3, 0.0)
