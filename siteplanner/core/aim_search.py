"""The search for sector bearings over tallies of weight by bearing and margin, so that trying a bearing does not touch
the cells again.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit

from siteplanner.core.antenna import SectorPattern, horizontal_loss_db
from siteplanner.core.link import service_probability

KERNEL: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}

BEARING_BIN_DEG = 2.0
FINE_STEP_DEG = 1.0  # bearings are found to this step
LEVEL_DB = 0.25  # step of the horizontal pattern loss in the tables
TIE = 1e-9  # shares closer than this count as equal; the lowest bearing wins


@lru_cache(maxsize=16)
def bearing_search(
    pattern: SectorPattern,
    sectors: int,
    separation: float | str,
    min_separation_deg: float,
    sigma_db: float,
    step_deg: float,
) -> BearingSearch:
    """The search for one antenna and one sigma; its tables are made once and kept."""
    return BearingSearch(pattern, sectors, separation, min_separation_deg, sigma_db, step_deg)


class BearingSearch:
    """The tables of one antenna and one sigma, shared by all stops and spots, and the search over them."""

    def __init__(
        self,
        pattern: SectorPattern,
        sectors: int,
        separation: float | str,
        min_separation_deg: float,
        sigma_db: float,
        step_deg: float,
    ) -> None:
        front_to_back = pattern.front_to_back_db
        self.margin_step_db = min(max(sigma_db / 8.0, 0.1), 0.5)
        edge = max(6.0 * sigma_db, 1.0)  # beyond: certainly without, or with, service
        self.margins_db = np.arange(-edge, front_to_back + edge + self.margin_step_db, self.margin_step_db)
        levels = np.arange(0.0, front_to_back + LEVEL_DB, LEVEL_DB)
        self.chance = service_probability(self.margins_db[:, None] - levels, sigma_db)  # (margins, levels)
        self.bins = round(360.0 / BEARING_BIN_DEG)
        centres = (np.arange(self.bins) + 0.5) * BEARING_BIN_DEG
        self.bearings = np.arange(0.0, 360.0, FINE_STEP_DEG)
        horizontal = horizontal_loss_db(centres - self.bearings[:, None], pattern.beamwidth_deg, front_to_back)
        self.level_of = np.rint(horizontal / LEVEL_DB).astype(np.intp)  # (bearings, bins)
        self.sectors, self.step = sectors, max(round(step_deg / FINE_STEP_DEG), 1)
        self.apart = math.ceil(min_separation_deg / FINE_STEP_DEG)
        if self.apart * sectors > self.bearings.size:
            raise ValueError(f"{sectors} sectors cannot be {min_separation_deg:g} degrees apart")
        self.grid = np.arange(0, self.bearings.size, self.step)
        i, j = np.triu_indices(self.grid.size, k=1)
        self.allowed = _turn(self.grid[i] - self.grid[j], self.bearings.size) >= self.apart
        self.pairs = np.column_stack([self.grid[i], self.grid[j]])[self.allowed]
        self.offsets: np.ndarray | None = None
        if separation != "free":
            apart = 360.0 / sectors if separation == "even" else float(separation)
            self.offsets = np.arange(sectors) * apart
            self.turn = 360.0 / sectors if math.isclose(apart * sectors, 360.0) else 360.0

    def best(self, beam: np.ndarray, floor: np.ndarray) -> np.ndarray:
        """Bearings (sectors,), rising, for tallies (bins, margins) of weight by margin on and off the beam."""
        by_level = _served_by_level(beam, floor, self.chance)
        served = by_level[np.arange(self.bins), self.level_of]  # (bearings, bins) of one sector alone
        if self.offsets is None:
            picked = self._free(served)
            return np.sort(self.bearings[picked])
        starts = np.arange(0.0, self.turn - 1e-9, FINE_STEP_DEG)
        steps = np.rint((starts[:, None] + self.offsets) / FINE_STEP_DEG).astype(np.intp) % self.bearings.size
        shares = np.max(served[steps], axis=1).sum(axis=1)
        start = starts[_first_best(shares)]
        return np.sort((start + self.offsets) % 360.0)

    def _free(self, served: np.ndarray) -> list[int]:
        grid = self.grid
        picked: list[int] = []
        if self.sectors > 1:
            coarse = served[grid]
            shares = [np.maximum(coarse[k + 1 :], row).sum(axis=1) for k, row in enumerate(coarse[:-1])]
            picked = [int(v) for v in self.pairs[_first_best(np.concatenate(shares)[self.allowed])]]
        while len(picked) < self.sectors:  # each further sector where it adds most
            picked.append(self._best_choice(served, picked, grid)[0])
        if self.sectors > 2:
            picked = self._polish(served, picked, grid)
        for reach in (self.step, max(self.step // 2, 1)):
            picked = self._polish(served, picked, np.arange(-reach, reach + 1), around=True)
        return picked

    def _best_choice(self, served: np.ndarray, others: list[int], choices: np.ndarray) -> tuple[int, float]:
        """The bearing of `choices` that serves most beside the others, and the share."""
        for other in others:
            kept = choices[_turn(choices - other, self.bearings.size) >= self.apart]
            choices = kept if kept.size else choices
        held = served[others].max(axis=0) if others else np.zeros(served.shape[1])
        values = np.maximum(served[choices], held).sum(axis=1)
        at = _first_best(values)
        return int(choices[at]), float(values[at])

    def _polish(self, served: np.ndarray, picked: list[int], steps: np.ndarray, around: bool = False) -> list[int]:
        """Turn one sector at a time while the share grows; steps: bearings, or turns from the present one."""
        picked = list(picked)
        share = float(served[picked].max(axis=0).sum())
        for _ in range(20):
            before = share
            for k in range(len(picked)):
                others = picked[:k] + picked[k + 1 :]
                choices = np.sort((picked[k] + steps) % self.bearings.size) if around else steps
                choice, value = self._best_choice(served, others, choices)
                if value > share + TIE * max(share, 1.0):
                    picked[k], share = choice, value
            if share <= before:
                break
        return picked


def _turn(steps: np.ndarray, whole: int) -> np.ndarray:
    """Size of a turn, the short way round."""
    turn = np.abs(steps) % whole
    return np.minimum(turn, whole - turn)


def _first_best(values: np.ndarray) -> int:
    best = float(values.max())
    return int(np.argmax(values >= best - TIE * max(abs(best), 1.0)))


@njit(**KERNEL)
def _served_by_level(beam, floor, chance):
    """Weight served in each bearing bin (bins, levels) at each step of the horizontal loss.

    A cell never falls below the pattern's floor, whatever the two planes add up to.
    """
    bins, margins = beam.shape
    levels = chance.shape[1]
    served = np.zeros((bins, levels))
    for b in range(bins):
        row = served[b]
        least = 0.0
        for m in range(margins):
            weight = beam[b, m]
            if weight > 0.0:
                for level in range(levels):
                    row[level] += weight * chance[m, level]
            least += floor[b, m] * chance[m, 0]
        for level in range(levels):
            row[level] = max(row[level], least)
    return served
