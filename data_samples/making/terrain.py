"""Invented ground: a mountain county that river erosion carves out of noise.

Valleys are designed (polylines with floor heights and widths), everything between them is left to a
stream-power model with a slope limit, so that valleys connect and ridges lie between them as they do in nature:
dz/dt = U - K A^m S, solved implicitly from the outlets upward (Braun and Willett, Geomorphology 180-181, 2013),
m = 0.5. The figures are chosen for looks, not for geology.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy import ndimage

DIR_ROW = np.array([-1, -1, -1, 0, 0, 1, 1, 1])
DIR_COL = np.array([-1, 0, 1, -1, 1, -1, 0, 1])
DIR_LEN = np.sqrt(DIR_ROW**2.0 + DIR_COL**2.0)


@dataclass(frozen=True)
class Frame:
    """Cells of one working resolution; local metres, x east and y north of the county's south-west corner."""

    west_m: float
    south_m: float
    east_m: float
    north_m: float
    cell_m: float

    @property
    def shape(self) -> tuple[int, int]:
        return (round((self.north_m - self.south_m) / self.cell_m), round((self.east_m - self.west_m) / self.cell_m))

    def centres(self) -> tuple[np.ndarray, np.ndarray]:
        """x and y of the cell centres, row 0 in the north."""
        rows, cols = self.shape
        x = self.west_m + (np.arange(cols) + 0.5) * self.cell_m
        y = self.north_m - (np.arange(rows) + 0.5) * self.cell_m
        return np.meshgrid(x, y)

    def rowcol(self, x, y):
        """Fractional row and column of local metres; whole numbers are cell centres."""
        return ((self.north_m - np.asarray(y)) / self.cell_m - 0.5, (np.asarray(x) - self.west_m) / self.cell_m - 0.5)


@dataclass(frozen=True)
class Valley:
    """A designed stream, from its head to its mouth: metres east and north, floor height, floor width."""

    name: str
    nodes: tuple[tuple[float, float, float, float], ...]  # x, y, height_m, floor width_m
    inflow_km2: float = 0.0
    channel_m: float = 10.0
    bank_m: float = 2.0

    def line(self, wiggle_m: float, seed: int) -> np.ndarray:
        """Points every ~10 m with meanders: columns x, y, height, width, distance along."""
        nodes = np.array(self.nodes)
        run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(nodes[:, :2], axis=0).T))])
        s = np.arange(0, run[-1], 10.0)
        from scipy.interpolate import PchipInterpolator

        x, y, z, w = (PchipInterpolator(run, nodes[:, k])(s) for k in range(4))
        rng = np.random.default_rng(seed)
        tx, ty = np.gradient(x), np.gradient(y)
        norm = np.hypot(tx, ty)
        off = np.zeros_like(s)
        for wavelength, share in ((2300.0, 0.55), (980.0, 0.65)):
            off += share * np.sin(
                2 * np.pi * s / (wavelength * (1 + 0.1 * rng.standard_normal()))
                + rng.uniform(0, 6.28)
                + 0.5 * np.sin(s / 1300.0)
            )
        # meanders need a floor to swing on: none in a gorge
        off *= np.minimum(wiggle_m, w * 0.28)
        return np.column_stack([x - ty / norm * off, y + tx / norm * off, z, w, s])


def fractal(
    shape: tuple[int, int],
    seed: int,
    *,
    power: float,
    longest: float,
    shortest: float = 2.0,
) -> np.ndarray:
    """Gaussian noise with spectrum ~ wavelength^power between two wavelengths (cells); mean 0, sd 1."""
    rows, cols = shape
    rng = np.random.default_rng(seed)
    noise = np.fft.rfft2(rng.standard_normal((rows, cols)))
    f = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(cols)[None, :])
    f[0, 0] = 1.0
    noise *= np.where((f >= 1 / longest) & (f <= 1 / shortest), f ** (-power), 0)
    out = np.fft.irfft2(noise, s=shape)
    return (out - out.mean()) / out.std()


@njit(cache=True)
def _fill(z, base, step):
    """Priority flood: heights from which water always runs down to a base cell, `step` a cell."""
    rows, cols = z.shape
    out = z.copy()
    done = np.zeros(z.shape, dtype=np.bool_)
    heap = [(0.0, 0, 0) for _ in range(0)]
    for r in range(rows):
        for c in range(cols):
            if base[r, c]:
                heap.append((out[r, c], r, c))
                done[r, c] = True
    heapq.heapify(heap)
    while len(heap) > 0:
        h, r, c = heapq.heappop(heap)
        for k in range(8):
            i, j = r + DIR_ROW[k], c + DIR_COL[k]
            if 0 <= i < rows and 0 <= j < cols and not done[i, j]:
                done[i, j] = True
                low = h + step * DIR_LEN[k]
                if out[i, j] < low:
                    out[i, j] = low
                heapq.heappush(heap, (out[i, j], i, j))
    return out


@njit(cache=True)
def _receivers(z, base, taste):
    """Index of the steepest lower neighbour (itself for base cells and pits) and the step to it in cells.

    `taste` (0..1 per cell) tilts the choice between the eight ways a little: without it, valleys line up with
    the cells.
    """
    rows, cols = z.shape
    to = np.empty(rows * cols, dtype=np.int64)
    step = np.ones(rows * cols)
    for r in range(rows):
        for c in range(cols):
            n = r * cols + c
            to[n] = n
            if base[r, c]:
                continue
            best = 0.0
            for k in range(8):
                i, j = r + DIR_ROW[k], c + DIR_COL[k]
                if 0 <= i < rows and 0 <= j < cols:
                    fall = (z[r, c] - z[i, j]) / DIR_LEN[k] * (0.75 + 0.5 * ((taste[r, c] * 97.0 * (k + 1)) % 1.0))
                    if fall > best:
                        best = fall
                        to[n] = i * cols + j
                        step[n] = DIR_LEN[k]
    return to, step


@njit(cache=True)
def _gather(order, to, area):
    for k in range(order.size - 1, -1, -1):
        n = order[k]
        if to[n] != n:
            area[to[n]] += area[n]


@njit(cache=True)
def _incise(order, to, step, area, z, uplift, erodibility, limit, cell_m, years):
    """One implicit step of erosion, in place, outlets first; then no slope above its limit."""
    for k in range(order.size):
        n = order[k]
        r = to[n]
        if r == n:
            continue
        d = step[n] * cell_m
        f = erodibility[n] * years * np.sqrt(area[n]) / d
        new = (z[n] + uplift[n] * years + f * z[r]) / (1 + f)
        top = z[r] + limit[n] * d
        z[n] = min(new, top) if new > z[r] else z[r] + 1e-4 * d


def fill_holes(z: np.ndarray, outlet: np.ndarray) -> np.ndarray:
    """Heights with every hollow filled to the level at which it spills towards an `outlet` cell."""
    return _fill(z, outlet, 0.002)


def erode(
    z: np.ndarray,
    base: np.ndarray,
    uplift: np.ndarray,
    erodibility: np.ndarray,
    limit: np.ndarray,
    cell_m: float,
    years: float,
    steps: int,
    diffusivity: float,
    seed: int,
) -> np.ndarray:
    """Run the landscape model; base cells keep their height. All arrays share one shape."""
    z = z.copy()
    fixed = z.copy()
    taste = np.random.default_rng(seed).random(z.shape)
    number = diffusivity * years / cell_m**2
    for _ in range(steps):
        filled = _fill(z, base, 1e-3)
        to, step = _receivers(filled, base, taste)
        order = np.argsort(filled, axis=None, kind="stable")
        area = np.full(z.size, cell_m**2)
        _gather(order, to, area)
        flat = filled.ravel()
        _incise(order, to, step, area, flat, uplift.ravel(), erodibility.ravel(), limit.ravel(), cell_m, years)
        z = flat.reshape(z.shape)
        rounds = max(1, int(np.ceil(number / 0.2)))
        for _ in range(rounds):  # explicit diffusion is stable below 0.25
            z = z + number / rounds * ndimage.laplace(z, mode="nearest")
        z[base] = fixed[base]
    return z


def nearest_on(
    lines: list[np.ndarray], frame: Frame, widest_m: float = 1e9
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance (m) from each cell to the designed streams, and that stream point's (line, point) numbers."""
    from scipy.spatial import cKDTree

    x, y = frame.centres()
    points = np.concatenate([line[:, :2] for line in lines])
    owner = np.concatenate([np.full(len(line), k) for k, line in enumerate(lines)])
    number = np.concatenate([np.arange(len(line)) for line in lines])
    dist, hit = cKDTree(points).query(np.column_stack([x.ravel(), y.ravel()]), distance_upper_bound=widest_m)
    hit = np.minimum(hit, len(points) - 1)
    return dist.reshape(x.shape), owner[hit].reshape(x.shape), number[hit].reshape(x.shape)
