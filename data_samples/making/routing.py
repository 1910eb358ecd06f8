"""Invented roads: least-cost paths over the ground with a grade limit, and the cut and fill they leave.

The search runs over (cell, heading) so that turning costs something: that is what makes switchbacks instead of
a zigzag from cell to cell.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy import ndimage

from data_samples.making.terrain import Frame


def _moves() -> tuple[np.ndarray, np.ndarray]:
    """32 headings as (row, column) steps of about three cells, clockwise from north."""
    steps = {
        (dr, dc) for dr in range(-3, 4) for dc in range(-3, 4) if max(abs(dr), abs(dc)) >= 1 and np.gcd(dr, dc) == 1
    }
    steps = {(dr, dc) for dr, dc in steps if max(abs(dr), abs(dc)) >= 2 or 0 in (dr, dc) or abs(dr) == abs(dc)}
    out = []
    for dr, dc in steps:
        scale = {1: 3 if 0 in (dr, dc) else 2}.get(max(abs(dr), abs(dc)), 1)
        out.append((dr * scale, dc * scale))
    out.sort(key=lambda m: np.arctan2(m[1], -m[0]) % (2 * np.pi))
    rows, cols = np.array(out).T
    return rows, cols


MOVE_ROW, MOVE_COL = _moves()


@njit(cache=True)
def _search(z, burden, r0, c0, r1, c1, cell_m, max_grade, turn_m, rows_of, cols_of, reach, ahead0, slack):
    """A* over (cell, heading). Returns the path as (row, column) pairs, empty when there is none."""
    rows, cols = z.shape
    n_dir = rows_of.size
    length = np.sqrt(rows_of.astype(np.float64) ** 2 + cols_of.astype(np.float64) ** 2) * cell_m
    best = np.full(rows * cols * n_dir, np.inf, dtype=np.float32)
    came = np.full(rows * cols * n_dir, -1, dtype=np.int32)
    heap = [(0.0, 0.0, 0) for _ in range(0)]
    for d in range(n_dir):
        if ahead0 >= 0 and d != ahead0:
            continue
        state = (r0 * cols + c0) * n_dir + d
        best[state] = 0.0
        heap.append((0.0, 0.0, state))
    heapq.heapify(heap)
    end = -1
    while len(heap) > 0:
        _, g, state = heapq.heappop(heap)
        if g > best[state] + 1e-3:
            continue
        d0 = state % n_dir
        cell = state // n_dir
        r, c = cell // cols, cell % cols
        if abs(r - r1) <= reach and abs(c - c1) <= reach:
            end = state
            break
        for d in range(n_dir):
            turn = abs(d - d0)
            turn = min(turn, n_dir - turn)
            if turn > 9 or (ahead0 < 0 and cell == r0 * cols + c0 and d != d0):
                continue
            i, j = r + rows_of[d], c + cols_of[d]
            if i < 0 or j < 0 or i >= rows or j >= cols:
                continue
            grade = abs(z[i, j] - z[r, c]) / length[d]
            m, k = r + rows_of[d] // 2, c + cols_of[d] // 2
            # a hump between the ends may not hide a steep half
            half = max(abs(z[m, k] - z[r, c]), abs(z[i, j] - z[m, k])) / (0.5 * length[d])
            if grade > max_grade or half > slack * max_grade:
                continue
            ground = 0.5 * burden[m, k] + 0.5 * burden[i, j]
            step = length[d] * (1.0 + ground + 0.9 * (grade / max_grade) ** 2)
            step += turn_m * (turn / 8.0) ** 1.5
            new = g + step
            nxt = (i * cols + j) * n_dir + d
            if new < best[nxt] - 1e-3:
                best[nxt] = new
                came[nxt] = state
                ahead = cell_m * np.sqrt(float((i - r1) ** 2 + (j - c1) ** 2))
                heapq.heappush(heap, (new + ahead, new, nxt))
    path = [(0, 0) for _ in range(0)]
    while end >= 0:
        cell = end // n_dir
        path.append((cell // cols, cell % cols))
        end = came[end]
    return path


@dataclass(frozen=True, eq=False)
class Course:
    """Where a road runs: local metres and the height of its surface at each point."""

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray


class NoWayError(RuntimeError):
    """The design asks for a road that its grade limit does not allow."""


def find_path(
    z: np.ndarray,
    burden: np.ndarray,
    frame: Frame,
    stops: list[tuple[float, float]],
    max_grade: float,
    turn_m: float = 60.0,
    margin_m: float = 2000.0,
    to_the_point: bool = True,
    slack: float = 1.7,
) -> np.ndarray:
    """Corner points (local metres) of the cheapest road from the first stop to the last, past the others.

    `burden` adds to the cost of a metre per cell; `max_grade` is a ratio. Unless it must end `to_the_point` (on
    another road), the road ends within two cells of the last stop. Half a step may be `slack` times as steep as
    a whole one: cut and fill. Raises NoWayError.
    """
    points = [stops[0]]
    heading = -1
    for number, b in enumerate(stops[1:], start=1):
        a = points[-1]
        final = number == len(stops) - 1
        west, east = min(a[0], b[0]) - margin_m, max(a[0], b[0]) + margin_m
        south, north = min(a[1], b[1]) - margin_m, max(a[1], b[1]) + margin_m
        rows, cols = z.shape
        top, left = frame.rowcol(west, north)
        bottom, right = frame.rowcol(east, south)
        top, left = max(int(top), 0), max(int(left), 0)
        bottom, right = min(int(bottom) + 1, rows), min(int(right) + 1, cols)
        cells = [
            tuple(
                int(np.clip(round(float(v)), lo, hi - 1))
                for v, lo, hi in zip(frame.rowcol(*p), (top, left), (bottom, right), strict=True)
            )
            for p in (a, b)
        ]
        found = _search(
            np.ascontiguousarray(z[top:bottom, left:right]),
            np.ascontiguousarray(burden[top:bottom, left:right]),
            cells[0][0] - top,
            cells[0][1] - left,
            cells[1][0] - top,
            cells[1][1] - left,
            frame.cell_m,
            max_grade,
            turn_m,
            MOVE_ROW,
            MOVE_COL,
            2 if final else 8,
            heading,
            slack,
        )
        if len(found) < 2:
            raise NoWayError(f"no road from {a} to {b} within {max_grade:.0%}")
        moves = np.array(found[::-1])
        heading = int(np.flatnonzero((moves[-1] - moves[-2] == np.column_stack([MOVE_ROW, MOVE_COL])).all(1))[0])
        path = moves[1:].astype(float)
        x = frame.west_m + (path[:, 1] + left + 0.5) * frame.cell_m
        y = frame.north_m - (path[:, 0] + top + 0.5) * frame.cell_m
        points += zip(x.tolist(), y.tolist(), strict=True)
        if final and to_the_point:
            points[-1] = b
    return np.array(points, dtype=float)


def rounded(points: np.ndarray, times: int = 3) -> np.ndarray:
    """Corners cut (Chaikin) so that a car could drive the line; ends stay."""
    for _ in range(times):
        a, b = points[:-1], points[1:]
        cut = np.empty((2 * len(a), 2))
        cut[0::2] = 0.75 * a + 0.25 * b
        cut[1::2] = 0.25 * a + 0.75 * b
        points = np.vstack([points[:1], cut, points[-1:]])
    return points


def densified(points: np.ndarray, every_m: float) -> np.ndarray:
    """Points at equal steps along a line, ends kept."""
    run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    n = max(2, round(run[-1] / every_m) + 1)
    s = np.linspace(0, run[-1], n)
    return np.column_stack([np.interp(s, run, points[:, 0]), np.interp(s, run, points[:, 1])])


def sample(z: np.ndarray, frame: Frame, points: np.ndarray) -> np.ndarray:
    """Bilinear heights at local metres."""
    row, col = frame.rowcol(points[:, 0], points[:, 1])
    return ndimage.map_coordinates(z, [row, col], order=1, mode="nearest")


def grade_profile(heights: np.ndarray, every_m: float, max_grade: float, fixed: np.ndarray) -> np.ndarray:
    """A road surface near the ground that keeps the grade limit; `fixed` marks heights that must stay."""
    out = heights.copy()
    step = max_grade * every_m
    for _ in range(60):
        out = np.where(fixed, heights, ndimage.gaussian_filter1d(out, 3.0, mode="nearest"))
        up, down = out.copy(), out.copy()
        for k in range(1, len(out)):
            up[k] = min(up[k], up[k - 1] + step)
            down[k] = max(down[k], down[k - 1] - step)
        for k in range(len(out) - 2, -1, -1):
            up[k] = min(up[k], up[k + 1] + step)
            down[k] = max(down[k], down[k + 1] - step)
        out = np.where(fixed, heights, 0.5 * (up + down))
        if np.abs(np.diff(out)).max() <= step * 1.02:
            break
    return out


def carve(
    z: np.ndarray, frame: Frame, course: Course, keep: np.ndarray, half_m: float = 5.0, fade_m: float = 11.0
) -> np.ndarray:
    """The ground with the road's shelf cut and filled, except where `keep` (under bridges)."""
    from scipy.spatial import cKDTree

    pad = half_m + fade_m
    top, left = (int(v) for v in frame.rowcol(course.x.min() - pad, course.y.max() + pad))
    bottom, right = (int(v) + 2 for v in frame.rowcol(course.x.max() + pad, course.y.min() - pad))
    top, left = max(top, 0), max(left, 0)
    x, y = frame.centres()
    window = (slice(top, bottom), slice(left, right))
    xs, ys = x[window], y[window]
    dist, hit = cKDTree(np.column_stack([course.x, course.y])).query(
        np.column_stack([xs.ravel(), ys.ravel()]), distance_upper_bound=pad
    )
    near = np.isfinite(dist)
    share = np.zeros(dist.size)
    share[near] = np.clip(1 - (dist[near] - half_m) / fade_m, 0, 1)
    level = np.zeros(dist.size)
    level[near] = course.z[hit[near]]
    share, level = share.reshape(xs.shape), level.reshape(xs.shape)
    out = z.copy()
    share = np.where(keep[window], 0, share)
    out[window] = z[window] + share * (level - z[window])
    return out
