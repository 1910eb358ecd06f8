"""Two plans held against each other: exact lines for known changes, nothing for none, hostile records harmless."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from copy import copy, deepcopy

import geopandas as gpd
import pytest
from shapely.geometry import Point, box

from siteplanner import cli, load_mission, plan
from siteplanner.errors import InputError
from siteplanner.outputs.pictures.two_plans import two_plans_html, two_plans_svg, write_two_plans
from siteplanner.outputs.write import json_text
from siteplanner.planning.choose.alike import alike
from siteplanner.planning.plan.compare import compare, read_plan
from siteplanner.planning.telling.compare import NO_DIFFERENCE, comparison_lines, comparison_record
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import METRIC
from tests.planning.conftest import CRS, at
from tests.planning.test_options import two_camps


def record_of(path):
    return json.loads(json_text(plan_record(plan(load_mission(path)))))


@pytest.fixture
def here(capfd):
    """The command in this process, where the libraries are loaded already."""

    def call(*words):
        code = cli.run(lambda: cli.app(args=list(words), standalone_mode=False))
        said = capfd.readouterr()
        return subprocess.CompletedProcess(words, code, said.out, said.err)

    return call


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The valley with two camps; its files are copied, so that a scene changes what it says and nothing else."""
    home = tmp_path_factory.mktemp("compare") / "old"
    two_camps(home, weights="coverage = 5.0")
    return home


@pytest.fixture(scope="module")
def old(folder):
    return record_of(folder / "mission.toml")


def scene(folder, name, swap=("", ""), make=None):
    there = folder.parent / name
    shutil.copytree(folder, there)
    mission = there / "mission.toml"
    text = mission.read_text()
    assert swap[0] in text
    mission.write_text(text.replace(*swap) if swap[0] else text)
    if make is not None:
        make(there)
    return record_of(mission)


@pytest.fixture(scope="module")
def closed(folder):
    def slide(there):
        shapes = [Point(at(1500, 1000))]
        gpd.GeoDataFrame({"name": ["Slide at the bend"]}, geometry=shapes, crs=CRS).to_file(there / "closed.gpkg")

    swap = 'roads = "roads.gpkg"', 'roads = "roads.gpkg"\nclosures = "closed.gpkg"'
    return scene(folder, "closed", swap, slide)


def test_a_closure_is_told_as_what_made_another_spot_first(old, closed):
    assert comparison_lines(compare(old, closed)) == [
        "Another answer: spot A (12TWQ0187550885), not the old spot A (12TWQ0154551365), because Bench Road is shut to "
        "the rig now.",
        "Files new: closed.gpkg (closures).",
        'Settings: layers.closures none -> ["closed.gpkg"].',
        "Roads shut to the rig now: Bench Road (closed: Slide at the bend).",
        "Spots that went: A, F, G, H and 4 more (Bench Road is shut to the rig now).",
        "Spots that came: E, G, B, H and 2 more (other spots came or went ahead of it).",
        "Old first spot -> new first spot: weighted area served 58 % -> 4 %; score 66.0 -> 41.6.",
        "Chance that the first spot is the best: 41 % -> 23 %.",
        "Options: no longer A, B, C; new B, C, lay-by.",
        "Two trailers: A and R (61 %) -> F and B (26 %).",
    ]


def test_the_other_way_round_the_road_is_open_again(old, closed):
    found = compare(closed, old)
    assert [r.name for r in found.opened] == ["Bench Road"]
    assert found.shut == ()
    assert [f.change for f in found.files] == ["gone"]
    assert found.why.kind == "new_place"


def test_weights_are_told_as_weights(folder, old):
    new = scene(folder, "weights", ("coverage = 5.0", "coverage = 1.0\naccess = 9.0"))
    assert comparison_lines(compare(old, new)) == [
        "Same answer: spot A (12TWQ0151551365), 30 m from where it was.",
        "Settings: weights.coverage 5 -> 1, weights.access 2 -> 9.",
        "Spots that went: C (area served counts less now (weight 1, not 5)).",
        "Spots that moved: A by 30 m, now A, H by 41 m, now J.",
        "Spots that came: D (drive counts more now (weight 9, not 2)).",
        "The first spot: score 66.0 -> 83.3.",
        "Chance that the first spot is the best: 41 % -> 26 %.",
        "Options: no longer C; new D.",
        "Two trailers: A and R (61 %) -> F and P (60 %).",
    ]


def test_ground_that_is_likely_too_steep_now_is_told_as_that(old):
    """Finer elevation says that the first spot is too steep; its points have not changed, and do not count."""
    new = deepcopy(old)
    first, second = sorted(new["spots"], key=lambda r: r["rank"])[:2]
    for where in (new["judged"], new["spots"]):
        for row in where:
            if row["name"] == first["name"]:
                row.get("ground", row)["steep_chance"], row["rank"] = 0.9, 99
            elif row["name"] == second["name"]:
                row["rank"] = 1
    line = comparison_lines(compare(old, new))[0]
    steep = "more likely than not too steep at the trailer's size"
    assert line.endswith(f"because spot {first['name']} is {steep} now.")
    back = comparison_lines(compare(new, old))[0]
    assert back.endswith(f"because spot {first['name']} is no longer {steep}.")


def test_another_radius_of_service_and_an_edited_layer(folder, old):
    def market(there):
        shapes = [box(*at(1400, 1200), *at(1650, 1500))]
        gpd.GeoDataFrame({"name": ["market"]}, geometry=shapes, crs=CRS).to_file(there / "keep.gpkg")

    edited = comparison_lines(compare(old, scene(folder, "edited", make=market)))
    assert edited[:2] == [
        "Another answer: spot A (12TWQ0154551505), not the old spot A (12TWQ0154551365), because it is not judged now, "
        "and more ground is ruled out: keep-out area (0.6 % of it, not 0.3 %).",
        "Files changed: keep.gpkg (keep out).",
    ]
    radius = compare(old, scene(folder, "radius", ("max_radius_m = 380", "max_radius_m = 300")))
    assert [(p.path, p.old, p.new) for p in radius.parameters] == [("radio.max_radius_m", 380.0, 300.0)]
    assert radius.files == ()
    share = next(f for f in radius.figures if f.name == "share")
    assert share.old > share.new
    assert not share.alike


def test_a_plan_compared_with_itself(old, closed):
    for record in (old, closed):
        found = compare(record, deepcopy(record))
        assert found.no_difference
        assert comparison_lines(found) == [NO_DIFFERENCE]


def test_what_nobody_knows_is_passed_over_and_what_is_missing_is_not_known(old):
    new = deepcopy(old) | {"weather_on_mars": {"dust": [1, 2]}}
    new["spots"][0]["antlers"] = 7
    assert compare(old, new).no_difference
    without = {k: v for k, v in old.items() if k != "area_outline"}
    assert compare(without, old).no_difference  # an older record holds no outline: that is no other area
    bare = {"format": 1, "mission": {}, "spots": []}
    found = compare(bare, bare)
    assert found.no_difference
    gone = comparison_lines(compare(old, bare))
    assert gone[0] == "No spot passes now; before, spot A was first."
    assert comparison_lines(compare(bare, old))[0].startswith("Spot A (12TWQ0154551365) is first now; before, no")


def replaced(held, path, value):
    """Of a record, what lies on the path as a copy; the rest is the record's own."""
    if not path:
        return value
    new = copy(held)
    new[path[0]] = replaced(held[path[0]], path[1:], value)
    return new


@pytest.mark.parametrize("junk", [None, True, 7, "text", [], {}, [None], [[]], {"a": [1]}, 10**400, -1.5])
def test_records_of_any_shape_give_words(old, junk):
    """Whatever stands in place of a table or a value: a comparison, never a traceback."""
    old = old | {"judged": old["judged"][:12], "rejected": old["rejected"][:12]}
    for path in (
        ("inputs",), ("roads",), ("judged",), ("options",), ("sets",), ("firmness",), ("rulings",), ("area_outline",),
        ("rejected",), ("search",), ("spots", 0), ("spots", 0, "coverage"), ("spots", 0, "access"),
        ("spots", 0, "certainty"), ("spots", 0, "criteria"), ("spots", 0, "latitude"), ("spots", 0, "rank"),
        ("sets", "2"), ("judged", 0), ("judged", 0, "criteria"), ("roads", "not_for_rig"), ("mission", "weights"),
    ):  # fmt: skip
        new = replaced(old, path, junk)
        for found in (compare(old, new), compare(new, old)):
            assert comparison_lines(found)
            ET.fromstring(two_plans_svg(found, METRIC))
            json_text(comparison_record(found))


HOSTILE = "<script>alert(1)</script>\"'&\x1b[31m\u202e\ud800]]>{{x}}"


def hostile(value):
    if isinstance(value, dict):
        return {k: hostile(v) if k not in ("format", "kind", "code", "change") else v for k, v in value.items()}
    if isinstance(value, list):
        return [hostile(v) for v in value]
    return f"{value} {HOSTILE}" if isinstance(value, str) else value


def test_hostile_names_are_harmless_in_picture_and_terminal(old, closed, tmp_path, here):
    found = compare(old, hostile(closed))
    svg, page = two_plans_svg(found, METRIC), two_plans_html(found, METRIC)
    drawing = ET.fromstring(svg)
    assert {e.tag.rpartition("}")[2] for e in drawing.iter()} <= {"svg", "rect", "text", "circle", "path", "polygon"}
    for text in (svg, page):
        assert "<script" not in text
        assert "\x1b" not in text
        assert "\u202e" not in text
        assert "http" not in text.replace("http://www.w3.org/2000/svg", "").replace("http-equiv", "")
    one, two = tmp_path / "old.json", tmp_path / "new.json"
    one.write_text(json.dumps(old))
    two.write_text(json.dumps(hostile(closed)))
    for call, *more in ((run,), (here, "--json"), (here, "--picture", str(tmp_path / "both.html"))):
        done = call("compare", str(one), str(two), *more)
        assert done.returncode == 0, done.stderr
        assert "\x1b" not in done.stdout
        assert "\u202e" not in done.stdout
    assert "<script" not in (tmp_path / "both.html").read_text()


def run(*words):
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "siteplanner", *words], capture_output=True, text=True, encoding="utf-8", check=False
    )


def test_the_command_says_what_is_wrong_with_a_file(old, closed, tmp_path, here):
    one, two = tmp_path / "old.json", tmp_path / "new.json"
    one.write_text(json.dumps(old))
    two.write_text(json.dumps(closed))
    done = here("compare", str(one), str(two), "--json", "--picture", str(tmp_path / "both.svg"))
    told = json.loads(done.stdout)
    assert told["lines"] == comparison_lines(compare(old, closed))
    assert len(told["parameters"]) == 1
    assert not told["same_first"]
    assert len(told["figures"]) > 5
    ET.parse(tmp_path / "both.svg")
    for bad, word in (
        ("{", "Broken syntax"), ("[]", "not the plan.json"), ('{"mission": {}, "spots": [], "format": 99}', "version"),
        ('{"mission": {}, "spots": [], "format": 1, "a": ' + "[" * 60 + "]" * 60 + "}", "nested"),
    ):  # fmt: skip
        two.write_text(bad)
        with pytest.raises(InputError, match=word):
            read_plan(two)
    done = run("compare", str(one), str(two))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert here("compare", str(one), str(tmp_path / "nothing.json")).returncode == 2
    found = compare(old, closed)
    for name in ("both.png", "nowhere/both.svg"):
        with pytest.raises(InputError):
            write_two_plans(found, tmp_path / name, METRIC)


def test_alike_is_decided_by_step_and_doubt():
    nan, inf = float("nan"), float("inf")
    assert alike(71.0, 71.9, 1.0)
    assert not alike(71.0, 72.1, 1.0)
    assert alike(71.0, 74.0, 1.0, 3.5)
    assert not alike(71.0, 74.0, 1.0, 2.9)
    assert alike(nan, nan, 1.0)
    assert not alike(nan, 1.0, 1.0, 5.0)
    assert alike(inf, inf, 1.0)
    assert not alike(inf, 3.0, 1.0, 5.0)
