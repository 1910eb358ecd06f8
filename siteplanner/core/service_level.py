"""What a kind of service asks of the radio, both ways: a rate over granted resource blocks, as signal to noise.

Source of the rates a signal to noise carries: 3GPP TR 36.942 Annex A, Table A.2: throughput over bandwidth is
alpha log2(1 + SNR), alpha 0.6 down and 0.4 up, nothing below -10 dB, at most 4.4 down and 2.0 up bit/s/Hz, in a fading
channel with two receive antennas (the downlink's figures looked up, the uplink's from memory). Below what the
signalling needs no rate helps: for a service that may not wait, the minimum requirements on the receivers, TS 36.101
Table 8.4.1.1-1 (control channel over 8 elements, 1 % missed, -1.7 dB; from memory) and TS 36.104 Table 8.2.1.1-1
(smallest grant, reference channel A3-1 at 30 % of its throughput, -2.7 dB; looked up). A message may be tried again:
there the cell must only be seen, TS 36.133 section 9.1 (-6 dB, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

ServiceKind = Literal["messages", "voice", "data"]
Way = Literal["downlink", "uplink"]

ALPHA: dict[Way, float] = {"downlink": 0.6, "uplink": 0.4}  # TR 36.942 Table A.2
LEAST_SNR_DB = -10.0  # the same
MOST_BIT_S_HZ: dict[Way, float] = {"downlink": 4.4, "uplink": 2.0}  # the same
BLOCK_HZ = 180_000.0  # TS 36.211 section 6.2.3: 12 subcarriers of 15 kHz


@dataclass(frozen=True)
class Need:
    """One direction: so many kilobits a second, headers included, over so many resource blocks."""

    kbit_s: float
    blocks: int
    least_snr_db: float  # below it the signalling fails, whatever the rate


@dataclass(frozen=True)
class ServiceLevel:
    """The same service in both directions."""

    downlink: Need
    uplink: Need


SERVICES: dict[ServiceKind, ServiceLevel] = {
    # short texts and positions, tried until they pass; rate: common practice, no source
    "messages": ServiceLevel(Need(10.0, 1, -6.0), Need(10.0, 1, LEAST_SNR_DB)),
    # speech at 12.65 kbit/s (TS 26.171, from memory) with headers and signalling; rate: common practice, no source
    "voice": ServiceLevel(Need(24.0, 1, -1.7), Need(24.0, 1, -2.7)),
    # maps, pictures and pages: 1 Mbit/s down over a fifth of a 10 MHz channel, 256 up; common practice, no source
    "data": ServiceLevel(Need(1000.0, 10, -1.7), Need(256.0, 5, -2.7)),
}


def snr_for_rate_db(kbit_s: float, blocks: int, way: Way) -> float:
    """Least signal to noise that carries a rate, dB: TR 36.942's mapping solved for it, never below -10 dB.

    Raises ValueError for a rate that the blocks cannot carry, or of 0 or less.
    """
    efficiency = kbit_s * 1000 / (blocks * BLOCK_HZ)
    if not 0 < efficiency <= MOST_BIT_S_HZ[way]:
        raise ValueError(f"{blocks} resource blocks carry up to {MOST_BIT_S_HZ[way] * blocks * 180:g} kbit/s")
    return max(LEAST_SNR_DB, 10 * math.log10(2 ** (efficiency / ALPHA[way]) - 1))


def needed_snr_db(kind: ServiceKind, way: Way, blocks: int | None = None) -> float:
    """Signal to noise that a kind of service needs in one direction, dB; `blocks` None: the service's own grant."""
    need = SERVICES[kind].downlink if way == "downlink" else SERVICES[kind].uplink
    return max(need.least_snr_db, snr_for_rate_db(need.kbit_s, blocks or need.blocks, way))
