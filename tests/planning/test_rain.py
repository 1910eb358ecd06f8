"""Rain on the satellite link against the validation examples of ITU-R Study Group 3, and without the package."""

from __future__ import annotations

import json
import sys

import pytest

from siteplanner.mission import Layers, Mission, Satellite, Sky, Staging
from siteplanner.outputs.write import json_text
from siteplanner.planning.rain import ABSENT, attenuation_db, available_pct, rain, rain_sentence
from siteplanner.planning.record import plan_record

LONDON = (51.5, -0.14, 31.382984, 31.07699124, 0.0)  # latitude, longitude, height, elevation, polarization tilt


def mission(**sky):
    slots = (Satellite(name="south", longitude_deg=-113.0), Satellite(name="far", longitude_deg=60.0))
    return Mission(layers=Layers(elevation=("a.tif",), incident_area="b", roads="c"),
                   staging=Staging(latitude=44.6, longitude=-113.0), sky=Sky(satellites=slots, **sky))  # fmt: skip


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
    assert made.note == "Too low for the method (below 5 deg): far."
    assert 0 < link.attenuation_1_pct_db < link.attenuation_01_pct_db < 10
    less = rain(mission(link_margin_db=1.5), 44.6, -113.0, 1500.0).links[0]
    assert 99 < less.available_pct < link.available_pct < 100
    assert rain_sentence(link, 3.0).startswith("Rain toward south: 3 dB of margin hold 99.9")


def test_without_the_package_there_is_a_note_and_no_figure(monkeypatch):
    monkeypatch.setitem(sys.modules, "itur", None)
    made = rain(mission(), 44.6, -113.0, 1500.0)
    assert made.links == ()
    assert made.note == ABSENT
    assert "siteplanner[rain]" in made.note


def test_the_plan_carries_it(valley_plan):
    record = json.loads(json_text(plan_record(valley_plan)))["rain"]
    assert record["margin_db"] == 3.0
    if record["links"] is None:
        assert record["note"] == ABSENT
    else:
        assert [link["satellite_name"] for link in record["links"]] == ["south"]
