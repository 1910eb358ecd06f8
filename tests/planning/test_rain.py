"""Rain on the satellite link against the validation examples of ITU-R Study Group 3, and without the package."""

from __future__ import annotations

import json
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from siteplanner.mission import Layers, Mission, Satellite, Sky, Staging
from siteplanner.outputs.write import json_text
from siteplanner.planning.site.rain import Rain, RainLink, attenuation_db, available_pct, downlink_loss_db, rain
from siteplanner.planning.telling.rain import ABSENT, margin_sentence, rain_note, rain_sentence
from siteplanner.planning.telling.record import plan_record

LONDON = (51.5, -0.14, 31.382984, 31.07699124, 0.0)  # latitude, longitude, height, elevation, polarization tilt


def mission(**sky):
    slots = (Satellite(name="south", longitude_deg=-113.0), Satellite(name="far", longitude_deg=60.0))
    return Mission(
        layers=Layers(elevation=("a.tif",), incident_area="b", roads="c"),
        staging=Staging(latitude=44.6, longitude=-113.0),
        sky=Sky(satellites=slots, **sky),
    )


@pytest.mark.parametrize(
    ("ghz", "percent", "total_db"), [(14.25, 1.0, 1.212791), (14.25, 0.1, 2.901523), (29.0, 0.01, 26.071751)]
)
def test_total_attenuation_as_published(ghz, percent, total_db):
    """ITU-R SG 3 validation examples for P.618-13 (total, dish of 1 m), as published with their CSV."""
    pytest.importorskip("itur", reason="the optional extra `rain` is not installed")
    assert attenuation_db(*LONDON, ghz, 1.0, percent) == pytest.approx(total_db, abs=0.02)


def test_the_share_of_the_year_is_where_the_attenuation_meets_the_margin():
    """Closed form: A(p) = 1 / p dB meets 4 dB at p = 0.25 %."""
    assert available_pct(4.0, lambda p: 1 / p) == pytest.approx(99.75, abs=0.002)
    assert available_pct(4.0, lambda p: 0.0) == 99.999
    assert available_pct(4.0, lambda p: 99.0) == 50.0


def test_of_a_mission():
    pytest.importorskip("itur", reason="the optional extra `rain` is not installed")
    made = rain(mission(), 44.6, -113.0, 1500.0)
    (link,) = made.links
    assert rain_note(made) == "Too low for the method (below 5 deg): far."
    assert 0 < link.attenuation_1_pct_db < link.attenuation_01_pct_db < 10
    less = rain(mission(link_margin_db=1.5), 44.6, -113.0, 1500.0).links[0]
    assert 99 < less.available_pct < link.available_pct < 100
    assert rain_sentence(made, link).startswith(
        "Rain toward south: with 3 dB of margin over clear sky the link holds for 99.9"
    )


# hours a year that 3 dB of margin do not hold: 1.2 m, 11.95 and 14.25 GHz, receiver of 120 K. Attenuation alone, with
# the gas that the clear-sky margin holds already, gave 7.4, 20.0 and 0.6.
@pytest.mark.parametrize(
    ("slot", "place", "down_h", "up_h"),
    [
        (-91.0, (36.6, -84.2, 450.0), 47.6, 15.7),
        (-91.0, (25.8, -80.2, 5.0), 98.7, 40.0),
        (-113.0, (44.66, -113.0, 1300.0), 4.3, 1.5),
    ],
)
def test_noise_and_uplink_count(slot, place, down_h, up_h):
    pytest.importorskip("itur", reason="the optional extra `rain` is not installed")
    sky = Sky(satellites=(Satellite(name="south", longitude_deg=slot),))
    (link,) = rain(mission().model_copy(update={"sky": sky}), *place).links
    lost = [(100 - share) / 100 * 8766 for share in (link.downlink_available_pct, link.uplink_available_pct)]
    assert lost == pytest.approx([down_h, up_h], rel=0.02)
    assert (link.decides, link.available_pct) == ("downlink", link.downlink_available_pct)


def test_the_noise_that_rain_adds():
    # closed form: 3 dB absorb half, shine with 275 (1 - 0.5012) = 137.2 K over 120 K: 3 + 10 log10(1 + 137.2 / 120)
    assert downlink_loss_db(3.0, 120.0) == pytest.approx(3 + 3.310, abs=2e-3)
    assert downlink_loss_db(0.0, 120.0) == 0.0


def test_a_strong_uplink_is_not_the_first_to_go():
    pytest.importorskip("itur", reason="the optional extra `rain` is not installed")
    weak = rain(mission(uplink_margin_db=0.3, link_margin_db=12.0), 44.6, -113.0, 1500.0)
    assert weak.links[0].decides == "uplink"
    assert "the uplink at 14.25 GHz goes first" in rain_sentence(weak, weak.links[0])
    assert "(of the uplink, 0.3 dB in clear sky)" in margin_sentence(weak, "south", 12.0)


# ITU-R SG 3 validation examples, CG-3M3J-13-ValEx rev 5.1, sheet "P.838-3 Sp.Att": mm/h, GHz, elevation, tilt, dB/km
@pytest.mark.parametrize(
    ("rate", "ghz", "elevation", "tilt", "loss"),
    [
        (26.48052, 14.25, 31.07699124, 0.0, 1.58130839),
        (33.936232, 29.0, 40.232036, 0.0, 6.278460),
        (63.626681, 14.25, 48.241171, 90.0, 3.729013),
    ],
)
def test_specific_attenuation_as_published(rate, ghz, elevation, tilt, loss):
    models = pytest.importorskip("itur.models", reason="the optional extra `rain` is not installed")
    found = models.itu838.rain_specific_attenuation(rate, ghz, elevation, tilt)
    assert float(getattr(found, "value", found)) == pytest.approx(loss, rel=1e-5)


# the same file, sheets "P.839-4 Rain_Height" (km) and "P.837-7 Rp" (mm/h exceeded for 0.01 % of the year)
@pytest.mark.parametrize(
    ("latitude", "longitude", "rain_height_km"),
    [(51.5, -0.14, 2.452733), (25.78, -80.22, 4.569461), (28.717, 77.30, 5.258204), (33.94, 18.43, 2.563303)],
)
def test_rain_height_as_published(latitude, longitude, rain_height_km):
    models = pytest.importorskip("itur.models", reason="the optional extra `rain` is not installed")
    found = models.itu839.rain_height(latitude, longitude)
    assert float(getattr(found, "value", found)) == pytest.approx(rain_height_km, rel=1e-6)


@pytest.mark.parametrize(
    ("latitude", "longitude", "rate"), [(51.5, -0.14, 26.480520), (41.9, 12.49, 33.936232), (25.78, -80.22, 78.298293)]
)
def test_rain_rate_as_published(latitude, longitude, rate):
    models = pytest.importorskip("itur.models", reason="the optional extra `rain` is not installed")
    found = models.itu837.rainfall_rate(latitude, longitude, 0.01)
    assert float(getattr(found, "value", found)) == pytest.approx(rate, rel=1e-5)


def test_the_margin_in_rain_stands_beside_the_clear_sky_one():
    """By hand: 3 dB less 0.9 dB leaves 2.1, less 3.44 dB lacks 0.4; where it just holds, nothing is lost."""
    made = Rain(11.95, 3.0, (RainLink("south", -113.0, 0.5, 2.0, 99.9, 0.9, 3.44, 0.6, 2.5, 99.9, 99.95),))
    assert margin_sentence(made, "south", 3.0) == (
        "Link margin toward south: 3 dB in clear sky; in the wettest 88 hours of a year 2.1 dB or less, in the wettest "
        "9 hours -0.4 dB or less (below 0 the link is lost)."
    )
    dry = replace(made, links=(replace(made.links[0], downlink_loss_01_pct_db=3.04),))
    assert margin_sentence(dry, "south", 3.0).endswith("in the wettest 9 hours 0.0 dB or less.")
    for unknown in (None, replace(made, links=())):
        assert margin_sentence(unknown, "south", 3.0) == (
            "Link margin toward south: 3 dB in clear sky, in rain not known."
        )


def test_without_the_package_there_is_a_note_and_no_figure(monkeypatch):
    monkeypatch.setitem(sys.modules, "itur", None)
    made = rain(mission(), 44.6, -113.0, 1500.0)
    assert made.links == ()
    assert rain_note(made) == ABSENT
    assert "siteplanner[rain]" in rain_note(made)


def test_the_plan_carries_it(valley_plan):
    record = json.loads(json_text(plan_record(valley_plan)))["rain"]
    assert record["margin_db"] == 3.0
    if record["links"] is None:
        assert record["note"] == ABSENT
    else:
        assert [link["satellite_name"] for link in record["links"]] == ["south"]
        (link,) = record["links"]
        assert link["margin_1_pct_db"] == pytest.approx(3.0 - link["downlink_loss_1_pct_db"])
        assert link["margin_1_pct_db"] > link["margin_01_pct_db"]
        assert link["margin_sentence"].startswith("Link margin toward south: 3 dB in clear sky; ")


def test_two_runs_at_once_read_the_maps_one_after_the_other(monkeypatch):
    """A run began while the app was making ready: it met a half-filled map and ended with a KeyError."""
    from itur.models import itu453

    asked = (46.9, 8.2, 500.0, 30.0, 45.0, 12.0, 1.0, 1.0, False)
    alone = attenuation_db(*asked)
    monkeypatch.setattr(vars(itu453)["__model"].instance, "_N_wet", {})
    reading, met, read, loaded = threading.Event(), threading.Event(), itu453.load_data, []

    def slowly(path):
        loaded.append(path)
        if sum("nwet" in str(p) for p in loaded) == 2 and not reading.is_set():  # the first is there, most are not
            reading.set()
            met.wait(0.5)
        return read(path)

    monkeypatch.setattr(itu453, "load_data", slowly)

    def second():
        reading.wait(10)
        try:
            return attenuation_db(*asked)
        finally:
            met.set()

    with ThreadPoolExecutor(2) as pool:
        both = [pool.submit(attenuation_db, *asked), pool.submit(second)]
        assert [f.result(30) for f in both] == [alone, alone]
