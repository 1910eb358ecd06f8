"""The slow twin of the coverage kernel: one path at a time, every sample, double precision.

Written from ITU-R P.526-15 section 4.5 and P.525; it shares nothing with the product, so that a slip in one
shows as a difference. `test_propagation` holds it against pycraf before anything leans on it.
"""

import math

import numpy as np
from numba import njit

A_E_KM = 4.0 / 3.0 * 6371.0


@njit(cache=True, nogil=True)
def bilinear(z, y, x):
    i = min(math.floor(y), z.shape[0] - 1)
    j = min(math.floor(x), z.shape[1] - 1)
    fy, fx = y - i, x - j
    total = (1 - fy) * (1 - fx) * z[i, j] if (1 - fy) * (1 - fx) > 0 else 0.0
    if fx > 0:
        total += (1 - fy) * fx * z[i, j + 1] if fy < 1 else 0.0
    if fy > 0:
        total += fy * (1 - fx) * z[i + 1, j] if fx < 1 else 0.0
    if fx > 0 and fy > 0:
        total += fx * fy * z[i + 1, j + 1]
    return total


@njit(cache=True, nogil=True)
def edge_db(nu):
    if nu <= -0.78:
        return 0.0
    return 6.9 + 20 * math.log10(math.sqrt((nu - 0.1) ** 2 + 1) + nu - 0.1)


@njit(cache=True, nogil=True)
def bullington(d, h, hts, hrs, a_km, lam):
    """nu and whether blocked; d in km from the mast, last is the receiver."""
    D = d[-1]
    stim, srim, numax = -1e30, -1e30, -1e30
    for i in range(1, d.size - 1):
        b = h[i] + 500.0 / a_km * d[i] * (D - d[i])
        stim = max(stim, (b - hts) / d[i])
        srim = max(srim, (b - hrs) / (D - d[i]))
        line = (hts * (D - d[i]) + hrs * d[i]) / D
        numax = max(numax, (b - line) * math.sqrt(0.002 * D / (lam * d[i] * (D - d[i]))))
    if stim < (hrs - hts) / D:
        return numax, False
    p = (hrs - hts + srim * D) / (stim + srim)
    nu = (hts + stim * p - (hts * (D - p) + hrs * p) / D) * math.sqrt(0.002 * D / (lam * p * (D - p)))
    return nu, True


@njit(cache=True, nogil=True)
def corrected_db(nu, D):
    j = edge_db(nu)
    return j + (1 - math.exp(-j / 6)) * (10 + 0.02 * D)


@njit(cache=True, nogil=True)
def residue_db(D, h1, h2, a_km, f_ghz, vertical):
    s = 18 * 0.003 / f_ghz
    K = 0.036 * (a_km * f_ghz) ** (-1 / 3) * ((22.0 - 1) ** 2 + s**2) ** (-0.25)
    if vertical:
        K *= math.sqrt(22.0**2 + s**2)
    beta = (1 + 1.6 * K**2 + 0.67 * K**4) / (1 + 4.5 * K**2 + 1.53 * K**4)
    X = 21.88 * beta * (f_ghz / a_km**2) ** (1 / 3) * D
    F = 11 + 10 * math.log10(X) - 17.6 * X if X >= 1.6 else -20 * math.log10(X) - 5.6488 * X**1.425
    loss = -F
    for h in (h1, h2):
        B = beta * 0.9575 * beta * (f_ghz**2 / a_km) ** (1 / 3) * h
        far, near = B - 1.1, B + 0.1 * B**3
        G = 17.6 * math.sqrt(far) - 5 * math.log10(far) - 8 if B > 2 else 20 * math.log10(near)
        loss -= max(G, 2 + 20 * math.log10(K))
    return loss


@njit(cache=True, nogil=True)
def sphere_db(D, h1, h2, a_km, f_ghz, lam, vertical):
    sight = math.sqrt(2 * a_km) * (math.sqrt(h1 / 1000) + math.sqrt(h2 / 1000))
    if sight <= D:
        return residue_db(D, h1, h2, a_km, f_ghz, vertical)
    c = (h1 - h2) / (h1 + h2)
    m = 250 * D * D / (a_km * (h1 + h2))
    b = (
        2
        * math.sqrt((m + 1) / (3 * m))
        * math.cos(math.pi / 3 + math.acos(3 * c / 2 * math.sqrt(3 * m / (m + 1) ** 3)) / 3)
    )
    d1 = D / 2 * (1 + b)
    d2 = D - d1
    clear = ((h1 - 500 * d1 * d1 / a_km) * d2 + (h2 - 500 * d2 * d2 / a_km) * d1) / D
    req = 17.456 * math.sqrt(d1 * d2 * lam / D)
    if clear > req:
        return 0.0
    aem = 500 * (D / (math.sqrt(h1) + math.sqrt(h2))) ** 2
    loss = residue_db(D, h1, h2, aem, f_ghz, vertical)
    return (1 - clear / req) * loss if loss > 0 else 0.0


@njit(cache=True, nogil=True)
def delta_bullington(d, g, h, htg, hrg, f_mhz, a_km, light, vertical, out):
    """Loss of a profile (km, m): g with what stands on the ground, h the ground itself, which the smooth surface
    follows (P.1812-6 section 4.3.4). out: loss, Bullington, smooth Bullington, sphere, nu, blocked."""
    D, n = d[-1], d.size
    lam = light / (f_mhz * 1e6)
    hts, hrs = h[0] + htg, h[-1] + hrg
    nu, blocked = bullington(d, g, hts, hrs, a_km, lam)
    v1 = v2 = 0.0
    for i in range(1, n):
        v1 += (d[i] - d[i - 1]) * (h[i] + h[i - 1])
        v2 += (d[i] - d[i - 1]) * (h[i] * (2 * d[i] + d[i - 1]) + h[i - 1] * (d[i] + 2 * d[i - 1]))
    hst, hsr = (2 * v1 * D - v2) / D**2, (v2 - v1 * D) / D**2
    hob = at = ar = -1e30
    for i in range(1, n - 1):
        o = h[i] - (hts * (D - d[i]) + hrs * d[i]) / D
        hob, at, ar = max(hob, o), max(at, o / d[i]), max(ar, o / (D - d[i]))
    if hob > 0:
        hst -= hob * at / (at + ar)
        hsr -= hob * ar / (at + ar)
    h1, h2 = hts - min(hst, h[0]), hrs - min(hsr, h[-1])
    smooth_nu, _ = bullington(d, np.zeros(n), h1, h2, a_km, lam)
    lba, lbs = corrected_db(nu, D), corrected_db(smooth_nu, D)
    lsph = sphere_db(D, h1, h2, a_km, f_mhz / 1000, lam, vertical)
    out[0], out[1], out[2], out[3] = lba + max(lsph - lbs, 0.0), lba, lbs, lsph
    out[4], out[5] = nu, 1.0 if blocked else 0.0


@njit(cache=True, nogil=True)
def twin(z, cell_m, row, col, mast_m, rx_m, f_mhz, rows, cols, vertical=True, top=None, clear_m=50.0):
    """(cells, 2): total loss with free space over the slant distance, and blocked 1/0; NaN where unknown.

    top: what stands on the ground and hides what is behind it, left out within clear_m of either end (P.452-18)."""
    out = np.empty((rows.size, 2))
    steps = np.empty(6)
    for c in range(rows.size):
        dr, dc = rows[c] - row, cols[c] - col
        L = math.sqrt(dr * dr + dc * dc)
        n = max(round(L), 2)
        d, h = np.empty(n + 1), np.empty(n + 1)
        for i in range(n):
            d[i], h[i] = i * cell_m / 1000, bilinear(z, row + dr * i / L, col + dc * i / L)
        d[n], h[n] = L * cell_m / 1000, bilinear(z, rows[c], cols[c])
        if np.isnan(h).any():
            out[c] = np.nan
            continue
        g = h.copy()
        if top is not None:
            for i in range(1, n):
                if i * cell_m > clear_m + 1e-6 and L * cell_m - i * cell_m > clear_m + 1e-6:
                    g[i] = max(h[i], bilinear(top, row + dr * i / L, col + dc * i / L))
        delta_bullington(d, g, h, mast_m, rx_m, f_mhz, A_E_KM, 299792458.0, vertical, steps)
        rise = h[n] + rx_m - h[0] - mast_m
        free = 10 * math.log10((L * cell_m) ** 2 + rise**2) + 20 * math.log10(4e6 * math.pi / 299792458.0 * f_mhz)
        out[c, 0], out[c, 1] = free + steps[0], steps[5]
    return out
