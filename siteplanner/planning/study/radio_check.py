"""Whether the radio's figures fit each other and a small cell; what is found is told before anything is planned."""

from __future__ import annotations

from siteplanner.core.antenna import directivity_dbi
from siteplanner.errors import Finding
from siteplanner.mission import Radio
from siteplanner.mission.links import sector_pattern

MEDIUM_RANGE_DBM = 38.0  # 3GPP TS 36.104 Table 6.2-1: rated output power of a medium-range base station, per port
GAIN_TOLERANCE_DB = 1.5  # between gain and beam: losses in the antenna and the shape of its lobes; common practice


def radio_findings(radio: Radio) -> tuple[Finding, ...]:
    """A power beyond a small cell's, a gain that the beam cannot have, sectors that disturb each other."""
    out = []
    if radio.tx_power_dbm > MEDIUM_RANGE_DBM:
        facts = {"power_dbm": radio.tx_power_dbm, "most_dbm": MEDIUM_RANGE_DBM}
        out.append(Finding("radio_power_class", "check", facts=facts))
    fits = directivity_dbi(sector_pattern(radio))
    if abs(radio.antenna_gain_dbi - fits) > GAIN_TOLERANCE_DB:
        facts = {
            "gain_dbi": radio.antenna_gain_dbi,
            "fits_dbi": fits,
            "beamwidth_deg": radio.beamwidth_deg,
            "vertical_beamwidth_deg": radio.vertical_beamwidth_deg,
            "tolerance_db": GAIN_TOLERANCE_DB,
        }
        out.append(Finding("antenna_gain_unlike_beam", "check", facts=facts))
    if radio.sectors > 1 and radio.sectors_share_carrier:
        out.append(Finding("sectors_share_carrier", "note", facts={"sectors": radio.sectors}))
    return tuple(out)
