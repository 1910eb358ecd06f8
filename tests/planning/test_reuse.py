"""A rerun takes over what a change does not touch, and comes out as a run from nothing would."""

from __future__ import annotations

import ast
import dataclasses
import json
import re
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely.geometry import LineString, Point, box

import siteplanner
from siteplanner import load_mission, plan
from siteplanner.data.grid import WGS84, Grid
from siteplanner.mission import Layers, Mission, Sky
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.study.fingerprint import Digests, fingerprint
from siteplanner.planning.study.inputs import backhaul_inputs, coverage_inputs, dish_view, sky_limit_inputs
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.study import Study
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.reuse import reused_sentences
from tests.planning.conftest import CRS, at, write_mission

SEARCH = "max_spots = 4\nrefined_spots = 1\nspacing_m = 300\nlisted_spots = 2\ncoverage_cell_m = 40"


def text_of(made) -> str:
    """The plan's record without the clock."""
    return json.dumps({k: v for k, v in plan_record(made).items() if k not in {"software", "timings_s"}})


def new_layer(file: str, shapes, **columns):
    def write(folder: Path) -> None:
        (folder / file).unlink()
        gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / file, driver="GPKG")

    return write


def raised_ground(folder: Path) -> None:
    with rasterio.open(folder / "dem.tif", "r+") as dst:
        values = dst.read(1)
        values[60:70, 150:160] += 30
        dst.write(values, 1)


def moved_world_file(folder: Path) -> None:
    """The header's position gives way to a file beside the raster; that file is part of what is read."""
    with rasterio.open(folder / "dem.tif") as src:
        values, crs, profile = src.read(1), src.crs, src.profile
    profile.pop("transform")
    with rasterio.open(folder / "dem.tif", "w", **{**profile, "tfw": "YES"}, transform=src.transform) as dst:
        dst.write(values, 1)
        dst.units = ("m",)
    assert crs


def in_mission(old: str, new: str):
    def write(folder: Path) -> None:
        path = folder / "mission.toml"
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new), "utf-8")

    return write


def table(name: str, line: str):
    def write(folder: Path) -> None:
        path = folder / "mission.toml"
        text = path.read_text("utf-8")
        head = f"[{name}]\n"
        path.write_text(text.replace(head, head + line + "\n") if head in text else f"{text}\n{head}{line}\n", "utf-8")

    return write


def moved_staging(folder: Path) -> None:
    path = folder / "mission.toml"
    found = re.search(r"longitude = (-?\d+\.\d+)", path.read_text("utf-8"))
    path.write_text(path.read_text("utf-8").replace(found[0], f"longitude = {float(found[1]) + 0.003}", 1), "utf-8")


CLOSED = new_layer(
    "roads.gpkg",
    [LineString([at(100, 900), at(1900, 900)]), LineString([at(1500, 900), at(1500, 1900)])],
    highway=["secondary", "unclassified"],
    name=["Valley Road", "Bench Road"],
)
ROADS, REST = {"roads", "access"}, {"elevation", "sky_limit", "sky", "coverage"}


@dataclass
class Change:
    """What changes, and the steps that must be taken over whole or not at all."""

    writes: list[Any]
    kept: set
    anew: set


CHANGES = {
    "nothing": Change([], ROADS | REST, set()),
    "a closed road": Change([CLOSED], {"elevation", "sky_limit"}, ROADS),
    "speeds and weights": Change(
        [table("speeds", "secondary = 30"), table("weights", "coverage = 1.0\naccess = 9.0")],
        {"elevation", "sky_limit"},
        ROADS,
    ),
    "mast stops": Change([table("trailer", "mast_stops_m = [6.0, 10.0]")], REST - {"coverage"} | ROADS, {"coverage"}),
    "radio": Change([table("radio", "frequency_mhz = 900")], REST - {"coverage"} | ROADS, {"coverage"}),
    "satellite": Change(
        [in_mission("-111.0", "-101.0"), table("sky", "min_margin_deg = 4")],
        {"elevation", "roads"},
        {"sky_limit", "sky"},
    ),
    "must-serve": Change(
        [new_layer("points.gpkg", [Point(at(1700, 1400))], name=["post"])], REST - {"coverage"} | ROADS, {"coverage"}
    ),
    "spots": Change(
        [
            new_layer(
                "spots.gpkg",
                [Point(at(500, 700)), Point(at(1700, 930)), Point(at(1605, 935))],
                name=["another name", "lay-by", "new"],
            )
        ],
        {"elevation", "roads", "sky_limit"},
        set(),
    ),
    "limits": Change(
        [
            new_layer("keep.gpkg", [box(*at(1000, 800), *at(1300, 1000))], name=["x"]),
            table("trailer", "max_slope_deg = 3"),
        ],
        {"elevation", "sky_limit", "roads"},
        set(),
    ),
    "area": Change(
        [
            new_layer("area.gpkg", [box(*at(1300, 1200), *at(2200, 1650))], weight=[90]),
            in_mission("radius_m = 1500", "radius_m = 1200"),
        ],
        set(),
        {"sky_limit", "coverage"},
    ),
    "the ground": Change([raised_ground], set(), {"elevation", "roads", "sky_limit", "sky", "coverage", "access"}),
    "a world file": Change([moved_world_file], set(), {"elevation"}),
    "staging": Change([moved_staging], {"sky_limit", "elevation"}, {"access"}),
}


@pytest.fixture(scope="module")
def first_plan(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reuse") / "m"
    text = Path(write_mission(folder, spots=4)).read_text("utf-8")
    text = text.replace("spacing_m = 100\nmax_spots = 4", SEARCH)
    assert SEARCH in text
    (folder / "mission.toml").write_text(text, "utf-8")
    shutil.copytree(folder, folder.with_name("as it was"))
    return folder, plan(load_mission(folder / "mission.toml"))


@pytest.fixture
def first(first_plan):
    """The folder as it was when the plan was made, and that plan."""
    folder, made = first_plan
    shutil.rmtree(folder)
    shutil.copytree(folder.with_name("as it was"), folder)
    return folder, made


@pytest.mark.parametrize("name", CHANGES)
def test_a_rerun_equals_a_run_from_nothing(first, name):
    folder, old = first
    change = CHANGES[name]
    for write in change.writes:
        write(folder)
    mission = load_mission(folder / "mission.toml")
    again = plan(mission, previous=old)
    fresh = plan(mission) if change.writes else old
    assert text_of(again) == text_of(fresh)
    assert not any(mine for mine, _ in fresh.reused.values())
    tally = again.reused
    assert {s: tally[s] for s in change.kept if tally[s][0] != tally[s][1]} == {}
    ways = sum(e.access is None for e in again.rejected)  # the way to nowhere is the same on any road
    assert {s: tally[s] for s in change.anew if tally[s][0] > (ways if s == "access" else 0)} == {}
    if name == "spots":
        mine, all_ = tally["coverage"]
        assert 0 < all_ - mine <= 1 + 8  # the new one, and at most the neighbours that refining looks at instead


def test_changes_one_after_the_other_and_back(first):
    """Each run leans on the one before it; what went two runs ago is not brought back wrongly."""
    folder, old = first
    path = folder / "mission.toml"
    before, text = old, path.read_text("utf-8")
    for name in ("satellite", "mast stops"):
        for write in CHANGES[name].writes:
            write(folder)
        before = plan(load_mission(path), previous=before)
    assert text_of(before) != text_of(old)
    path.write_text(text, "utf-8")
    assert text_of(plan(load_mission(path), previous=before)) == text_of(old)


def test_what_was_kept_is_told_in_words(first):
    _, old = first
    assert reused_sentences(old.reused) == []
    tally = {"elevation": (1, 1), "coverage": (9, 12), "roads": (0, 1), "skyline": (3, 3)}
    assert reused_sentences(tally) == ["Elevation reused.", "Coverage reused for 9 of 12 places."]


WAYS = ("call", "step")  # of asking for what may be taken over
INPUTS = {  # each step that asks for a value of the study, with that value
    "sky_limit": sky_limit_inputs,
    "choices": backhaul_inputs,
    "coverage": coverage_inputs,
    "sky": dish_view,
    "access": lambda study: Judge(study, None, None).drive,
}


@pytest.mark.parametrize("step", INPUTS)
def test_a_step_gets_its_inputs_and_no_way_to_anything_else(first, step):
    """Neither study nor mission hangs on them, however deep; a field that is not declared cannot be read."""
    inputs = INPUTS[step](first[1].judge.study)
    stack, seen = [inputs], set()
    while stack:
        value = stack.pop()
        assert not isinstance(value, (Study, Mission, Layers, Judge)), step
        if dataclasses.is_dataclass(value) and id(value) not in seen:
            seen.add(id(value))
            stack += vars(value).values()
        elif isinstance(value, (tuple, list)):
            stack += value
    with pytest.raises(AttributeError):
        Reuse().call(step, lambda given: given.mission.rig.mass_kg, inputs)
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(inputs, dataclasses.fields(inputs)[0].name, None)


def changed(study, table, **values):
    mission = study.mission
    new = getattr(mission, table).model_copy(update=values)
    return dataclasses.replace(study, mission=mission.model_copy(update={table: new}))


def test_equal_inputs_are_taken_over_others_are_not(first):
    study = first[1].judge.study
    one = Reuse()
    assert one.call("step", lambda given: given.radio.sectors, coverage_inputs(study)) == study.mission.radio.sectors
    assert one.tally == {"step": (0, 1)}
    for other in (
        changed(study, "rig", mass_kg=1.0),
        changed(study, "weights", coverage=9.0),
        dataclasses.replace(study, elevation=study.elevation.with_values(study.elevation.values.copy())),
    ):
        again = Reuse(one.kept)
        assert again.call("step", lambda given: 1 / 0, coverage_inputs(other)) == study.mission.radio.sectors
        assert again.tally == {"step": (1, 1)}
    raised = study.elevation.values.copy()
    raised[tuple(np.argwhere(np.isfinite(raised))[0])] += 1
    for other in (
        changed(study, "radio", frequency_mhz=900.0),
        changed(study, "trailer", mast_stops_m=(6.0,)),
        dataclasses.replace(study, elevation=study.elevation.with_values(raised)),
        dataclasses.replace(study, overlays={}),
    ):
        again = Reuse(one.kept)
        assert again.call("step", lambda given: "anew", coverage_inputs(other)) == "anew"
        assert again.tally == {"step": (0, 1)}
        assert again.call("other step", lambda given: "its own", coverage_inputs(study)) == "its own"


def test_a_step_may_compare_what_it_gets():
    """Equality, membership and truth read a value whole, as any other use does."""

    def kind(sky):
        return "default" if sky == Sky() else "own"

    one = Reuse()
    assert one.call("step", kind, Sky()) == "default"
    assert one.call("in", lambda sky, among: sky in among, Sky(), (Sky(),))
    two = Reuse(one.kept)
    assert two.call("step", kind, Sky(need="all")) == "own"
    assert two.call("step", kind, Sky()) == "default"
    assert not two.call("in", lambda sky, among: sky in among, Sky(need="all"), (Sky(),))
    assert two.tally == {"step": (1, 2), "in": (0, 1)}


def test_what_has_no_fingerprint_is_worked_out_every_time():
    one = Reuse()
    assert one.call("step", lambda odd: 1, object()) == 1
    assert not one.kept.results
    assert one.tally == {"step": (0, 1)}


def test_every_step_is_a_function_of_its_arguments_alone():
    """No call hands in a function made on the spot, which could read whatever stands around it. A tick may be bound."""
    calls = []
    for path in (Path(siteplanner.__file__).parent / "planning").rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in WAYS:
                step = node.args[0]
                if isinstance(step, ast.Constant):
                    calls.append((path.name, step.value, tree, node.args[1]))
    assert {step for _, step, _, _ in calls} >= {*INPUTS, "skyline", "arc", "elevation", "surface", "roads"}
    for file, step, tree, function in calls:
        if isinstance(function, ast.Call):
            assert ast.unparse(function.func) == "partial", (file, step)
            assert [k.arg for k in function.keywords] == ["tick"], (file, step)
            (function,) = function.args
        top = {n.name for n in tree.body if isinstance(n, ast.FunctionDef)}
        top |= {a.name for n in tree.body if isinstance(n, ast.ImportFrom) for a in n.names}
        assert isinstance(function, ast.Name), (file, step)
        assert function.id in top, (file, step)


def test_an_array_is_hashed_once_a_run(monkeypatch):
    asked = []
    monkeypatch.setattr(
        "siteplanner.planning.study.fingerprint.fingerprint",
        lambda value, known=None: (asked.append(type(value)), fingerprint(value, known))[1],
    )
    grid = Grid(np.zeros((4, 5)), Affine(10, 0, 0, 0, -10, 0), WGS84)
    one = Reuse()
    for number in range(3):
        one.call("step", lambda grid, number: number, grid, number)
    assert asked.count(np.ndarray) == asked.count(Grid) == 1


def test_fingerprints_tell_like_from_unlike(tmp_path):
    frame = gpd.GeoDataFrame({"a": [1, None], "b": ["x", None]}, geometry=[Point(0, 0), Point(1, 1)], crs=CRS)
    pairs = [
        (np.zeros(3), np.zeros(3, np.float32)),
        (np.zeros((2, 3)), np.zeros((3, 2))),
        ("1", 1),
        (("a", "b"), ("ab",)),
        (0.1, 0.1 + 1e-17 + 1e-16),
        (Point(0, 0), Point(0, 1)),
        (None, "None"),
        ({"a": 1}, {"a": 2}),
        (frame, frame.assign(b=["x", "y"])),
        (frame, frame.set_crs(32613, allow_override=True)),
    ]
    for one, other in pairs:
        assert fingerprint(one) != fingerprint(other), (one, other)
    assert fingerprint(frame) == fingerprint(frame.copy())
    assert Digests().of((frame, np.arange(3))) == Digests().of((frame.copy(), np.arange(3)))
    file = tmp_path / "a.tif"
    file.write_bytes(b"1")
    before = fingerprint(file)
    (tmp_path / "a.tfw").write_text("moved")
    assert fingerprint(file) != before
    with pytest.raises(TypeError):
        fingerprint(object())
