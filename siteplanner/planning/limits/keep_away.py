"""How far people keep from the antennas."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siteplanner.core.exposure import (
    AVERAGING_MIN,
    GROUND_REFLECTION,
    W_M2_IN_MW_CM2,
    People,
    compliance_distance_m,
    eirp_w,
    exposure_limit_mw_cm2,
    ground_share_of_limit,
    icnirp_limit_w_m2,
)
from siteplanner.mission import Mission

SOURCE = "47 CFR 1.1310 Table 1; OET Bulletin 65 (97-01) eq. (8), ground reflection 2.56; ICNIRP 2020 Table 5"


@dataclass(frozen=True)
class AntennaKeepAway:
    """One band and one kind of people; every sector at full power all the time."""

    band_mhz: float
    people: People
    eirp_w: float
    limit_mw_cm2: float
    main_beam_m: float  # in front of a sector antenna, at its height
    ground_share: float  # highest share of the limit on level ground around the mast, all sectors at once
    ground_share_at_m: float  # and how far from the mast that is
    averaging_min: int
    icnirp_limit_w_m2: float  # the guidelines' whole-body level, where they are the rule
    icnirp_main_beam_m: float
    source: str

    @property
    def keep_m(self) -> float:
        """The longer of the two distances that are known."""
        known = [d for d in (self.main_beam_m, self.icnirp_main_beam_m) if math.isfinite(d)]
        return max(known, default=math.nan)


def antenna_keep_away(mission: Mission, mast_height_m: float) -> tuple[AntennaKeepAway, ...]:
    """Rows for the public and for workers. NaN where the table gives no limit for the band."""
    radio = mission.radio
    eirp = eirp_w(radio.tx_power_dbm, radio.antenna_gain_dbi, radio.cable_loss_db)
    out = []
    kinds: tuple[People, People] = ("public", "workers")
    for people in kinds:
        limit = exposure_limit_mw_cm2(radio.frequency_mhz, people)
        guideline = icnirp_limit_w_m2(radio.frequency_mhz, people)
        share, where = ground_share_of_limit(
            eirp,
            limit,
            mast_height_m,
            vertical_beamwidth_deg=radio.vertical_beamwidth_deg,
            side_lobe_db=radio.vertical_side_lobe_db,
            downtilt_deg=radio.downtilt_deg,
        )
        out.append(
            AntennaKeepAway(
                radio.frequency_mhz,
                people,
                eirp,
                limit,
                compliance_distance_m(eirp, limit, GROUND_REFLECTION),
                share * radio.sectors,
                where,
                AVERAGING_MIN[people],
                guideline,
                compliance_distance_m(eirp, guideline * W_M2_IN_MW_CM2, GROUND_REFLECTION),
                SOURCE,
            )
        )
    return tuple(out)
