"""What sectors that are not aimed quite as told, on a mast that is not quite plumb, do to a share; values only.

The mast may be turned from the bearing told (all its sectors with it) and lean to any side. About the best bearings a
share is a hill: whichever way it is turned it mostly falls, so that the mean moves too, not the spread alone. Both
follow from the share a standard deviation to either side, by a parabola through the three.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from siteplanner.core.aim import best_sector_gain_db
from siteplanner.core.antenna import SectorPattern
from siteplanner.core.link import LinkParameters, margin_db, service_probability

MOST_CELLS = 800  # of an area's thousands, evenly taken: what they are off by is the same in all the shares compared


@dataclass(frozen=True)
class MountingDoubt:
    """A share or a mean chance: what the mounting is expected to add to the told figure, and one standard deviation."""

    bias: float
    spread: float


@dataclass(frozen=True, eq=False)
class Toward:
    """Places as the mast head sees them, one value each; `weight` is of the whole that adds up to 1."""

    weight: np.ndarray
    loss_db: np.ndarray
    bearing_deg: np.ndarray
    elevation_deg: np.ndarray


def mounting_doubt(
    toward: Toward,
    bearings_deg: np.ndarray,
    params: LinkParameters,
    pattern: SectorPattern,
    sigma_db: float,
    aim_deg: float,
    lean_deg: float,
    most: float = 1.0,
) -> MountingDoubt:
    """Of the expected share of the weight. Bearings all of one kind (grid or true).

    aim_deg, lean_deg: one standard deviation of the turn about the mast, and of its lean along each of two axes. most:
    the highest chance that is told of a place. Places of unknown loss count as not served, here as there.
    """
    known = np.flatnonzero((toward.weight > 0) & np.isfinite(toward.loss_db))
    step = max(1, len(known) // MOST_CELLS)
    picked = known[step // 2 :: step]
    if not len(picked):
        return MountingDoubt(0.0, 0.0)
    part = float(toward.weight[known].sum()) / float(toward.weight[picked].sum())
    weight, loss = toward.weight[picked] * part, toward.loss_db[picked].astype(float)
    bearing, elevation = toward.bearing_deg[picked].astype(float), toward.elevation_deg[picked].astype(float)

    north, east = np.cos(np.radians(bearing)), np.sin(np.radians(bearing))

    def share(turned: float, to_north: float, to_east: float) -> float:
        up = elevation + to_north * north + to_east * east
        gain = best_sector_gain_db(bearing - turned, up, bearings_deg, pattern)
        chance = service_probability(margin_db(params, loss, gain), sigma_db)
        return float((weight * np.minimum(chance, most)).sum())

    told = share(0.0, 0.0, 0.0)
    moves = np.diag([aim_deg, lean_deg, lean_deg])
    pairs = [(share(*move), share(*-move)) for move in moves]
    # told + slope e + bend e^2 with e of the standard normal distribution: mean bend, variance slope^2 + 2 bend^2
    slopes = [(high - low) / 2 for high, low in pairs]
    bends = [(high + low) / 2 - told for high, low in pairs]
    return MountingDoubt(sum(bends), math.sqrt(sum(s**2 for s in slopes) + 2 * sum(b**2 for b in bends)))
