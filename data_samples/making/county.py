"""The ground of Dunmarrow County, which does not exist: valleys, ranges, benches, river, forest.

Local metres: x east and y north of the county's south-west corner (`WEST_M`, `SOUTH_M` in UTM 12N).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from data_samples.making.terrain import Frame, Valley, erode, fill_holes, fractal, nearest_on

EPSG = 32612
WEST_M, SOUTH_M = 330_000.0, 4_940_000.0
WIDTH_M, HEIGHT_M, CELL_M = 16_000.0, 14_000.0, 10.0
PAD_M = 1_600.0

VALLEYS = (
    Valley(
        "Marrow River",
        (
            (17600, 6300, 1594, 700),
            (16000, 6500, 1585, 800),
            (14400, 5900, 1577, 1000),
            (12900, 6300, 1570, 1350),
            (11400, 5800, 1563, 1500),
            (10000, 6300, 1556, 1500),
            (8600, 6150, 1549, 1450),
            (7400, 6900, 1543, 1000),
            (6300, 7250, 1537, 600),
            (5200, 8150, 1526, 150),
            (3900, 8500, 1508, 120),
            (2700, 9350, 1490, 120),
            (1300, 9500, 1474, 160),
            (0, 10000, 1464, 420),
            (-1600, 10300, 1455, 420),
        ),
        900,
        42,
        3.5,
    ),
    Valley(
        "Sable Creek",
        (
            (1900, 3480, 1888, 60),
            (2700, 3580, 1852, 190),
            (3900, 3350, 1806, 300),
            (5300, 3330, 1753, 320),
            (6400, 3560, 1702, 240),
            (7300, 4150, 1642, 110),
            (7900, 4950, 1584, 200),
            (8500, 6100, 1549.5, 400),
        ),
        0,
        12,
        2.0,
    ),
    Valley(
        "Linnet Creek",
        (
            (11900, 15500, 1960, 60),
            (11500, 13600, 1868, 140),
            (11400, 12100, 1795, 170),
            (12100, 10600, 1730, 150),
            (11700, 9200, 1668, 120),
            (12100, 7900, 1604, 220),
            (11700, 6000, 1564.5, 500),
        ),
        0,
        10,
        2.0,
    ),
)


def _hill(x, y, cx, cy, sx, sy, turn_deg=0.0):
    t = np.radians(turn_deg)
    u = (x - cx) * np.cos(t) + (y - cy) * np.sin(t)
    v = -(x - cx) * np.sin(t) + (y - cy) * np.cos(t)
    return np.exp(-0.5 * ((u / sx) ** 2 + (v / sy) ** 2))


def _uplift(x, y, seed):
    """Metres a year; large where ranges stand."""
    u = 0.65e-3 * np.ones_like(x)
    u += 2.9e-3 * _hill(x, y, 4300, 1500, 3200, 800, 4)  # Averil range, south of Sable Creek
    u += 6.0e-3 * _hill(x, y, 3900, 2700, 450, 300)  # Averil Wall
    u += 0.9e-3 * _hill(x, y, 1500, 6200, 2200, 1500)  # the hard ground that the gorge cuts
    u += 1.6e-3 * _hill(x, y, 8300, 12000, 2000, 1300, -20)  # Gannet range
    u += 1.2e-3 * _hill(x, y, 15300, 11000, 1500, 2600)
    u += 0.9e-3 * _hill(x, y, 12800, 2300, 2300, 1300, 10)
    u += 0.9e-3 * _hill(x, y, 2500, 12600, 1800, 1500)
    rough = fractal(x.shape, seed, power=1.6, longest=5000 / (x[0, 1] - x[0, 0]))
    return u * np.clip(1 + 0.18 * rough, 0.4, 1.8)


def _bench(z, mask, height, half=38.0, flat=0.12):
    """Press heights near `height` towards it: a terrace with a steeper riser above and below."""
    d = z - height
    a = np.abs(d)
    pressed = np.where(a < half, flat * a, np.minimum(flat * half + (a - half) * (2 - flat), a))
    return z + mask * (np.sign(d) * np.minimum(pressed, a) - d)


def _benches(z, frame, seed):
    """Old valley floors left high and dry; streams cut them again afterwards."""
    x, y = frame.centres()
    edge = fractal(frame.shape, seed + 60, power=1.8, longest=1200 / frame.cell_m)
    smooth = ndimage.gaussian_filter(z, 110 / frame.cell_m)
    for cx, cy, rx, ry, level, flat in BENCHES:
        soft = 1 - np.hypot((x - cx) / rx, (y - cy) / ry) + 0.15 * edge
        tilt = level + 0.025 * (y - cy) * np.sign(cy - 6300)
        z = _bench(z + np.clip(soft * 3, 0, 1) * (smooth - z), np.clip(soft * 3, 0, 1), tilt, flat=flat)
    return z


def _floor(lines, frame, seed):
    """Valley floors: mask, their height, distance to the stream, stream height, owner."""
    dist, owner, point = nearest_on(lines, frame)
    height = np.empty(dist.shape)
    width = np.empty(dist.shape)
    for k, line in enumerate(lines):
        mine = owner == k
        height[mine] = line[point[mine], 2]
        width[mine] = line[point[mine], 3]
    edge = fractal(frame.shape, seed, power=1.7, longest=900 / frame.cell_m, shortest=max(2, 220 / frame.cell_m))
    half = width / 2 * (1 + 0.22 * edge)
    # a floor one cell wide at least, so that the stream is never lost between cells
    mask = dist <= np.maximum(half, 0.75 * frame.cell_m)
    return mask, height, dist, half, owner


@dataclass(frozen=True, eq=False)
class Ground:
    """The finished rasters (row 0 north) and the streams in local metres."""

    frame: Frame
    elevation_m: np.ndarray
    above_stream_m: np.ndarray
    streams: list[np.ndarray]


def _limit(x, y):
    """Largest slope that stands: cliffs on the south wall of Sable Creek and in the gorge."""
    s = 0.78 + 0.55 * _hill(x, y, 4300, 2500, 2600, 650) + 0.5 * _hill(x, y, 3500, 8700, 1500, 900)
    s += 0.7 * _hill(x, y, 3900, 2950, 500, 300)
    return np.clip(s, 0.5, 1.6)


def _resample(z: np.ndarray, source: Frame, target: Frame) -> np.ndarray:
    x, y = target.centres()
    row, col = source.rowcol(x, y)
    return ndimage.map_coordinates(z, [row, col], order=3, mode="nearest")


def make_ground(seed: int = 20_417) -> Ground:
    """Carve the county. Deterministic for one set of library versions; about half a minute."""
    lines = [v.line(260.0 if k == 0 else 60.0, seed + k) for k, v in enumerate(VALLEYS)]
    pad = (-PAD_M, -PAD_M, WIDTH_M + PAD_M, HEIGHT_M + PAD_M)
    z: np.ndarray | None = None
    previous = Frame(*pad, 80.0)
    plan = ((80.0, 2.5e4, 70, 0.04), (40.0, 1.2e4, 25, 0.035), (20.0, 4e3, 8, 0.03))
    for stage, (cell, years, steps, diffusivity) in enumerate(plan):
        frame = Frame(*pad, cell)
        x, y = frame.centres()
        mask, height, dist, _, _ = _floor(lines, frame, seed + 10)
        noise = fractal(frame.shape, seed + 20 + stage, power=1.9, longest=(4000, 500, 200)[stage] / cell)
        z = height + 0.12 * dist if z is None else _resample(z, previous, frame)
        z = z + (60, 6, 3)[stage] * noise
        if stage == 2:
            z = _benches(z, frame, seed)
        z[mask] = height[mask]
        z = np.maximum(z, height.min())
        hard = fractal(frame.shape, seed + 30, power=1.7, longest=3000 / cell, shortest=max(2, 160 / cell))
        z = erode(
            z,
            mask,
            _uplift(x, y, seed + 40),
            2.2e-5 * np.exp(0.35 * hard),
            _limit(x, y),
            cell,
            years,
            steps,
            diffusivity,
            seed + 45,
        )
        previous = frame
    return _finish(z, previous, lines, seed)


def _finish(z, source, lines, seed):
    frame = Frame(0.0, 0.0, WIDTH_M, HEIGHT_M, CELL_M)
    x, y = frame.centres()
    z = _resample(z, source, frame)
    mask, height, dist, half, owner = _floor(lines, frame, seed + 10)
    fine = fractal(frame.shape, seed + 50, power=1.5, longest=30)
    slope = np.hypot(*np.gradient(ndimage.gaussian_filter(z, 3), CELL_M))
    z = z + fine * np.clip(slope - 0.08, 0, 0.5) * 4.0
    # floor: nearly flat, a terrace step away from the stream, then the channel
    relief = 0.35 * fractal(frame.shape, seed + 70, power=1.6, longest=60)
    rise = np.where(owner == 0, 2.2 + 3.5 / (1 + np.exp(-(dist - 0.55 * half) / 25)) + 0.006 * dist, 1.6 + 0.03 * dist)
    floor = height + rise + relief
    inside = np.clip((half - dist) / 40 + 0.5, 0, 1)
    z = np.where(mask | (inside > 0), floor * inside + np.maximum(z, floor) * (1 - inside), z)
    # foot slopes: debris softens the angle between wall and floor
    soft = ndimage.gaussian_filter(z, 4)
    foot = np.exp(-(((dist - half) / 70) ** 2)) * (half > 60)
    z = z + foot * (soft - z)
    edge = fractal(frame.shape, seed + 60, power=1.4, longest=40, shortest=6)
    for cx, cy, rx, ry, level, tilt in PADS:
        soft = np.clip(3 * (1.3 - np.hypot((x - cx) / rx, (y - cy) / ry) + 0.12 * edge), 0, 1)
        z = z + soft * (level + tilt * (y - cy) + 0.3 * relief - z)
    for k, valley in enumerate(VALLEYS):
        depth = np.clip((valley.channel_m / 2 + 8 - dist) / 8, 0, 1) * (owner == k)
        z = z - depth * (z - np.minimum(z, height - valley.bank_m * 0.25))
    # no hole without an outlet: water and debris would have filled it
    outlet = dist < np.where(owner == 0, 25.0, 8.0)
    outlet[[0, -1]] = outlet[:, [0, -1]] = True
    z = fill_holes(z, outlet)
    return Ground(frame, z, z - height, lines)


BENCHES = (
    # x, y, half length, half width, level, flatness
    (9500, 7950, 1500, 700, 1672, 0.10),  # Orchard Bench
    (6000, 5300, 900, 600, 1690, 0.15),
    (14300, 7600, 900, 500, 1690, 0.15),
    (10600, 4500, 1300, 600, 1660, 0.15),
)
PADS = (
    # x, y, half length, half width, level, fall northward: small flats where the story needs one
    (8720, 5230, 110, 75, 1690, -0.03),  # Chapel Bench
    (8745, 7395, 75, 14, 1684, 0.0),  # Line Knoll
    (10600, 4480, 110, 70, 1800, -0.03),  # South Bench corral
    (4135, 2385, 28, 22, 2860, 0.0),  # Mount Averil
    (4450, 3290, 52, 26, 1791, 0.02),  # Sable Meadow
)
