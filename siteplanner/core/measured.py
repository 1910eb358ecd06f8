"""What readings on the ground say of the error that all predictions share, and of the spread from place to place.

A reading of a level differs from the prediction by `c + h + u`: `c` the model's error that is the same everywhere
(prior normal, mean 0), `h` the error of the instrument (normal), `u` the shadow of the place (log-normal level: normal
in dB, its deviation known about, prior log-normal). A reading of service yes or no says on which side of the threshold
the level lay: P(yes) = Phi((margin + c + h) / deviation).

Wild readings: each reading is, with a small chance, any level that can be reported at all (the gross-error model of
P. J. Huber, Robust estimation of a location parameter, Ann. Math. Stat. 35, 1964, 73-101, from memory, with a flat
contamination). So a reading far from all others counts for nothing, however far it is.

Readings near one another share their shadow: correlation exp(-d / D) (M. Gudmundson, Electronics Letters 27, 1991,
2145-2146). Each counts with the inverse of the correlations around it; the sum of these is scaled so that the mean so
weighted has exactly its variance under that correlation. The posterior is worked out on a grid of c and the deviation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

WILD = 0.05  # chance that a reading is of something else; common practice, no source
REPORTED_DB = 96.0  # -140 to -44 dBm, 3GPP TS 36.133 Table 9.1.4-1 (from memory)
SPREAD_KNOWN = 0.25  # of the logarithm of the deviation from place to place; common practice, no source
LEAST_SIGMA_DB = 1.0  # no ground is more alike than this; common practice, no source
NINE_IN_TEN = (0.05, 0.95)
MOST_GROUPS = 1500  # beyond so many, readings of wider squares are taken together
_BIN = 0.25  # of the correlation distance: readings of one square this wide are one, and correlate with 0.78 or more
_SIGMAS, _REACH, _LEAST_REACH_DB = 15, 6.0, 30.0
_FINEST_DB, _COARSEST_DB = 0.1, 0.5  # steps of the grid of the shared error; two thirds of the mean's own deviation


@dataclass(frozen=True, eq=False)
class Observed:
    """Readings as arrays (n,). Levels have `residual_db`, measured minus predicted; yes and no have `margin_db`, the
    predicted level over the one that serves, and `served`, the share of yes. NaN where it is the other kind."""

    x_m: np.ndarray
    y_m: np.ndarray
    residual_db: np.ndarray
    margin_db: np.ndarray
    served: np.ndarray
    extra_sigma_db: np.ndarray  # of the way in, where the reading was taken inside something


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is known of the shared error and of the spread from place to place; dB. `low`, `high`: 9 in 10.

    `wild`: (n,) chance that each reading is of something else. `counted`: as how many independent readings they count.
    """

    prior_db: float  # one standard deviation of the shared error before
    mean_db: float
    spread_db: float
    low_db: float
    high_db: float
    place_db: float
    place_low_db: float
    place_high_db: float
    counted: float
    wild: np.ndarray


def in_squares(seen: Observed, alike_m: float) -> Observed:
    """Readings of one square taken together: median of levels, share of yes.

    Squares are a quarter of the correlation distance wide, wider where there would be more than MOST_GROUPS.
    """
    width, count = alike_m * _BIN, len(seen.x_m)
    is_level = np.isfinite(seen.residual_db)
    while True:
        keys = np.stack(
            [np.floor(seen.x_m / width), np.floor(seen.y_m / width), is_level.astype(float), seen.extra_sigma_db], 1
        )
        _, group = np.unique(keys, axis=0, return_inverse=True) if count else (keys, np.zeros(0, int))
        group = group.reshape(-1)
        groups = int(group.max()) + 1 if count else 0
        if groups <= MOST_GROUPS:
            break
        width *= 2
    order = np.argsort(group, kind="stable")
    rows = np.split(order, np.searchsorted(group[order], np.arange(1, groups))) if groups else []

    def of(values: np.ndarray, middle: bool = True) -> np.ndarray:
        return np.array([np.median(values[r]) if middle else np.mean(values[r]) for r in rows], float)

    return Observed(
        of(seen.x_m, False), of(seen.y_m, False), of(seen.residual_db), of(seen.margin_db), of(seen.served, False),
        of(seen.extra_sigma_db),
    )  # fmt: skip


def worths(x_m: np.ndarray, y_m: np.ndarray, alike_m: float) -> np.ndarray:
    """(n,) as how much of an independent reading each counts; their sum is 1 / var of the mean, in units of the spread.

    One alone counts 1, k at one place 1 / k each.
    """
    if not len(x_m):
        return np.zeros(0)
    alike = np.exp(-np.hypot(x_m[:, None] - x_m, y_m[:, None] - y_m) / alike_m)
    part = 1 / alike.sum(1)
    return part * float(part.sum() / (part @ alike @ part))


def posterior(
    seen: Observed, *, prior_db: float, place_db: float, device_db: float, devices: float = 1.0, alike_m: float = 120.0
) -> Posterior:
    """The shared error and the spread, given the readings.

    prior_db: standard deviation of the shared error before; place_db: the stated one from place to place; device_db: of
    one instrument, `devices` as many as read independently of each other. Nothing read, or a prior of 0: the prior.
    """
    known_low, known_high = (place_db * math.exp(s * 1.6449 * SPREAD_KNOWN) for s in (-1, 1))
    nothing = Posterior(
        prior_db, 0.0, prior_db, -1.6449 * prior_db, 1.6449 * prior_db, place_db, known_low, known_high, 0.0,
        np.zeros(len(seen.x_m)),
    )  # fmt: skip
    if not len(seen.x_m) or prior_db <= 0:
        return nothing
    merged = in_squares(seen, alike_m)
    worth = worths(merged.x_m, merged.y_m, alike_m)
    device = device_db / math.sqrt(max(devices, 1.0))
    reach = max(_REACH * math.hypot(prior_db, device), _LEAST_REACH_DB)
    middle = max(place_db, LEAST_SIGMA_DB)
    step = float(np.clip(middle / math.sqrt(worth.sum()) / 1.5, _FINEST_DB, _COARSEST_DB))
    shift = np.linspace(-reach, reach, 2 * math.ceil(reach / step) + 1)
    sigma = middle * np.exp(np.linspace(-4, 4, _SIGMAS) * SPREAD_KNOWN)
    log = np.zeros((len(shift), _SIGMAS))
    is_level = np.isfinite(merged.residual_db)
    for rows, chance in ((np.flatnonzero(is_level), _log_level), (np.flatnonzero(~is_level), _log_side)):
        for part in np.array_split(rows, len(rows) // 500 + 1) if len(rows) else ():
            for k, s in enumerate(sigma):
                log[:, k] += chance(merged, part, shift, s) @ worth[part]
    log -= np.log(sigma / middle) ** 2 / (2 * SPREAD_KNOWN**2)
    joint = np.exp(log - log.max())  # of c + h and the deviation
    if device > 0:
        error = np.exp(-((shift[:, None] - shift) ** 2) / (2 * device**2))
        error /= error.sum(1, keepdims=True)
        joint = error @ joint
    joint *= np.exp(-(shift**2) / (2 * prior_db**2))[:, None]
    joint /= joint.sum()
    of_shift, of_sigma = joint.sum(1), joint.sum(0)
    mean = float(of_shift @ shift)
    spread = math.sqrt(max(float(of_shift @ (shift - mean) ** 2), 0.0))
    low, high = _quantiles(shift, of_shift)
    place_low, place_high = _quantiles(sigma, of_sigma)
    place = float(of_sigma @ sigma)
    return Posterior(
        prior_db, mean, spread, low, high, place, place_low, place_high, float(worth.sum()),
        _wild(seen, mean, place),
    )  # fmt: skip


def _quantiles(at: np.ndarray, chance: np.ndarray) -> tuple[float, float]:
    below = np.cumsum(chance) - chance / 2
    low, high = (float(np.interp(q, below, at)) for q in NINE_IN_TEN)
    return low, high


def _log_level(seen: Observed, part: np.ndarray, shift: np.ndarray, sigma: float) -> np.ndarray:
    """(shifts, readings of the part) of levels."""
    spread = np.hypot(sigma, seen.extra_sigma_db[part])
    off = (seen.residual_db[part] - shift[:, None]) / spread
    fits = (1 - WILD) * np.exp(-(off**2) / 2) / (spread * math.sqrt(2 * math.pi))
    return np.log(fits + WILD / REPORTED_DB)


def _log_side(seen: Observed, part: np.ndarray, shift: np.ndarray, sigma: float) -> np.ndarray:
    """(shifts, readings of the part) of yes and no."""
    chance = ndtr((seen.margin_db[part] + shift[:, None]) / np.hypot(sigma, seen.extra_sigma_db[part]))
    yes = seen.served[part]
    above, below = (np.log((1 - WILD) * side + WILD / 2) for side in (chance, 1 - chance))
    return yes * above + (1 - yes) * below


def _wild(seen: Observed, mean: float, place: float) -> np.ndarray:
    """Chance that each reading is of something else, at the posterior's means."""
    spread = np.hypot(place, seen.extra_sigma_db)
    off = (seen.residual_db - mean) / spread
    fits = (1 - WILD) * np.exp(-(off**2) / 2) / (spread * math.sqrt(2 * math.pi))
    z = (seen.margin_db + mean) / spread
    told = (1 - WILD) * np.where(seen.served > 0.5, ndtr(z), ndtr(-z))
    level = np.isfinite(seen.residual_db)
    other = np.where(level, WILD / REPORTED_DB, WILD / 2)
    return other / (other + np.where(level, fits, told))


def shares_at(
    margin_db: np.ndarray, weight: np.ndarray, place_db: float, model_db: float, found: Posterior
) -> tuple[float, float, float]:
    """(expected, low, high) share of the weights served at margins that do not hold the shared error yet; 9 in 10.

    NaN margins serve nobody. weight: (n,), their sum is the whole. model_db: the part of the shared error that the
    expected share is spread by, as the plan's is.
    """
    known, total = np.isfinite(margin_db), float(weight.sum())
    if total <= 0:
        return math.nan, math.nan, math.nan

    def share(off_db: float, spread_db: float) -> float:
        spread = max(spread_db, 1e-6)
        return float((weight[known] * ndtr((margin_db[known] + off_db) / spread)).sum()) / total

    middle = share(found.mean_db, math.hypot(place_db, model_db))
    low, high = share(found.low_db, place_db), share(found.high_db, place_db)
    return middle, min(low, middle), max(high, middle)


@dataclass(frozen=True)
class ClassRow:
    """Residuals of one class, by its number: how many, their median, the deviation about their mean (NaN below two)."""

    number: int
    count: int
    median_db: float
    spread_db: float


def by_class(residual_db: np.ndarray, classes: np.ndarray) -> tuple[ClassRow, ...]:
    """A row for each class that has a level. classes: (n,) whole numbers, negative: of none."""
    rows = []
    for number in sorted({int(c) for c in classes if c >= 0}):
        own = residual_db[(classes == number) & np.isfinite(residual_db)]
        if len(own):
            spread = float(own.std(ddof=1)) if len(own) > 1 else math.nan
            rows.append(ClassRow(number, len(own), float(np.median(own)), spread))
    return tuple(rows)
