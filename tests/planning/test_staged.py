"""Operational periods as one sequence: the choice against all sequences tried, the figures by other code."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace
from itertools import product

import geopandas as gpd
import numpy as np
import pytest
from pypdf import PdfReader
from shapely.geometry import box

from siteplanner import load_mission
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.outputs.sheets.printing import content_pdf
from siteplanner.outputs.staged import staged_content
from siteplanner.outputs.write import json_text
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.plan.mission_place import shared_parameters
from siteplanner.planning.plan.staged import best_sequence, shares_of, staged, worth
from siteplanner.planning.telling.staged import headline, staged_lines, staged_record
from tests.glossary import told
from tests.planning.conftest import CRS, at, write_mission

FEW = {"max_spots": 12, "refined_spots": 1, "listed_spots": 3, "sets": 1}
PERIODS = [
    {"name": "Day 1", "starts": "2026-06-03T06:00:00-06:00", "until": "2026-06-03T18:00:00-06:00",
     "incident_area": "area.gpkg"},
    {"name": "Night 1", "starts": "2026-06-03T18:00:00-06:00", "until": "2026-06-04T06:00:00-06:00",
     "incident_area": "area_2.gpkg"},
]  # fmt: skip


@pytest.fixture(scope="module")
def mission(tmp_path_factory):
    folder = tmp_path_factory.mktemp("staged")
    write_mission(folder)
    gpd.GeoDataFrame({"weight": [1]}, geometry=[box(*at(100, 20), *at(900, 190))], crs=CRS).to_file(
        folder / "area_2.gpkg"
    )
    made = load_mission(folder / "mission.toml")
    return mission_from_dict(
        {**made.parameters(), "periods": PERIODS, "search": {**made.parameters()["search"], **FEW}}, base=folder
    )


@pytest.fixture(scope="module")
def found(mission, valley_plan):
    return staged(mission, previous=valley_plan.kept)


@pytest.mark.parametrize("seed", range(20))
def test_the_best_sequence_is_the_best_of_all(seed):
    rng = np.random.default_rng(seed)
    hours = rng.uniform(1, 12, 4)
    shares = np.where(rng.random((4, 4)) < 0.2, np.nan, rng.random((4, 4)))
    off = np.where(rng.random((3, 4, 4)) < 0.2, np.inf, rng.uniform(0.5, 4, (3, 4, 4)))

    def value(rows):
        total = 0.0
        for k, row in enumerate(rows):
            lost = off[k - 1, rows[k - 1], row] if k and rows[k - 1] != row else 0.0
            total += shares[row, k] * max(hours[k] - lost, 0) if np.isfinite(lost) else np.nan
        return total

    everything = {rows: value(rows) for rows in product(range(4), repeat=4)}
    known = [v for v in everything.values() if np.isfinite(v)]
    best = best_sequence(hours, shares, off)
    assert (not best) == (not known)
    if best:
        assert worth(hours, shares, off, best) == pytest.approx(max(known))
        assert everything[best] == pytest.approx(max(known))


def test_staying_wins_where_nothing_is_gained():
    shares = np.array([[0.8, 0.8], [0.8, 0.8]])
    assert best_sequence([12, 12], shares, np.full((1, 2, 2), 1.0)) in ((0, 0), (1, 1))
    assert best_sequence([12], np.full((2, 1), np.nan), np.zeros((0, 2, 2))) == ()


def test_shares_and_hours_of_each_way(found):
    single, moving = found.single, found.moving
    assert single is not None
    assert moving is not None
    assert single.moves == 0
    for order in (single, moving):
        value = 0.0
        for k, (spot, plan) in enumerate(zip(order.places, found.plans, strict=True)):
            known = [r for r in plan.judged if r.spot.key == spot.key]
            if known:  # by the period's own plan
                area, c = plan.area, known[0].evaluation.coverage
                assert order.shares[k] == pytest.approx(float(c.probability @ area.weight), abs=1e-4)
            off = order.offs[k - 1] if k else None
            value += order.shares[k] * (12.0 - (0.0 if off is None else off.mean_min / 60))
        assert order.served_h == pytest.approx(value)
    assert moving.served_h >= single.served_h - 1e-9
    assert found.move_pays == (moving.moves > 0 and moving.served_h - single.served_h > 0.02 * 24)


def test_no_period_is_spent_where_it_is_likely_too_steep_while_another_place_is_not(found):
    e = found.plans[0].judged[0].evaluation

    def place(share, steep_chance, *failed):
        ground, coverage = replace(e.ground, steep_chance=steep_chance), replace(e.coverage, share=share)
        return replace(e, ground=ground, coverage=coverage, failed=failed)

    breach = Breach("steep", "slope", 9.0, 5.0, "deg")
    day = [place(0.9, 0.8), place(0.4, 0.2), place(0.5, math.nan), place(0.6, 0.1, breach)]
    night = [place(0.9, 0.8), place(0.4, 0.7), place(0.5, 0.6), place(0.6, 0.1, breach)]  # nothing else to choose from
    shares = shares_of([list(row) for row in zip(day, night, strict=True)], 2)
    assert shares == pytest.approx(
        np.array([[math.nan, 0.9], [0.4, 0.4], [0.5, 0.5], [math.nan, math.nan]]), nan_ok=True
    )
    assert best_sequence([12, 12], shares, np.full((1, 4, 4), 0.5)) == (2, 0)


def test_spots_keep_their_names_through_the_periods(found):
    names: dict[str, tuple[float, float]] = {}
    for plan in found.plans:
        for r in plan.judged:
            key = round(r.spot.x), round(r.spot.y)
            assert names.setdefault(r.spot.name, key) == key


def test_page_record_and_words(found, mission):
    lines = staged_lines(found)
    assert not told("staged", lines)
    assert headline(found) == lines[0]
    pdf = content_pdf(staged_content(found, mission), "staged", paper="letter")
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
    held = json.loads(json_text(staged_record(found)))
    assert held["hours"] == 24.0
    assert len(held["single"]["places"]) == 2


def test_a_mission_that_is_not_staged_is_refused(mission):
    with pytest.raises(InputError) as error:
        staged(mission.model_copy(update={"periods": mission.periods[:1]}))
    assert error.value.field == "periods"


@pytest.mark.parametrize(
    "changed",
    [
        {"until": "2026-06-03T05:00:00-06:00"},
        {"until": "2026-09-03T05:00:00-06:00"},
        {"until": "2026-06-03T22:00:00-06:00"},
        {"name": "Night 1"},
        {"starts": "2026-06-03T06:00:00"},
        {"incident_area": ""},
        {"from": "2026-06-03T06:00:00-06:00"},
    ],
)
def test_periods_that_cannot_be_are_refused(mission, changed):
    wrong = [{**PERIODS[0], **changed}, PERIODS[1]]
    with pytest.raises(InputError) as error:
        mission_from_dict({**mission.parameters(), "periods": wrong}, base=mission.base)
    assert error.value.remedy


def test_no_folder_of_this_machine_travels(mission):
    far = mission.periods[0].model_copy(update={"incident_area": str(mission.base / "area.gpkg")})
    held = shared_parameters(mission.model_copy(update={"periods": (far, mission.periods[1])}))
    assert held["periods"][0]["incident_area"] == "area.gpkg"
    assert [f.code for f in mission.findings] == ["periods_not_planned"]
