"""The LTE link budget, both ways, and the chance of service.

Downlink: power of one resource element at the handset (RSRP) against the least that serves. Uplink: signal to
noise over the resource blocks that one handset is granted. A cell is as good as its weaker direction.

Sources: 3GPP TS 36.101 Table 6.3.2.1-1 (resource blocks); TS 36.211 section 6.2.3 (12 subcarriers of 15 kHz
in a block); thermal noise k T B at 290 K (ITU-R P.372); log-normal location variability (W. C. Jakes, Microwave
Mobile Communications, 1974, section 2.5; D. O. Reudink).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

RESOURCE_BLOCKS = {1.4: 6, 3.0: 15, 5.0: 25, 10.0: 50, 15.0: 75, 20.0: 100}  # TS 36.101 Table 6.3.2.1-1
SUBCARRIERS_A_BLOCK = 12  # TS 36.211 Table 6.2.3-1, normal cyclic prefix
SUBCARRIER_HZ = 15_000.0
BOLTZMANN_J_K = 1.380649e-23  # exact (SI)
NOISE_TEMPERATURE_K = 290.0  # reference temperature of noise figures

BudgetLine = tuple[str, float, str]


@dataclass(frozen=True)
class LinkParameters:
    """What the budget needs; names and defaults as the mission's radio part. dBi, dBm, dB."""

    frequency_mhz: float = 763.0
    uplink_frequency_mhz: float | None = None
    bandwidth_mhz: float = 10.0
    tx_power_dbm: float = 40.0
    antenna_gain_dbi: float = 14.0
    cable_loss_db: float = 1.5
    noise_figure_db: float = 5.0
    handset_power_dbm: float = 23.0
    handset_gain_dbi: float = -3.0
    handset_noise_figure_db: float = 9.0
    body_loss_db: float = 3.0
    building_loss_db: float = 0.0
    interference_margin_db: float = 0.0
    min_rsrp_dbm: float = -116.0
    uplink_resource_blocks: int = 5
    uplink_min_snr_db: float = -3.0

    def __post_init__(self) -> None:
        if self.frequency_mhz <= 0 or (self.uplink_frequency_mhz or 1.0) <= 0:
            raise ValueError("frequencies must be above 0 MHz")
        if not 1 <= self.uplink_resource_blocks <= resource_blocks(self.bandwidth_mhz):
            raise ValueError(
                f"uplink_resource_blocks must be 1 to {resource_blocks(self.bandwidth_mhz)} "
                f"in a {self.bandwidth_mhz:g} MHz channel"
            )


def resource_blocks(bandwidth_mhz: float) -> int:
    """Resource blocks of an LTE channel (TS 36.101 Table 6.3.2.1-1). Raises ValueError for other widths."""
    try:
        return RESOURCE_BLOCKS[float(bandwidth_mhz)]
    except KeyError:
        widths = ", ".join(f"{w:g}" for w in RESOURCE_BLOCKS)
        raise ValueError(f"an LTE channel is {widths} MHz wide, not {bandwidth_mhz!r}") from None


def thermal_noise_dbm(bandwidth_hz: ArrayLike) -> np.ndarray:
    """Noise power k T B at 290 K in dBm; -173.975 dBm in 1 Hz. Raises ValueError for widths of 0 or less."""
    width = np.asarray(bandwidth_hz, float)
    if np.any(width <= 0):
        raise ValueError("bandwidth_hz must be above 0")
    return 10.0 * np.log10(BOLTZMANN_J_K * NOISE_TEMPERATURE_K * width * 1000.0)


def uplink_offset_db(params: LinkParameters) -> float:
    """How much more the uplink loses because of its own frequency: free-space part, 20 log10(f_up / f_down).

    Diffraction differs too (about half as much again in deep shadow); over a duplex gap that is a few tenths.
    """
    if params.uplink_frequency_mhz is None:
        return 0.0
    return 20.0 * math.log10(params.uplink_frequency_mhz / params.frequency_mhz)


def _down_lines(params: LinkParameters) -> list[BudgetLine]:
    share = -10.0 * math.log10(SUBCARRIERS_A_BLOCK * resource_blocks(params.bandwidth_mhz))
    return [
        ("Downlink: sector power, all resource blocks", params.tx_power_dbm, "dBm"),
        ("Downlink: share of one resource element", share, "dB"),
        ("Downlink: mast cable", -params.cable_loss_db, "dB"),
        ("Downlink: sector antenna gain", params.antenna_gain_dbi, "dBi"),
    ]


def _up_lines(params: LinkParameters) -> list[BudgetLine]:
    return [
        ("Uplink: handset power", params.handset_power_dbm, "dBm"),
        ("Uplink: handset antenna gain", params.handset_gain_dbi, "dBi"),
        ("Uplink: body", -params.body_loss_db, "dB"),
        ("Uplink: building", -params.building_loss_db, "dB"),
    ]


def budget(params: LinkParameters, path_loss_db: float, pattern_gain_db: float) -> list[BudgetLine]:
    """One path's budget as lines (item, value, unit), to be added by hand.

    Every line is an addend with its sign, but lines that begin with `= `: those are the sum of the addends of
    their direction so far. The last line is the weaker direction's margin, equal to `margin_db`.
    path_loss_db: basic transmission loss at the downlink frequency. pattern_gain_db: 0 or less.
    """
    path, pattern = float(path_loss_db), float(pattern_gain_db)
    down = [
        *_down_lines(params),
        ("Downlink: off the sector's peak", pattern, "dB"),
        ("Downlink: path", -path, "dB"),
        ("Downlink: building", -params.building_loss_db, "dB"),
        ("Downlink: body", -params.body_loss_db, "dB"),
        ("Downlink: handset antenna gain", params.handset_gain_dbi, "dBi"),
        ("Downlink: interference margin", -params.interference_margin_db, "dB"),
    ]
    rsrp = sum(value for _, value, _ in down)
    down += [
        ("= Downlink: RSRP at the handset", rsrp, "dBm"),
        ("Downlink: least RSRP that serves, taken off", -params.min_rsrp_dbm, "dB"),
        ("= Downlink: margin", rsrp - params.min_rsrp_dbm, "dB"),
    ]
    up = [
        *_up_lines(params),
        ("Uplink: path", -path, "dB"),
        ("Uplink: path, for its own frequency", -uplink_offset_db(params), "dB"),
        ("Uplink: sector antenna gain", params.antenna_gain_dbi, "dBi"),
        ("Uplink: off the sector's peak", pattern, "dB"),
        ("Uplink: mast cable", -params.cable_loss_db, "dB"),
        ("Uplink: interference margin", -params.interference_margin_db, "dB"),
    ]
    received = sum(value for _, value, _ in up)
    width_hz = params.uplink_resource_blocks * SUBCARRIERS_A_BLOCK * SUBCARRIER_HZ
    noise = float(thermal_noise_dbm(width_hz))
    margin_up = received - noise - params.noise_figure_db - params.uplink_min_snr_db
    up += [
        ("= Uplink: power at the base station", received, "dBm"),
        (f"Uplink: noise in {params.uplink_resource_blocks} resource blocks, taken off", -noise, "dB"),
        ("Uplink: noise figure of the base station", -params.noise_figure_db, "dB"),
        ("Uplink: least signal to noise, taken off", -params.uplink_min_snr_db, "dB"),
        ("= Uplink: margin", margin_up, "dB"),
    ]
    weaker = min(rsrp - params.min_rsrp_dbm, margin_up)
    # + 0.0 turns a minus zero into a zero.
    return [(item, value + 0.0, unit) for item, value, unit in down + up] + [
        ("= Margin of the weaker direction", weaker, "dB")
    ]


def allowed_loss_db(params: LinkParameters) -> tuple[float, float]:
    """Largest path loss (down, up) that still serves on the sector's peak, dB, at the downlink frequency."""
    lines = budget(params, 0.0, 0.0)
    margins = [value for item, value, _ in lines if item in ("= Downlink: margin", "= Uplink: margin")]
    return margins[0], margins[1]


def margin_db(params: LinkParameters, path_loss_db: ArrayLike, pattern_gain_db: ArrayLike = 0.0) -> np.ndarray:
    """Margin of the weaker direction, dB: min(allowed down, allowed up) - path loss + pattern gain.

    path_loss_db at the downlink frequency; shapes broadcast; NaN stays NaN.
    """
    # A plain float keeps float32 losses float32.
    return min(allowed_loss_db(params)) - np.asarray(path_loss_db) + np.asarray(pattern_gain_db)


def service_probability(margin_db: ArrayLike, sigma_db: float) -> np.ndarray:
    """Share of places at this median margin that have service, 0..1: Phi(margin / sigma).

    Log-normal location variability; sigma_db 0 is a hard edge (1 at a margin of 0 and more).
    NaN stays NaN. Raises ValueError for a negative sigma_db.
    """
    margin = np.asarray(margin_db)
    if sigma_db < 0:
        raise ValueError("sigma_db must not be negative")
    if sigma_db == 0:
        return np.where(np.isnan(margin), np.nan, (margin >= 0).astype(float))
    return ndtr(margin / float(sigma_db))
