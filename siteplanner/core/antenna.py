"""Sector antenna patterns, relative to the peak; the width of a dish's beam.

Sources: 3GPP TR 36.942 section 4.2.1 (horizontal plane); 3GPP TR 36.814 Table A.2.1.1-2 (vertical plane and
how both combine; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import SPEED_OF_LIGHT_M_S

DISH_BEAM_FACTOR = 70.0  # half-power beam in degrees = 70 wavelengths / diameters: handbooks, from memory


def dish_beam_deg(diameter_m: float, frequency_ghz: float) -> float:
    """Width of a reflector's beam between its half-power points, degrees; for dishes of several wavelengths."""
    return DISH_BEAM_FACTOR * SPEED_OF_LIGHT_M_S / (frequency_ghz * 1e9) / diameter_m


@dataclass(frozen=True)
class SectorPattern:
    """The figures of one sector antenna; same meaning and defaults as in `sector_gain_db`."""

    beamwidth_deg: float = 65.0
    front_to_back_db: float = 20.0
    vertical_beamwidth_deg: float = 10.0
    side_lobe_db: float = 20.0
    downtilt_deg: float = 0.0

    def gain_db(self, azimuth_off_deg: ArrayLike, elevation_deg: ArrayLike = 0.0) -> np.ndarray:
        """`sector_gain_db` with this antenna's figures."""
        return sector_gain_db(
            azimuth_off_deg,
            elevation_deg,
            self.beamwidth_deg,
            self.front_to_back_db,
            self.vertical_beamwidth_deg,
            self.side_lobe_db,
            self.downtilt_deg,
        )


def horizontal_loss_db(
    azimuth_off_deg: ArrayLike, beamwidth_deg: float = 65.0, front_to_back_db: float = 20.0
) -> np.ndarray:
    """Loss off the sector bearing, min(12 (phi / phi3)^2, A_m), dB >= 0 (TR 36.942 section 4.2.1).

    Angles wrap. A beamwidth of 360 means an antenna that is alike all round: 0 everywhere.
    Raises ValueError for a beamwidth outside 0 (excluded) to 360.
    """
    if not 0 < beamwidth_deg <= 360:
        raise ValueError("beamwidth_deg must be above 0 and at most 360")
    off = np.asarray(azimuth_off_deg, float)
    if beamwidth_deg == 360:
        return np.where(np.isnan(off), np.nan, 0.0)
    off = np.abs((off + 180.0) % 360.0 - 180.0)
    return np.minimum(12.0 * (off / beamwidth_deg) ** 2, front_to_back_db)


def vertical_loss_db(
    elevation_off_deg: ArrayLike,
    vertical_beamwidth_deg: float = 10.0,
    side_lobe_db: float = 20.0,
    downtilt_deg: float = 0.0,
) -> np.ndarray:
    """Loss off the tilted beam, min(12 ((theta + tilt) / theta3)^2, SLA_v), dB >= 0.

    3GPP TR 36.814 Table A.2.1.1-2.

    elevation_off_deg: angle of the direction above the antenna's horizontal; below is negative.
    downtilt_deg: positive points the beam below the horizontal, so that the peak is at -downtilt_deg.
    Raises ValueError for a beamwidth of 0 or less.
    """
    if not vertical_beamwidth_deg > 0:
        raise ValueError("vertical_beamwidth_deg must be above 0")
    off = np.asarray(elevation_off_deg, float) + downtilt_deg
    return np.minimum(12.0 * (off / vertical_beamwidth_deg) ** 2, side_lobe_db)


def sector_gain_db(
    azimuth_off_deg: ArrayLike,
    elevation_off_deg: ArrayLike = 0.0,
    beamwidth_deg: float = 65.0,
    front_to_back_db: float = 20.0,
    vertical_beamwidth_deg: float = 10.0,
    side_lobe_db: float = 20.0,
    downtilt_deg: float = 0.0,
) -> np.ndarray:
    """Gain relative to the peak, dB, 0 or less: -min(A_H + A_V, A_m) (TR 36.814 Table A.2.1.1-2).

    azimuth_off_deg: direction minus sector bearing, either sense, wraps.
    elevation_off_deg: direction above the horizontal; **up is positive**, ground below the mast is negative.
    downtilt_deg: **down is positive**; the peak lies at elevation -downtilt_deg.
    Shapes broadcast; NaN stays NaN. Raises ValueError for beamwidths out of range.
    """
    horizontal = horizontal_loss_db(azimuth_off_deg, beamwidth_deg, front_to_back_db)
    vertical = vertical_loss_db(elevation_off_deg, vertical_beamwidth_deg, side_lobe_db, downtilt_deg)
    return -np.minimum(horizontal + vertical, front_to_back_db)


def directivity_dbi(pattern: SectorPattern) -> float:
    """Peak gain that a pattern has if it loses nothing, dBi: 4 pi over its power summed around the sphere.

    The beam is taken level: tilt turns it, it does not change what it holds. 65 by 10 degrees with floors of 20 dB
    gives 15.7 dBi, all round by 10 degrees 10.0 dBi; a real antenna has some tenths to 1 dB less. Midpoints of 0.5 by
    0.25 degrees: right to 0.01 dB for beams of 5 degrees and more.
    """
    azimuth = np.arange(-180.0, 180.0, 0.5) + 0.25
    elevation = np.arange(-90.0, 90.0, 0.25) + 0.125
    gain = sector_gain_db(
        azimuth[:, None],
        elevation,
        pattern.beamwidth_deg,
        pattern.front_to_back_db,
        pattern.vertical_beamwidth_deg,
        pattern.side_lobe_db,
    )
    held = float(np.sum(10 ** (gain / 10) * np.cos(np.radians(elevation)))) * np.radians(0.5) * np.radians(0.25)
    return float(10 * np.log10(4 * np.pi / held))
