"""Plans that earlier versions kept, one of each format that is still read: the valley of tests/planning in cells of
20 m, planned and kept by the last version that wrote the format (4, 5) or by the one before last (6).

`data/saved_plans.tar.xz` has each as its folder in the earlier work, with the saved plan unpacked: of several like
files one after another little is left.
"""

from __future__ import annotations

import json
import math
import tarfile
import zipfile
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from siteplanner.app import earlier
from siteplanner.errors import InputError
from siteplanner.mission import Weights
from siteplanner.planning.plan.compare import compare, read_plan
from siteplanner.planning.plan.mission_place import mission_of_record
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.plan.saved import OLD_SEVERITIES
from siteplanner.planning.telling.compare import comparison_lines, units_of
from siteplanner.planning.telling.record import plan_record

KEPT = Path(__file__).with_name("data") / "saved_plans.tar.xz"
FORMATS = (4, 5, 6)


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Each format as the earlier work lists it."""
    place = tmp_path_factory.mktemp("work")
    (place / "plans").mkdir()
    with tarfile.open(KEPT) as held:
        held.extractall(place / "unpacked", filter="data")
    for number in FORMATS:
        folder = place / "unpacked" / f"format_{number}"
        with zipfile.ZipFile(folder / earlier.PLAN, "w") as out:
            for file in sorted((folder / "plan").iterdir()):
                out.writestr(file.name, file.read_bytes())
        folder.rename(place / "plans" / f"2026_{number}")
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("SITEPLANNER_WORK", str(place))
        found = {int(item.folder.name[5:]): item for item in earlier.listed()}
    assert sorted(found) == list(FORMATS)
    return found


@pytest.fixture(scope="module", params=FORMATS)
def then(request, kept):
    """(format, the kept plan, its plan.json of that time, the plan as it opens today)."""
    item = kept[request.param]
    with zipfile.ZipFile(item.folder / earlier.PLAN) as held:
        assert json.loads(held.read(earlier.TEXT))["format"] == request.param
    return request.param, item, json.loads((item.folder / "plan.json").read_text("utf-8")), earlier.opened(item)


def test_it_opens_with_its_ranking_and_its_figures(then):
    _, _, record, plan = then
    now = plan_record(plan)
    assert [s["name"] for s in now["spots"]] == [s["name"] for s in record["spots"]]
    assert len(now["spots"]) >= 3
    for new, old in zip(now["spots"], record["spots"], strict=True):
        for path in (("latitude",), ("score",), ("coverage", "share"), ("access", "drive_time_s")):
            a, b = new, old
            for key in path:
                a, b = a[key], b[key]
            assert a == b, path
    again = rescore(plan, Weights(coverage=1, access=9))
    assert {r.spot.name for r in again.spots} == {r.spot.name for r in plan.spots}


def test_each_way_over_ground_leads_back_to_a_road_in_as_many_metres_as_it_said(then):
    _, _, _, plan = then
    way, cell_m = plan.judge.way, plan.scene.elevation.cell_size_m
    metres = way.distance_m
    reached = np.argwhere(np.isfinite(metres))
    assert len(reached) > 100
    for row, col in reached[:: len(reached) // 100]:
        cells = way.path_cells(row, col)
        assert metres[cells[0]] == 0
        length_m = sum(cell_m * math.dist(one, other) for one, other in pairwise(cells))
        assert length_m == pytest.approx(float(metres[row, col]), rel=1e-6)


def test_its_findings_are_as_grave_as_they_were_meant(then):
    number, _, record, plan = then
    meant = OLD_SEVERITIES if number == 4 else {}
    said = Counter(meant.get(f["severity"], f["severity"]) for f in record["findings"])
    assert Counter(f.severity for f in plan.findings) == said


def test_its_plan_json_is_compared_with_one_of_today(then):
    _, item, _, plan = then
    now = json.loads(json.dumps(plan_record(plan), default=str))
    old = read_plan(item.folder / "plan.json")
    found = compare(old, now)
    lines = comparison_lines(found, units_of(now))
    assert lines[0].startswith("Same answer: spot A")


def test_its_plan_json_gives_its_mission_though_fields_came_since(then, tmp_path):
    """A layer that no version knew then is not one that was given wrongly."""
    _, item, record, _ = then
    layers = record["mission"]["layers"]
    for name in (n for value in layers.values() for n in (value if isinstance(value, list) else [value])):
        if isinstance(name, str) and "." in name:
            (tmp_path / Path(name).name).touch()
    mission = mission_of_record(record, item.folder / "plan.json", tmp_path, ())
    assert mission.name == "valley"
    assert mission.layers.parcels == ()


def test_what_is_wrong_in_a_mission_of_a_plan_is_named(kept, tmp_path):
    """And not hidden behind words that it were no plan."""
    from siteplanner.planning.plan.explain import explain_record

    record = json.loads((kept[4].folder / "plan.json").read_text("utf-8"))
    record["mission"]["layers"] = {"elevation": ["dem.tif"], "incident_area": "area.gpkg", "roads": "roads.gpkg"}
    record["mission"]["trailer"]["length_m"] = -1.0
    for name in ("dem.tif", "area.gpkg", "roads.gpkg"):
        (tmp_path / name).touch()
    with pytest.raises(InputError, match=r"trailer\.length_m"):
        explain_record(record, 44.7, -111.0, layers_in=tmp_path)


def test_an_earlier_format_is_refused_in_words(kept, tmp_path):
    folder = tmp_path / "plan"
    folder.mkdir()
    with zipfile.ZipFile(kept[4].folder / earlier.PLAN) as held:
        text = json.loads(held.read(earlier.TEXT))
    with zipfile.ZipFile(folder / earlier.PLAN, "w") as out:
        out.writestr(earlier.TEXT, json.dumps({**text, "format": 3}))
    with pytest.raises(InputError, match="another version") as found:
        earlier.opened(replace(kept[4], folder=folder))
    assert found.value.remedy
