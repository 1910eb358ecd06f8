"""How much of the sky dome is free: for a terminal whose satellites move, from a horizon all round.

Such a terminal needs a cone of sky: every bearing, from a least elevation angle up to the zenith. Its share that is
free is weighted by solid angle, because a satellite is about as likely in one piece of sky as in another of the same
size (common practice, no source: real constellations crowd some latitudes of the sky).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

LEAST_ROOM_DEG = 1e-9  # an obstacle must stand higher than the cone's edge by more than rounding


@dataclass(frozen=True)
class Sector:
    """Neighbouring bearings, clockwise from the first to the last, both blocked; 0 to 360 is all round."""

    from_deg: float
    to_deg: float
    highest_deg: float  # of the horizon in it
    highest_at_deg: float  # bearing of that
    lost_share: float  # of the cone


@dataclass(frozen=True)
class DomeShare:
    """Share of the cone that is free, 0..1. `low` takes unknown ground as high as it can be, `high` as clear."""

    low: float
    high: float
    worst: Sector | None  # known ground that takes most; None: none stands in the cone
    unknown: Sector | None  # where unknown ground could take most; None: the horizon is known all round


def clear_share(horizon_deg: ArrayLike, min_elevation_deg: float) -> float:
    """Share of the cone above `min_elevation_deg` that stands above the horizon, 0..1.

    horizon_deg: (n,) angles at evenly spaced bearings all round; each stands for 360 / n degrees. The solid angle of
    a bearing's slice from the angle a to the zenith is (1 - sin a) x its width (the area of a sphere's zone,
    Archimedes), so the share is the mean of (1 - sin max(h, e)) / (1 - sin e): 1 for a flat horizon, 0.5 with half of
    the bearings walled to the zenith, (1 - sin h) / (1 - sin e) for a wall of height h all round.
    NaN if a horizon is NaN. Raises ValueError for no bearings or an elevation outside -90..90 (90 excluded).
    """
    horizon = np.asarray(horizon_deg, float)
    if horizon.ndim != 1 or horizon.size == 0:
        raise ValueError("horizon_deg must hold one angle for each of at least one bearing")
    return float(np.mean(_free(horizon, min_elevation_deg)))


def dome_share(horizon_deg: ArrayLike, possible_deg: ArrayLike, min_elevation_deg: float) -> DomeShare:
    """Bounds of the free share, with the sectors that take most.

    horizon_deg: (n,) highest angle that known ground shows, bearings 0, 360 / n, ... clockwise; NaN: nothing known.
    possible_deg: (n,) how high ground could stand there, the horizon itself where it is complete; NaN: anything.
    Raises ValueError as `clear_share`, and for unlike shapes.
    """
    known, possible = np.asarray(horizon_deg, float), np.asarray(possible_deg, float)
    if known.shape != possible.shape:
        raise ValueError("horizon_deg and possible_deg must be equally long")
    known = np.where(np.isnan(known), -90.0, known)
    possible = np.fmax(np.where(np.isnan(possible), 90.0, possible), known)
    high, low = clear_share(known, min_elevation_deg), clear_share(possible, min_elevation_deg)
    free_known, free_possible = _free(known, min_elevation_deg), _free(possible, min_elevation_deg)
    return DomeShare(
        low,
        high,
        _sector(known, known > min_elevation_deg + LEAST_ROOM_DEG, 1.0 - free_known),
        _sector(possible, free_known - free_possible > LEAST_ROOM_DEG, free_known - free_possible),
    )


def _free(horizon_deg: np.ndarray, min_elevation_deg: float) -> np.ndarray:
    """Free share of each bearing's slice of the cone."""
    if not -90 <= min_elevation_deg < 90:
        raise ValueError("min_elevation_deg must be at least -90 and below 90")
    edge = np.sin(np.radians(min_elevation_deg))
    top = np.sin(np.radians(np.clip(np.maximum(horizon_deg, min_elevation_deg), -90.0, 90.0)))
    return (1.0 - top) / (1.0 - edge)


def _sector(angle_deg: np.ndarray, hit: np.ndarray, lost: np.ndarray) -> Sector | None:
    """The run of neighbouring hit bearings, round the circle, that loses most."""
    n = hit.size
    if not hit.any():
        return None
    if hit.all():
        runs = [np.arange(n)]
    else:
        start = int(np.nonzero(~hit)[0][0])  # begin behind a free bearing, so that no run is cut at north
        order = (np.arange(n) + start) % n
        edges = np.flatnonzero(np.diff(np.concatenate(([0], hit[order].astype(np.int8), [0]))))
        runs = [order[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    worst = max(runs, key=lambda run: (float(lost[run].sum()), -int(run[0])))
    step = 360.0 / n
    top = int(worst[np.argmax(angle_deg[worst])])
    whole = len(worst) == n
    return Sector(
        0.0 if whole else float(worst[0] * step),
        360.0 if whole else float(worst[-1] * step),
        float(angle_deg[top]),
        top * step,
        float(lost[worst].sum()) / n,
    )
