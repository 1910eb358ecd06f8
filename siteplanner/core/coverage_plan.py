"""Which cells lie between which rays: the order in which `coverage_rays` works on the cells of one mast.

Rays leave the mast at equal angles; a cell belongs to the two beside it. Lengths are in cells.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from siteplanner.core.coverage_loss import KERNEL


class RayPlan(NamedTuple):
    """Cells sorted into the angles between rays; m intervals hold cells. Places are in the sorted order."""

    ray_count: int
    order: np.ndarray  # (cells,) int32: which cell stands at each place; those without a profile come last
    starts: np.ndarray  # (m + 1,) int64: first place of each interval
    interval: np.ndarray  # (m,) int64: the ray on its left
    reach: np.ndarray  # (m,) its farthest cell, in cells
    weight: np.ndarray  # (cells,) float32: share of the right-hand ray
    length: np.ndarray  # (cells,) length of the path in cells
    ground: np.ndarray  # (cells,) float32: height of the cell's own ground
    receiver: np.ndarray  # (cells,) height of the receiver above it


@njit(**KERNEL)
def plan_rays(elevation, rows, cols, receivers, row, col, density, reach_step, near_cells):
    """Sort cells into the angles between rays; those nearer than `near_cells` go to the end."""
    count = rows.size
    farthest = 1.0
    for c in range(count):
        dr, dc = float(rows[c] - row), float(cols[c] - col)
        farthest = max(farthest, dr * dr + dc * dc)
    # The number of rays grows in steps, so that two masks of about one reach share their rays, and is a
    # multiple of 4, so that a quarter turn of the raster turns the rays into each other.
    rim = math.ceil(math.sqrt(farthest) / reach_step) * reach_step
    ray_count = 4 * math.ceil(2.0 * math.pi * rim * density / 4.0)
    turns = np.empty(count, np.float64)
    held = np.zeros(ray_count + 2, np.int64)
    reach_all = np.zeros(ray_count + 1, np.float64)
    scale = ray_count / (2.0 * math.pi)
    for c in range(count):
        dr, dc = float(rows[c] - row), float(cols[c] - col)
        d = math.sqrt(dr * dr + dc * dc)
        if d < near_cells:
            turn = float(ray_count)
        else:
            turn = math.atan2(dc, -dr) * scale  # clockwise from grid north, in rays
            if turn < 0.0:
                turn += ray_count
            if turn >= ray_count:
                turn = 0.0
        k = int(turn)
        turns[c] = turn
        held[k + 1] += 1
        reach_all[k] = max(reach_all[k], d)
    intervals = 0
    for k in range(ray_count + 1):
        if held[k + 1] > 0 and k < ray_count:
            intervals += 1
        held[k + 1] += held[k]
    starts = np.empty(intervals + 1, np.int64)
    interval = np.empty(intervals, np.int64)
    reach = np.empty(intervals, np.float64)
    m = 0
    for k in range(ray_count):
        if held[k + 1] > held[k]:
            starts[m], interval[m], reach[m] = held[k], k, reach_all[k]
            m += 1
    starts[m] = held[ray_count]
    order = np.empty(count, np.int32)
    weight = np.empty(count, np.float32)
    length = np.empty(count, np.float64)
    target_ground = np.empty(count, np.float32)
    receiver = np.empty(count, np.float64)
    for c in range(count):
        k = int(turns[c])
        place = held[k]
        held[k] += 1
        dr, dc = float(rows[c] - row), float(cols[c] - col)
        order[place], weight[place] = c, turns[c] - k
        length[place] = math.sqrt(dr * dr + dc * dc)
        target_ground[place], receiver[place] = elevation[rows[c], cols[c]], receivers[c]
    return RayPlan(ray_count, order, starts, interval, reach, weight, length, target_ground, receiver)
