"""Channels beside each other, and the strength of a field from the power that an isotropic antenna takes of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def overlap_mhz(first_mhz: float, first_width_mhz: float, second_mhz: float, second_width_mhz: float) -> float:
    """How much of the spectrum two channels share, by their middles and widths; 0 where they only touch.

    Raises ValueError for widths of 0 or less.
    """
    if first_width_mhz <= 0 or second_width_mhz <= 0:
        raise ValueError("widths must be above 0 MHz")
    top = min(first_mhz + first_width_mhz / 2, second_mhz + second_width_mhz / 2)
    return max(top - max(first_mhz - first_width_mhz / 2, second_mhz - second_width_mhz / 2), 0.0)


def field_strength_dbuv_m(isotropic_dbm: ArrayLike, frequency_mhz: float) -> np.ndarray:
    """Field strength, dB over 1 microvolt a metre, from the power at an isotropic antenna; NaN stays NaN.

    E = P + 20 log10 f + 77.2 (ITU-R P.525-4, conversion formulae: P = E - 20 log10 f - 167.2 in dBW and GHz).
    Raises ValueError for a frequency of 0 or less.
    """
    if frequency_mhz <= 0:
        raise ValueError("frequency_mhz must be above 0")
    return np.asarray(isotropic_dbm, float) + 20 * np.log10(frequency_mhz) + 77.2
