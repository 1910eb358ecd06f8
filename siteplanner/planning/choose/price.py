"""What one spot gives and costs against another: the figures that differ, both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.planning.choose.dominance import Compared, Figure


@dataclass(frozen=True)
class Difference:
    """One figure at a spot and at the first one."""

    figure: Figure
    here: float
    first: float


@dataclass(frozen=True)
class Price:
    """A spot against the first: what it does better, what it does worse, and what is known of only one of the two.

    Figures that differ by less than their step stand in neither.
    """

    gains: tuple[Difference, ...]
    costs: tuple[Difference, ...]
    unknown: tuple[Figure, ...]


def price(found: Compared, row: int, first: int = 0) -> Price:
    """What the spot of a row gives and costs against the first."""
    sides: dict[int, list[Difference]] = {1: [], -1: []}
    unknown = []
    here, there = found.values[row], found.values[first]
    for k, side in enumerate(found.better(row, first)):
        figure = found.figures[k]
        if np.isfinite(side) and side:
            sides[int(side)].append(Difference(figure, float(here[k]), float(there[k])))
        elif np.isnan(here[k]) != np.isnan(there[k]):
            unknown.append(figure)
    return Price(tuple(sides[1]), tuple(sides[-1]), tuple(unknown))
