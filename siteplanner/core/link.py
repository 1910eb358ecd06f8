"""The LTE link budget, both ways, and the chance of service.

Downlink: power of one resource element at the handset (RSRP, of one antenna port) against the least that serves.
Uplink: signal to noise over the resource blocks that one handset is granted. Both ask for the same kind of service
(`core.service_level`). A cell is as good as its weaker direction.

Sources: 3GPP TS 36.101 Table 6.3.2.1-1 (resource blocks); TS 36.211 section 6.2.3 (12 subcarriers of 15 kHz
in a block); thermal noise k T B at 290 K (ITU-R P.372); log-normal location variability (W. C. Jakes, Microwave
Mobile Communications, 1974, section 2.5; D. O. Reudink).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from siteplanner.core.handset_place import EntryLoss, HandsetPlace, entry_loss
from siteplanner.core.service_level import SERVICES, ServiceKind, needed_snr_db

RESOURCE_BLOCKS = {1.4: 6, 3.0: 15, 5.0: 25, 10.0: 50, 15.0: 75, 20.0: 100}  # TS 36.101 Table 6.3.2.1-1
SUBCARRIERS_A_BLOCK = 12  # TS 36.211 Table 6.2.3-1, normal cyclic prefix
SUBCARRIER_HZ = 15_000.0
BOLTZMANN_J_K = 1.380649e-23  # exact (SI)
NOISE_TEMPERATURE_K = 290.0  # reference temperature of noise figures

Direction = Literal["downlink", "uplink", "weaker"]


@dataclass(frozen=True)
class BudgetLine:
    """One line of a link budget: an addend with its sign, or the sum of its direction's addends so far.

    `weaker` is the direction whose margin is the smaller one; it has one line, a sum. `ends`: the margin of its
    direction.
    """

    direction: Direction
    item: str
    value: float
    unit: str
    is_sum: bool = False
    ends: bool = False


@dataclass(frozen=True)
class LinkParameters:
    """What the budget needs; names and defaults as the mission's radio part. dBi, dBm, dB.

    None where the kind of service or the handset's place says it; a stated value goes before that.
    """

    frequency_mhz: float = 763.0
    uplink_frequency_mhz: float | None = None
    bandwidth_mhz: float = 10.0
    tx_power_dbm: float = 33.0
    antenna_gain_dbi: float = 14.0
    cable_loss_db: float = 1.5
    noise_figure_db: float = 5.0
    handset_power_dbm: float = 23.0
    handset_gain_dbi: float = -3.0
    handset_noise_figure_db: float = 9.0
    body_loss_db: float = 3.0
    handset_place: HandsetPlace = "outdoors"
    building_loss_db: float | None = None
    interference_margin_db: float = 0.0
    service: ServiceKind = "data"
    min_rsrp_dbm: float | None = None
    uplink_resource_blocks: int | None = None
    uplink_min_snr_db: float | None = None
    measured_offset_db: float = 0.0

    def __post_init__(self) -> None:
        if self.frequency_mhz <= 0 or (self.uplink_frequency_mhz or 1.0) <= 0:
            raise ValueError("frequencies must be above 0 MHz")
        most = resource_blocks(self.bandwidth_mhz)
        if self.uplink_resource_blocks is not None and not 1 <= self.uplink_resource_blocks <= most:
            raise ValueError(f"uplink_resource_blocks must be 1 to {most} in a {self.bandwidth_mhz:g} MHz channel")

    @property
    def entry(self) -> EntryLoss:
        """Loss of the way in to the handset; a stated one is the same everywhere."""
        if self.building_loss_db is not None:
            return EntryLoss(self.building_loss_db, 0.0)
        return entry_loss(self.handset_place, self.frequency_mhz)

    @property
    def down_snr_db(self) -> float:
        """Signal to noise that the service needs at the handset, over the blocks that the channel has for it."""
        need = SERVICES[self.service].downlink
        return needed_snr_db(self.service, "downlink", min(need.blocks, resource_blocks(self.bandwidth_mhz)))

    @property
    def up_blocks(self) -> int:
        """Resource blocks granted to one handset at the edge."""
        own = SERVICES[self.service].uplink.blocks
        return self.uplink_resource_blocks or min(own, resource_blocks(self.bandwidth_mhz))

    @property
    def up_snr_db(self) -> float:
        """Signal to noise that the service needs at the base station."""
        if self.uplink_min_snr_db is not None:
            return self.uplink_min_snr_db
        return needed_snr_db(self.service, "uplink", self.up_blocks)

    @property
    def least_rsrp_dbm(self) -> float:
        """Least power of a resource element that serves: the stated one, or noise, noise figure and signal to noise."""
        if self.min_rsrp_dbm is not None:
            return self.min_rsrp_dbm
        return float(thermal_noise_dbm(SUBCARRIER_HZ)) + self.handset_noise_figure_db + self.down_snr_db


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
        BudgetLine("downlink", "power of an antenna port, all resource blocks", params.tx_power_dbm, "dBm"),
        BudgetLine("downlink", "share of one resource element", share, "dB"),
        BudgetLine("downlink", "mast cable", -params.cable_loss_db, "dB"),
        BudgetLine("downlink", "sector antenna gain", params.antenna_gain_dbi, "dBi"),
    ]


def _up_lines(params: LinkParameters) -> list[BudgetLine]:
    return [
        BudgetLine("uplink", "handset power", params.handset_power_dbm, "dBm"),
        BudgetLine("uplink", "handset antenna gain", params.handset_gain_dbi, "dBi"),
        BudgetLine("uplink", "body", -params.body_loss_db, "dB"),
        BudgetLine("uplink", "way in to the handset", -params.entry.median_db, "dB"),
    ]


def _down_threshold(params: LinkParameters) -> list[BudgetLine]:
    """What is taken off the RSRP: a stated threshold, or what it is made of."""
    if params.min_rsrp_dbm is not None:
        return [BudgetLine("downlink", "least RSRP that serves, taken off", -params.min_rsrp_dbm, "dB")]
    noise = float(thermal_noise_dbm(SUBCARRIER_HZ))
    return [
        BudgetLine("downlink", "noise in one resource element, taken off", -noise, "dB"),
        BudgetLine("downlink", "noise figure of the handset", -params.handset_noise_figure_db, "dB"),
        BudgetLine("downlink", f"signal to noise for {params.service}, taken off", -params.down_snr_db, "dB"),
    ]


def budget(params: LinkParameters, path_loss_db: float, pattern_gain_db: float) -> list[BudgetLine]:
    """One path's budget as lines to be added by hand; the last one is the weaker direction's margin, `margin_db`.

    path_loss_db: basic transmission loss at the downlink frequency. pattern_gain_db: 0 or less.
    """
    path, pattern = float(path_loss_db), float(pattern_gain_db)
    down = [
        *_down_lines(params),
        BudgetLine("downlink", "off the sector's peak", pattern, "dB"),
        BudgetLine("downlink", "path", -path, "dB"),
        BudgetLine("downlink", "way in to the handset", -params.entry.median_db, "dB"),
        BudgetLine("downlink", "body", -params.body_loss_db, "dB"),
        BudgetLine("downlink", "handset antenna gain", params.handset_gain_dbi, "dBi"),
        BudgetLine("downlink", "interference margin", -params.interference_margin_db, "dB"),
        *_measured(params, "downlink"),
    ]
    rsrp = sum(line.value for line in down)
    margin_down = rsrp - params.least_rsrp_dbm
    down += [
        BudgetLine("downlink", "RSRP at the handset", rsrp, "dBm", is_sum=True),
        *_down_threshold(params),
        BudgetLine("downlink", "margin", margin_down, "dB", is_sum=True, ends=True),
    ]
    up = [
        *_up_lines(params),
        BudgetLine("uplink", "path", -path, "dB"),
        BudgetLine("uplink", "path, for its own frequency", -uplink_offset_db(params), "dB"),
        BudgetLine("uplink", "sector antenna gain", params.antenna_gain_dbi, "dBi"),
        BudgetLine("uplink", "off the sector's peak", pattern, "dB"),
        BudgetLine("uplink", "mast cable", -params.cable_loss_db, "dB"),
        BudgetLine("uplink", "interference margin", -params.interference_margin_db, "dB"),
        *_measured(params, "uplink"),
    ]
    received = sum(line.value for line in up)
    noise = float(thermal_noise_dbm(params.up_blocks * SUBCARRIERS_A_BLOCK * SUBCARRIER_HZ))
    margin_up = received - noise - params.noise_figure_db - params.up_snr_db
    up += [
        BudgetLine("uplink", "power at the base station", received, "dBm", is_sum=True),
        BudgetLine("uplink", f"noise in {_blocks(params.up_blocks)}, taken off", -noise, "dB"),
        BudgetLine("uplink", "noise figure of the base station", -params.noise_figure_db, "dB"),
        BudgetLine("uplink", f"signal to noise for {params.service}, taken off", -params.up_snr_db, "dB"),
        BudgetLine("uplink", "margin", margin_up, "dB", is_sum=True, ends=True),
    ]
    end = BudgetLine("weaker", "margin", min(margin_down, margin_up), "dB", is_sum=True, ends=True)
    # + 0.0 turns a minus zero into a zero.
    return [replace(line, value=line.value + 0.0) for line in (*down, *up)] + [end]


def _measured(params: LinkParameters, way: Direction) -> list[BudgetLine]:
    """What readings on the ground made of the prediction; the path is the same both ways. No line without readings."""
    off = params.measured_offset_db
    return [BudgetLine(way, "measured here against predicted", off, "dB")] if off else []


def _blocks(count: int) -> str:
    return f"{count} resource block{'s' if count > 1 else ''}"


@lru_cache(maxsize=8)
def allowed_loss_db(params: LinkParameters) -> tuple[float, float]:
    """Largest path loss (down, up) that still serves on the sector's peak, dB, at the downlink frequency."""
    down, up, _ = (line.value for line in budget(params, 0.0, 0.0) if line.ends)
    return down, up


def reading_that_serves_dbm(params: LinkParameters) -> float:
    """RSRP at the handset at which both directions just work: what its downlink needs, or more where the uplink is the
    weaker by then.
    """
    down, up = allowed_loss_db(params)
    return params.least_rsrp_dbm + max(0.0, down - up)


def deciding_direction(params: LinkParameters) -> tuple[Literal["downlink", "uplink"], float]:
    """The weaker direction, and by how many dB; the same on every path, for both take the same loss."""
    down, up = allowed_loss_db(params)
    return ("downlink", up - down) if down <= up else ("uplink", down - up)


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
