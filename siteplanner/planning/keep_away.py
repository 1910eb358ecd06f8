"""Distances that people keep from the antennas of a mission, from its own power and frequency."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.core.exposure import (
    AVERAGING_MIN,
    GROUND_REFLECTION,
    People,
    compliance_distance_m,
    eirp_w,
    exposure_limit_mw_cm2,
    ground_share_of_limit,
)
from siteplanner.mission import Mission

SOURCE = "47 CFR 1.1310 Table 1; OET Bulletin 65 (97-01) eq. (8), ground reflection 2.56"


@dataclass(frozen=True)
class KeepAway:
    """One band and one kind of people; every sector at full power all the time."""

    band_mhz: float
    people: People
    eirp_w: float
    limit_mw_cm2: float
    main_beam_m: float  # in front of a sector antenna, at its height
    ground_share: float  # highest share of the limit on level ground around the mast, all sectors at once
    ground_share_at_m: float  # and how far from the mast that is
    averaging_min: int
    source: str


def keep_away(mission: Mission, mast_height_m: float) -> tuple[KeepAway, ...]:
    """Rows for the public and for workers. NaN where the table gives no limit for the band."""
    radio = mission.radio
    eirp = eirp_w(radio.tx_power_dbm, radio.antenna_gain_dbi, radio.cable_loss_db)
    out = []
    kinds: tuple[People, People] = ("public", "workers")
    for people in kinds:
        limit = exposure_limit_mw_cm2(radio.frequency_mhz, people)
        share, where = ground_share_of_limit(
            eirp,
            limit,
            mast_height_m,
            vertical_beamwidth_deg=radio.vertical_beamwidth_deg,
            side_lobe_db=radio.vertical_side_lobe_db,
            downtilt_deg=radio.downtilt_deg,
        )
        out.append(
            KeepAway(
                radio.frequency_mhz,
                people,
                eirp,
                limit,
                compliance_distance_m(eirp, limit, GROUND_REFLECTION),
                share * radio.sectors,
                where,
                AVERAGING_MIN[people],
                SOURCE,
            )
        )
    return tuple(out)
