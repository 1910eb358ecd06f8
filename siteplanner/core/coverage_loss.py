"""From a path's geometry to its loss, for batches of cells in single precision.

The formulas are those of `propagation`, written without branches and without library calls, so that the
compiler turns the loops into vector instructions. No fast-math: every cell gets the same bits wherever it
stands in a batch.

Sources: ITU-R P.526-15 sections 3.1.1.2, 3.2, 4.1, 4.5.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from siteplanner.core.constants import SPEED_OF_LIGHT_M_S
from siteplanner.core.propagation import LAND_CONDUCTIVITY_S_M, LAND_PERMITTIVITY

# No zero-division checks (they keep loops out of vector registers); callers hold divisors off 0.
KERNEL: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}

F = np.float32
ZERO, HALF, ONE, TWO = F(0.0), F(0.5), F(1.0), F(2.0)
TINY = F(1e-20)
DB_A_LOG2 = F(10.0 * math.log10(2.0))  # 10 log10(x) = this x log2(x)

# Chebyshev fits made for this file. log2(1 + t) / t on sqrt(1/2) - 1 .. sqrt(2) - 1: error below 6e-7.
L0, L1, L2, L3 = F(1.4426964), F(-0.72136404), F(0.4806291), F(-0.35935038)
L4, L5, L6 = F(0.2956341), F(-0.26950934), F(0.17213075)
# 2^t on -1/2 .. 1/2: relative error below 4e-6.
E0, E1, E2, E3, E4 = F(1.0), F(0.69312103), F(0.24022107), F(0.05592208), F(0.009676042)

SQRT_HALF_BITS = np.int32(0x3F3504F3)
EXPONENT_SHIFT, EXPONENT_BIAS = np.int32(23), np.int32(127)

NO_LOSS = F(-0.78)  # P.526-15 equation (31) gives no loss at or below it
NU_SHIFT, EDGE_BASE = F(0.1), F(6.9)
PERMITTIVITY = LAND_PERMITTIVITY
CONDUCTIVITY = LAND_CONDUCTIVITY_S_M


@njit(**KERNEL)
def _log2(x):
    """log2 of a positive single-precision number, error below 1e-6."""
    bits = np.float32(x).view(np.int32)
    exponent = np.int32(np.int32(bits - SQRT_HALF_BITS) >> EXPONENT_SHIFT)
    t = np.int32(bits - np.int32(exponent << EXPONENT_SHIFT)).view(np.float32) - ONE
    poly = L0 + t * (L1 + t * (L2 + t * (L3 + t * (L4 + t * (L5 + t * L6)))))
    return F(exponent) + t * poly


@njit(**KERNEL)
def _exp2(x):
    """2^x in single precision, relative error below 5e-6; -126 and less give next to nothing."""
    x = max(x, F(-126.0))
    whole = np.int32(x + F(1024.5)) - np.int32(1024)
    t = x - F(np.int32(whole))
    scale = np.int32(np.int32(np.int32(whole) + EXPONENT_BIAS) << EXPONENT_SHIFT).view(np.float32)
    return scale * (E0 + t * (E1 + t * (E2 + t * (E3 + t * E4))))


@njit(**KERNEL)
def _corrected_edge_db(nu, d_km):
    """J(nu), P.526-15 equation (31), plus the Bullington correction of section 4.5."""
    x = max(nu, NO_LOSS) - NU_SHIFT
    edge = EDGE_BASE + TWO * DB_A_LOG2 * _log2(np.sqrt(x * x + ONE) + x)
    loss = edge + (ONE - _exp2(edge * F(-1.0 / 6.0 / math.log(2.0)))) * (F(10.0) + F(0.02) * d_km)
    return loss if nu > NO_LOSS else ZERO


@njit(**KERNEL)
def bullington_batch(nu, d_km, squared_m2, free_db):
    """Free space plus Bullington loss of paths: nu is replaced by the loss, dB. NaN stays NaN.

    nu, squared_m2 (the slant distance squared): float32 (stops, cells); d_km: float32 (cells,);
    free_db: free-space loss at 1 m.
    """
    free = F(free_db)
    for s in range(nu.shape[0]):
        nu_s, squared_s = nu[s], squared_m2[s]
        for i in range(d_km.size):
            loss = free + DB_A_LOG2 * _log2(squared_s[i]) + _corrected_edge_db(nu_s[i], d_km[i])
            nu_s[i] = loss if nu_s[i] == nu_s[i] else nu_s[i]


@njit(**KERNEL)
def _height_gain_db(y, floor_db):
    """G(Y) of P.526-15 section 3.1.1.2, not below its floor."""
    beyond = max(y - F(1.1), TINY)
    log_db = DB_A_LOG2 * _log2(beyond if y > TWO else y + F(0.1) * y * y * y)
    far = F(17.6) * np.sqrt(beyond) - HALF * log_db - F(8.0)
    return max(far if y > TWO else TWO * log_db, floor_db)


@njit(**KERNEL)
def smooth_excess_batch(work, count, cell_km, radius_km, frequency_ghz, wavelength_m, vertical):
    """What the smooth Earth adds, max(Lsph - Lbulls, 0), dB, written to work[3].

    work: float32 (4, at least count); rows 0-2 hold distance km, transmitter and receiver height above the
    smooth surface in metres, both above 0.
    """
    imaginary = 18.0 * CONDUCTIVITY / frequency_ghz
    k_unit = 0.036 * frequency_ghz ** (-1.0 / 3.0) * ((PERMITTIVITY - 1.0) ** 2 + imaginary**2) ** -0.25
    if vertical:
        k_unit *= math.sqrt(PERMITTIVITY**2 + imaginary**2)
    k_one = F(k_unit)  # K = this x a^(-1/3)
    k_one_db = F(20.0 * math.log10(k_unit))
    x_one = F(21.88 * frequency_ghz ** (1.0 / 3.0))
    y_one = F(0.9575 * frequency_ghz ** (2.0 / 3.0))
    a = F(radius_km)
    inverse_cell = F(1.0 / cell_km)
    bulge = F((1000.0 * cell_km) ** 2 / (2000.0 * radius_km))  # metres at one cell from the end
    wave = F(wavelength_m)
    nu_scale = F(2.0 / (wavelength_m * 1000.0 * cell_km))
    distance, tx, rx, excess = work[0], work[1], work[2], work[3]
    for i in range(count):
        d, t, r = distance[i], tx[i], rx[i]
        total = t + r
        root_t, root_r = np.sqrt(t), np.sqrt(r)
        roots = root_t + root_r
        # Spherical loss, section 3.2. The reflection point solves m b^3 - (m + 1) b + c = 0.
        m = F(250.0) * d * d / (a * total)
        c = (t - r) / total
        b = c / (ONE + m)
        for _ in range(3):
            # In sight (m <= 1) the slope stays below 0; the bound keeps cells beyond sight finite.
            b -= (b * (m * b * b - m - ONE) + c) / min(F(3.0) * m * b * b - m - ONE, F(-0.05))
        b = min(max(b, F(-0.999)), F(0.999))
        near = HALF * d * (ONE + b)
        far = d - near
        over_t = t - F(500.0) * near * near / a
        over_r = r - F(500.0) * far * far / a
        clearance = (over_t * far + over_r * near) / d
        needed = F(17.456) * np.sqrt(near * far * wave / d)
        grazing = F(500.0) * d * d / (roots * roots)
        beyond = grazing >= a  # out of sight over the smooth Earth
        log_a = _log2(min(grazing, a))
        inverse_cube = _exp2(log_a * F(-1.0 / 3.0))
        k = k_one * inverse_cube
        k2 = k * k
        beta = (ONE + k2 * (F(1.6) + F(0.67) * k2)) / (ONE + k2 * (F(4.5) + F(1.53) * k2))
        x = beta * x_one * inverse_cube * inverse_cube * d
        y = beta * beta * y_one * inverse_cube
        log_x = _log2(x)
        f_far = F(11.0) + DB_A_LOG2 * log_x - F(17.6) * x
        f_near = F(-2.0) * DB_A_LOG2 * log_x - F(5.6488) * _exp2(min(F(1.425) * log_x, F(20.0)))
        floor_db = TWO + k_one_db - F(2.0 / 3.0) * DB_A_LOG2 * log_a
        first = (
            -(f_far if x >= F(1.6) else f_near) - _height_gain_db(y * t, floor_db) - _height_gain_db(y * r, floor_db)
        )
        share = ONE if beyond else max(ONE - clearance / needed, ZERO)
        sphere = share * (first if beyond else max(first, ZERO))
        # Bullington on the smooth surface. In sight: the clearance is least, in nu, at fraction z of the path,
        # t - (t + r) z + k z (1 - z)(1 - 2 z) = 0; start between the flat and the grazing answer.
        cells = d * inverse_cell
        last = np.floor(cells + HALF) - ONE
        curve = bulge * cells * cells
        z = t / total
        z += (root_t / roots - z) * min(curve / (roots * roots), ONE)
        slope = curve * (ONE - F(6.0) * z * (ONE - z)) - total
        z -= (t - total * z + curve * z * (ONE - z) * (ONE - TWO * z)) / min(slope, F(-0.1) * total)
        low = min(max(np.floor(z * cells), ONE), last)
        high = min(low + ONE, last)
        nu_low = -(t + (r - t) * low / cells - bulge * low * (cells - low)) * np.sqrt(
            nu_scale * cells / (low * (cells - low))
        )
        nu_high = -(t + (r - t) * high / cells - bulge * high * (cells - high)) * np.sqrt(
            nu_scale * cells / (high * (cells - high))
        )
        # Out of sight: the two tangents meet above the bulge.
        line = (r - t) / cells
        rise_t = bulge * cells - TWO * np.sqrt(bulge * t)
        rise_r = bulge * cells - TWO * np.sqrt(bulge * r)
        point = min(max((r - t + rise_r * cells) / max(rise_t + rise_r, TINY), HALF), cells - HALF)
        nu_edge = (rise_t - line) * point * np.sqrt(nu_scale * cells / (point * (cells - point)))
        smooth = _corrected_edge_db(nu_edge if beyond else max(nu_low, nu_high), d)
        excess[i] = max(sphere - smooth, ZERO)


@njit(**KERNEL)
def losses_in_place(paths, smooth_count, link, order, out):
    """Losses of a job's `paths`, put at `order` (n,) of out (stops, all cells), float32.

    `paths` and `link` are those of `coverage_rays`; paths.nu and paths.smooth are overwritten.
    """
    frequency_ghz = SPEED_OF_LIGHT_M_S / link.wavelength * 1e-9
    free_db = 20.0 * math.log10(4.0 * math.pi / link.wavelength)
    loss, smooth = paths.nu, paths.smooth
    bullington_batch(loss, paths.distance, paths.squared, free_db)
    smooth_excess_batch(
        smooth, smooth_count, link.cell / 1000.0, link.radius / 1000.0, frequency_ghz, link.wavelength, link.vertical
    )
    flat = loss.reshape(loss.size)
    for j in range(smooth_count):
        flat[paths.smooth_index[0, j]] += smooth[3, j]
        if paths.smooth_index[1, j] >= 0:
            flat[paths.smooth_index[1, j]] += smooth[3, j]
    for s in range(loss.shape[0]):
        for c in range(order.size):
            out[s, order[c]] = loss[s, c]
