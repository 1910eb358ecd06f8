"""How far the loss of a path is off because its elevation is: the same path over draws of the true ground.

Each draw of `likely_ground` is another profile under the same mast, handset, trees and houses; all draws of a path are
worked out side by side. The loss is the delta-Bullington one of ITU-R P.526-15 section 4.5, by the batches of
`coverage_loss`; trees and houses move with their ground.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from siteplanner.core.constants import SPEED_OF_LIGHT_M_S
from siteplanner.core.coverage_cast import heights_over_surface
from siteplanner.core.coverage_loss import KERNEL, bullington_batch, smooth_excess_batch
from siteplanner.core.coverage_rays import Link
from siteplanner.core.likely_ground import LANES, TILE, LikelyGround, error_tiles

_ROW_SHIFT = 29  # rows by which the errors are moved at each repeat, so that no line meets the same ones again
FORMS = np.float32(2.0)  # on a path: between points half a cell apart the forms are drawn straight, so too low
_LEAST_M = np.float32(0.05)  # antenna heights over the smooth surface are held above 0


def redrawn_losses_db(
    elevation_m: np.ndarray,
    tops_m: np.ndarray,
    ground: LikelyGround,
    link: Link,
    mast_height_m: float,
    rx_heights_m: np.ndarray,
    rows: np.ndarray,
    cols: np.ndarray,
    lanes: int = LANES,
) -> np.ndarray:
    """Loss of each path over the first `lanes` draws of the true ground, (paths, lanes) float32, dB; lane 0: as told.

    elevation_m, tops_m: (rows, cols) float32, ground and what stands on it (the ground itself: nothing does), left out
    within `link.clear` cells of either end. rows, cols: (paths,) fractions of cells allowed; at least 1.5 cells away.
    NaN where a sample of the path is not known. No threads: the same bits on every machine of a kind.
    """
    fine, coarse, hidden = error_tiles()
    steps = ground.steps
    if steps > 1:
        link = link._replace(cell=link.cell / steps, clear=link.clear * steps)
    return _redrawn(
        elevation_m,
        tops_m,
        ground.parts,
        ground.hidden_m,
        tuple(np.float32(unit) for unit in ground.units_m),
        ground.per_cell,
        fine.ravel(),
        coarse.ravel(),
        hidden.ravel(),
        steps,
        link,
        float(mast_height_m),
        np.asarray(rx_heights_m, np.float64),
        np.asarray(rows, np.float64),
        np.asarray(cols, np.float64),
        lanes,
    )


@njit(**KERNEL)
def _corner(at, size):
    """The cell before a place on an axis and the way past it; held within the raster."""
    held = min(max(at, 0.0), size - 1.0)
    cell = min(int(held), size - 2)
    return cell, held - cell


@njit(**KERNEL)
def _between(values, row, col):
    j, fy = _corner(row, values.shape[0])
    k, fx = _corner(col, values.shape[1])
    top = values[j, k] + fx * (values[j, k + 1] - values[j, k]) if fx > 0 else values[j, k]
    if fy <= 0:
        return top
    bottom = values[j + 1, k] + fx * (values[j + 1, k + 1] - values[j + 1, k]) if fx > 0 else values[j + 1, k]
    return top + fy * (bottom - top)


@njit(**KERNEL)
def _draw(row, col, parts, hidden, units, fine_tile, coarse_tile, hidden_tile, steps, forms, out):
    """True ground less told ground of every lane at a place on the rasters of `LikelyGround`."""
    if out.size == 1:  # the ground as told
        out[0] = np.float32(0.0)
        return
    j, fy = _corner(row, parts.shape[0])
    k, fx = _corner(col, parts.shape[1])
    own_j, own_k = (j + 1 if fy >= 0.5 else j), (k + 1 if fx >= 0.5 else k)
    right, down = np.float32(fx), np.float32(fy)
    w11 = down * right
    w10, w01, w00 = down - w11, right - w11, np.float32(1.0) - down - right + w11
    moved = w00 * np.float32(parts[j, k, 0]) + w01 * np.float32(parts[j, k + 1, 0])
    moved = units[0] * (moved + w10 * np.float32(parts[j + 1, k, 0]) + w11 * np.float32(parts[j + 1, k + 1, 0]))
    times, of_others = units[1] * np.float32(parts[own_j, own_k, 1]), units[1] * np.float32(parts[own_j, own_k, 2])
    block = k // TILE
    b = k - TILE * block
    a = (j + _ROW_SHIFT * block) % TILE
    first = np.uintp((a * (TILE + 1) + b) * LANES)
    second, below = first + np.uintp(LANES), first + np.uintp((TILE + 1) * LANES)
    last = below + np.uintp(LANES)
    for n in range(out.size):
        at = np.uintp(n)
        small = w00 * fine_tile[first + at] + w01 * fine_tile[second + at]
        small += w10 * fine_tile[below + at] + w11 * fine_tile[last + at]
        large = w00 * coarse_tile[first + at] + w01 * coarse_tile[second + at]
        large += w10 * coarse_tile[below + at] + w11 * coarse_tile[last + at]
        out[n] = moved + times * small + of_others * large
    if steps > 1 and hidden[own_j, own_k] > 0:
        times = forms * hidden[own_j, own_k]
        row, col = 2.0 * (j + fy), 2.0 * (k + fx)
        j, k = int(row), int(col)
        right, down = np.float32(col - k), np.float32(row - j)
        w11 = down * right
        w10, w01, w00 = down - w11, right - w11, np.float32(1.0) - down - right + w11
        block = k // TILE
        b, a = k - TILE * block, (j + _ROW_SHIFT * block) % TILE
        first = np.uintp((a * (TILE + 1) + b) * LANES)
        second, below = first + np.uintp(LANES), first + np.uintp((TILE + 1) * LANES)
        last = below + np.uintp(LANES)
        for n in range(out.size):
            at = np.uintp(n)
            form = w00 * hidden_tile[first + at] + w01 * hidden_tile[second + at]
            out[n] += times * (form + w10 * hidden_tile[below + at] + w11 * hidden_tile[last + at])
    out[0] = np.float32(0.0)


@njit(**KERNEL)
def _redrawn(
    z,
    tops,
    parts,
    hidden,
    units,
    scale,
    fine_tile,
    coarse_tile,
    hidden_tile,
    steps,
    link,
    mast,
    receivers,
    rows,
    cols,
    lanes,
):
    out = np.empty((rows.size, lanes), np.float32)
    one = np.float32(1.0)
    tx, rx = np.empty(lanes, np.float32), np.empty(lanes, np.float32)
    off, foot, far = np.empty(lanes, np.float32), np.empty(lanes, np.float32), np.empty(lanes, np.float32)
    nu, squared = np.empty((1, lanes), np.float32), np.empty((1, lanes), np.float32)
    distance = np.empty(lanes, np.float32)
    work = np.zeros((4, lanes), np.float32)
    rise, back, clearance = np.empty(lanes, np.float32), np.empty(lanes, np.float32), np.empty(lanes, np.float32)
    over, tx_over, rx_over = np.empty(lanes, np.float32), np.empty(lanes, np.float32), np.empty(lanes, np.float32)
    v1, v2, before = np.empty(lanes, np.float32), np.empty(lanes, np.float32), np.empty(lanes, np.float32)
    bend = np.float32(link.cell * link.cell / (2.0 * link.radius))
    nu_scale = 2.0 / (link.wavelength * link.cell)
    frequency_ghz = SPEED_OF_LIGHT_M_S / link.wavelength * 1e-9
    free_db = 20.0 * math.log10(4.0 * math.pi / link.wavelength)
    m = np.float32(mast)
    _draw(
        link.row * scale, link.col * scale, parts, hidden, units, fine_tile, coarse_tile, hidden_tile, steps, one, foot
    )
    clear = link.clear + 1e-6
    for p in range(rows.size):
        down, right = rows[p] - link.row, cols[p] - link.col
        length = steps * math.sqrt(down * down + right * right)
        last = int(length + 0.5) - 1
        end = np.float32(_between(z, rows[p], cols[p]) - link.ground)
        _draw(
            rows[p] * scale, cols[p] * scale, parts, hidden, units, fine_tile, coarse_tile, hidden_tile, steps, one, far
        )
        far += end
        r = np.float32(receivers[p])
        for n in range(lanes):
            tx[n], rx[n] = foot[n] + m, far[n] + r
        rise[:], back[:], clearance[:] = np.float32(-1e30), np.float32(-1e30), np.float32(-1e30)
        over[:], tx_over[:], rx_over[:] = np.float32(-1e30), np.float32(-1e30), np.float32(-1e30)
        v1[:], v2[:] = np.float32(0.0), np.float32(0.0)
        before[:] = foot
        known = end == end
        for i in range(1, last + 1):
            share = i / length
            row, col = link.row + down * share, link.col + right * share
            told = _between(z, row, col) - link.ground
            stands = np.float32(0.0)
            if i > clear and length - i > clear:
                top = _between(tops, row, col) - link.ground
                stands = np.float32(max(top - told, 0.0)) if top == top else stands
            if told != told:
                known = False
                break
            _draw(
                row * scale, col * scale, parts, hidden, units, fine_tile, coarse_tile, hidden_tile, steps, FORMS, off
            )
            h0 = np.float32(told)
            near, rest = np.float32(i), np.float32(length - i)
            bulge = bend * near * rest
            to_mast, to_far = one / near, one / rest
            part = np.float32(share)
            zone = np.float32(math.sqrt(nu_scale * length / (i * (length - i))))
            w1, w2 = np.float32(3.0 * i - 1.0), np.float32(3.0 * i - 2.0)
            for n in range(lanes):
                h = h0 + off[n]
                v1[n] += h + before[n]
                v2[n] += h * w1 + before[n] * w2
                before[n] = h
            for n in range(lanes):
                above = before[n] - (tx[n] + part * (rx[n] - tx[n]))
                slope = above
                over[n] = slope if slope > over[n] else over[n]
                slope = above * to_mast
                tx_over[n] = slope if slope > tx_over[n] else tx_over[n]
                slope = above * to_far
                rx_over[n] = slope if slope > rx_over[n] else rx_over[n]
            lift = stands + bulge
            for n in range(lanes):
                raised = before[n] + lift
                slope = (raised - tx[n]) * to_mast
                rise[n] = slope if slope > rise[n] else rise[n]
                slope = (raised - rx[n]) * to_far
                back[n] = slope if slope > back[n] else back[n]
            for n in range(lanes):
                reach = (before[n] + lift - (tx[n] + part * (rx[n] - tx[n]))) * zone
                slope = reach
                clearance[n] = slope if slope > clearance[n] else clearance[n]
        if not known or last < 1:
            out[p, :] = np.float32(np.nan)
            continue
        step = length - last  # the last interval is no whole cell
        d_km = length * link.cell / 1000.0
        for n in range(lanes):
            eye, ear = float(tx[n]), float(rx[n])
            line = (ear - eye) / length
            if rise[n] < line:
                nu[0, n] = clearance[n]
            else:
                total = max(rise[n] + back[n], 1e-12)
                point = min(max((ear - eye + back[n] * length) / total, 1e-3), length - 1e-3)
                top = (rise[n] - line) * point
                nu[0, n] = top * math.sqrt(nu_scale * length / (point * (length - point)))
            apart = length * link.cell
            squared[0, n] = apart * apart + (ear - eye) ** 2
            distance[n] = d_km
            # least squares through the profile: the last trapezium by its own width
            g1 = v1[n] + step * (far[n] + before[n])
            g2 = v2[n] + step * (far[n] * (2 * length + last) + before[n] * (length + 2 * last))
            tx_surface = (2.0 * g1 * length - g2) / (length * length)
            rx_surface = (g2 - g1 * length) / (length * length)
            over_tx, over_rx = heights_over_surface(
                over[n], tx_over[n], rx_over[n], mast, far[n] - foot[n], receivers[p], tx_surface - foot[n],
                rx_surface - foot[n],
            )  # fmt: skip
            work[0, n], work[1, n] = d_km, max(np.float32(over_tx), _LEAST_M)
            work[2, n] = max(np.float32(over_rx), _LEAST_M)
        bullington_batch(nu, distance, squared, free_db)
        smooth_excess_batch(
            work, lanes, link.cell / 1000.0, link.radius / 1000.0, frequency_ghz, link.wavelength, link.vertical
        )
        for n in range(lanes):
            out[p, n] = nu[0, n] + work[3, n]
    return out
