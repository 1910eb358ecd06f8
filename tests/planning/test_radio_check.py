"""Figures of the radio that do not fit each other, or no small cell, are told before anything is planned."""

import pytest

from siteplanner.errors import InputError
from siteplanner.mission import Radio, mission_from_dict
from siteplanner.planning.study.radio_check import radio_findings
from siteplanner.planning.telling.findings import said


def codes(**radio):
    return [f.code for f in radio_findings(Radio(**radio))]


def test_the_defaults_fit_each_other():
    assert codes() == ["sectors_share_carrier"]
    assert Radio().tx_power_dbm <= 38  # 3GPP TS 36.104 Table 6.2-1, medium range, per port


@pytest.mark.parametrize(("dbm", "told"), [(38.0, False), (38.1, True), (46.0, True)])
def test_more_than_a_small_cell(dbm, told):
    assert ("radio_power_class" in codes(tx_power_dbm=dbm)) == told


@pytest.mark.parametrize(
    ("gain", "vertical", "told"),
    [(14.0, 15.0, False), (14.0, 10.0, True), (15.5, 10.0, False), (17.0, 15.0, True)],
)
def test_a_gain_that_the_beam_cannot_have(gain, vertical, told):
    """65 by 10 degrees holds 15.7 dBi, so 14 dBi (the former defaults together) is 1.7 dB off; 65 by 15 holds 14.5."""
    found = radio_findings(Radio(antenna_gain_dbi=gain, vertical_beamwidth_deg=vertical))
    assert ("antenna_gain_unlike_beam" in [f.code for f in found]) == told


def test_the_words_hold_the_figures():
    found = radio_findings(Radio(tx_power_dbm=46, antenna_gain_dbi=14, vertical_beamwidth_deg=10))
    text = " ".join(said(f).message for f in found)
    for words in ("46 dBm a port", "up to 38 dBm", "14 dBi does not fit a beam of 65 by 10 deg, which holds 15.7 dBi"):
        assert words in text


def test_sectors_of_their_own_carriers_do_not_disturb():
    assert codes(sectors_share_carrier=False) == []
    assert codes(sectors=1) == []


@pytest.mark.parametrize(
    ("radio", "words"),
    [
        ({"frequency_mhz": 60, "handset_place": "building_traditional"}, "80 MHz"),
        ({"bandwidth_mhz": 1.4, "uplink_resource_blocks": 7}, "1 to 6"),
        ({"uplink_resource_blocks": 1, "bandwidth_mhz": 10, "service": "picture"}, "service"),
    ],
)
def test_a_radio_without_a_budget_is_refused_with_its_field(radio, words):
    layers = {"elevation": "a.tif", "incident_area": "b.gpkg", "roads": "c.gpkg"}
    with pytest.raises(InputError, match=words) as caught:
        mission_from_dict({"layers": layers, "staging": {"latitude": 44, "longitude": -113}, "radio": radio})
    assert caught.value.field.startswith("radio")
