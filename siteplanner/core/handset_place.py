"""Where the handset is: in the open, in a vehicle, in a building, and what the way in there costs.

Sources: ITU-R P.2109-2 (08/2023) for buildings (same model and constants as P.2109-1, from memory): median and spread
of the entry loss; 3GPP TR 38.901 section 7.4.3.2 for vehicles: normal with a mean of 9 dB and a deviation of 5 dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.clutter import Building, building_entry_db

HandsetPlace = Literal["outdoors", "vehicle", "building_traditional", "building_efficient"]

VEHICLE_MEAN_DB, VEHICLE_SIGMA_DB = 9.0, 5.0  # TR 38.901 section 7.4.3.2
ONE_SIGMA = 0.8413447460685429  # share of a normal distribution below its mean and one deviation


@dataclass(frozen=True)
class EntryLoss:
    """Median loss of the way in, and how far it differs from one vehicle or building to the next; dB."""

    median_db: float
    sigma_db: float


def entry_loss(place: HandsetPlace, frequency_mhz: float) -> EntryLoss:
    """Loss of the way in at a frequency; horizontal paths into buildings.

    The spread of P.2109 is not normal: its deviation here is half the distance between what 16 % and 84 % of the
    buildings stay below. Raises ValueError for a building below 80 MHz or above 100 GHz.
    """
    if place == "outdoors":
        return EntryLoss(0.0, 0.0)
    if place == "vehicle":
        return EntryLoss(VEHICLE_MEAN_DB, VEHICLE_SIGMA_DB)
    kind: Building = "traditional" if place == "building_traditional" else "efficient"
    low, middle, high = (
        float(building_entry_db(frequency_mhz, share, kind)) for share in (1 - ONE_SIGMA, 0.5, ONE_SIGMA)
    )
    return EntryLoss(middle, (high - low) / 2)


def spread_db(location_sigma_db: float, entry: EntryLoss) -> float:
    """Deviation of the level over places: that outdoors and that of the way in, independent of each other."""
    return math.hypot(location_sigma_db, entry.sigma_db)
