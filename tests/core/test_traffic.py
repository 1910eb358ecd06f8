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


@pytest.mark.parametrize(
    ("lines", "erlangs"),
    [
        (2, (0.153, 0.105, 0.0458)),
        (4, (0.869, 0.701, 0.439)),
        (5, (1.36, 1.13, 0.762)),
        (10, (4.46, 3.96, 3.09)),
        (20, (12.0, 11.1, 9.41)),
        (24, (15.3, 14.2, 12.2)),
        (40, (29.0, 27.3, 24.5)),
        (70, (56.1, 53.7, 49.2)),
        (100, (84.1, 80.9, 75.2)),
    ],
)
def test_the_table_of_a_textbook(lines, erlangs):
    """T. S. Rappaport, Wireless Communications, 2nd edition (2002), Table 3.4, from memory: three figures printed."""
    for blocking, printed in zip((0.01, 0.005, 0.001), erlangs, strict=True):
        assert offered_erlangs(lines, blocking) == pytest.approx(printed, rel=0.006)


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
