"""How far people keep from the antennas."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.exposure import (
    AVERAGING_MIN,
    GROUND_REFLECTION,
    W_M2_IN_MW_CM2,
    People,
    all_sectors_factor,
    aperture_mw_cm2,
    compliance_distance_m,
    dish_distance_m,
    eirp_w,
    exposure_limit_mw_cm2,
    ground_share_of_limit,
    icnirp_limit_w_m2,
)
from siteplanner.mission import Mission

SOURCE = "47 CFR 1.1310 Table 1; OET Bulletin 65 (97-01) eq. (8), ground reflection 2.56; ICNIRP 2020 Table 5"
DISH_SOURCE = "47 CFR 1.1310 Table 1; OET Bulletin 65 (97-01) eq. (11), (12), (16), (17); ICNIRP 2020 Table 5"
Antenna = Literal["sector", "link", "dish"]


@dataclass(frozen=True)
class AntennaKeepAway:
    """One antenna, its band and one kind of people; everything at full power all the time."""

    antenna: Antenna
    band_mhz: float
    people: People
    eirp_w: float  # sector: of one sector, all its ports; link: of the link antenna; dish: NaN, its aperture is told
    limit_mw_cm2: float
    main_beam_m: float  # in front of the antenna, at its height; the sectors all at once
    ground_share: float  # highest share of the limit on level ground around the mast, all sectors; NaN: not a sector
    ground_share_at_m: float  # and how far from the mast that is
    averaging_min: int
    icnirp_limit_w_m2: float  # the guidelines' whole-body level, where they are the rule
    icnirp_main_beam_m: float
    source: str
    all_sectors_factor: float = 1.0  # power density of all sectors at once over that of one
    aperture_mw_cm2: float = math.nan  # dish: power density right before it

    @property
    def keep_m(self) -> float:
        """The longer of the two distances that are known."""
        known = [d for d in (self.main_beam_m, self.icnirp_main_beam_m) if math.isfinite(d)]
        return max(known, default=math.nan)


STANDING_REACH_M = 2.5  # how high a hand of somebody on the ground reaches; common practice, no source


def reached_from_ground(antenna_height_m: float, keep_m: float) -> bool:
    """Whether somebody on level ground before an antenna can come nearer to it than is kept: it must hang low for that.

    True where either is not known.
    """
    return not antenna_height_m - keep_m >= STANDING_REACH_M


KINDS: tuple[People, People] = ("public", "workers")


def antenna_keep_away(
    mission: Mission,
    mast_height_m: float,
    sector_bearings_deg: Sequence[float] | None = None,
    link_mhz: float | None = None,
    dish: bool = False,
) -> tuple[AntennaKeepAway, ...]:
    """Rows of the sectors for the public and for workers, then those of the link antenna and the dish.

    `sector_bearings_deg` None: not known, so all sectors count as on one bearing. `link_mhz`: the band of the donor
    link in use, None for none. `dish`: it is in use; it gets rows where the mission states `sky.transmit_power_w`.
    NaN where the tables give no limit for the band.
    """
    out = _sectors(mission, mast_height_m, sector_bearings_deg)
    if link_mhz is not None:
        out += _link(mission, link_mhz)
    if dish and mission.sky.transmit_power_w is not None:
        out += _dish(mission, mission.sky.transmit_power_w)
    return tuple(out)


def _sectors(mission: Mission, mast_height_m: float, bearings_deg: Sequence[float] | None) -> list[AntennaKeepAway]:
    radio = mission.radio
    eirp = radio.antenna_ports * eirp_w(radio.tx_power_dbm, radio.antenna_gain_dbi, radio.cable_loss_db)
    bearings = bearings_deg or [0.0] * radio.sectors
    factor = all_sectors_factor(bearings, radio.beamwidth_deg, radio.front_to_back_db)
    out = []
    for people in KINDS:
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
                "sector",
                radio.frequency_mhz,
                people,
                eirp,
                limit,
                compliance_distance_m(factor * eirp, limit, GROUND_REFLECTION),
                share * radio.sectors,
                where,
                AVERAGING_MIN[people],
                guideline,
                compliance_distance_m(factor * eirp, guideline * W_M2_IN_MW_CM2, GROUND_REFLECTION),
                SOURCE,
                factor,
            )
        )
    return out


def _link(mission: Mission, band_mhz: float) -> list[AntennaKeepAway]:
    """The antenna of the donor link; cable loss is not taken off, the mission states it for both ends together."""
    link = mission.backhaul.donor_link
    eirp = eirp_w(link.tx_power_dbm, link.antenna_gain_dbi)
    out = []
    for people in KINDS:
        limit, guideline = exposure_limit_mw_cm2(band_mhz, people), icnirp_limit_w_m2(band_mhz, people)
        out.append(
            AntennaKeepAway(
                "link",
                band_mhz,
                people,
                eirp,
                limit,
                compliance_distance_m(eirp, limit, GROUND_REFLECTION),
                math.nan,
                math.nan,
                AVERAGING_MIN[people],
                guideline,
                compliance_distance_m(eirp, guideline * W_M2_IN_MW_CM2, GROUND_REFLECTION),
                SOURCE,
            )
        )
    return out


def _dish(mission: Mission, power_w: float) -> list[AntennaKeepAway]:
    """The dish, in its beam; it looks up, so no ground reflects."""
    sky = mission.sky
    band_mhz, diameter = 1000 * sky.uplink_ghz, sky.dish_diameter_m
    out = []
    for people in KINDS:
        limit, guideline = exposure_limit_mw_cm2(band_mhz, people), icnirp_limit_w_m2(band_mhz, people)
        out.append(
            AntennaKeepAway(
                "dish",
                band_mhz,
                people,
                math.nan,
                limit,
                dish_distance_m(power_w, diameter, band_mhz, limit),
                math.nan,
                math.nan,
                AVERAGING_MIN[people],
                guideline,
                dish_distance_m(power_w, diameter, band_mhz, guideline * W_M2_IN_MW_CM2),
                DISH_SOURCE,
                aperture_mw_cm2=aperture_mw_cm2(power_w, diameter),
            )
        )
    return out
