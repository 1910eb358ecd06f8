"""The samples are found in a clone and travel inside the wheel: no clone, no home that can be written."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import Point

import siteplanner.demo as demo
from siteplanner.errors import InputError

ROOT = Path(__file__).parents[2]


def test_every_sample_is_found_in_a_clone() -> None:
    for name in demo.SAMPLES:
        assert demo.sample_mission(name) == ROOT / "data_samples" / name / "mission.toml"
    with pytest.raises(KeyError, match="is not a sample"):
        demo.sample_mission("no such")


def test_an_installation_without_them_says_so(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(demo, "__file__", str(tmp_path / "lib" / "siteplanner" / "demo" / "__init__.py"))
    with pytest.raises(InputError, match="real_hills is missing") as caught:
        demo.sample_mission("real_hills")
    assert "Install the package again" in caught.value.remedy


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The package as it is handed on, built from what git would hand on and nothing that lies about."""
    out = tmp_path_factory.mktemp("wheel")
    clone = out / "clone"
    shutil.copytree(
        ROOT,
        clone,
        ignore=shutil.ignore_patterns(
            ".git", ".venv", "venv", "__pycache__", ".*_cache", ".hypothesis", "siteplanner_out"
        ),
    )
    build = "import sys; from hatchling.build import build_wheel; print(build_wheel(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-c", build, str(out)], cwd=clone, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return out / done.stdout.split()[-1]


def test_the_wheel_holds_the_samples_and_not_how_they_were_made(wheel) -> None:
    with zipfile.ZipFile(wheel) as held:
        names = set(held.namelist())
        for name in demo.SAMPLES:
            for path in (ROOT / "data_samples" / name).iterdir():
                assert held.read(f"siteplanner/demo/samples/{name}/{path.name}") == path.read_bytes()
    assert not [n for n in names if "/making/" in n or n.endswith(("app.png", "map.png", "spot.png"))]
    assert {n.split("/")[0] for n in names if ".dist-info" not in n} == {"siteplanner"}
    assert wheel.stat().st_size < 10_000_000


COLD = """
import json, runpy, sys
from pathlib import Path
from siteplanner.planning.plan import warm_up
start, finish = warm_up.start, warm_up.finish
told = {}
def finished(children, seconds=120.0):
    finish(children, seconds)
    if children:  # what lies on the disk at this moment, before this process has come to service
        from siteplanner.core.coverage_rays import trace_intervals
        kept = Path(trace_intervals.stats.cache_path)
        told.update(codes=[child.returncode for child in children], again=len(start()),
                    kept=sorted(p.name.split("-")[0] for p in kept.glob("*.nbc")))
warm_up.finish = finished
note, sys.argv = sys.argv[1], ["siteplanner", *sys.argv[2:]]
try:
    runpy.run_module("siteplanner", run_name="__main__")
finally:
    Path(note).write_text(json.dumps(told))
"""


@pytest.fixture(scope="module")
def first_run(wheel, tmp_path_factory):
    """The first plan ever of the installed wheel: what it said, where it ran, and what its compiling children left.

    A new environment with only the libraries of this one, an empty folder, a home where nothing can be made: so
    nothing is compiled yet, and all kernels are compiled anew, which takes half a minute and is done this once.
    """
    place = tmp_path_factory.mktemp("installed")
    venv.create(place / "env", with_pip=False)
    own = Path(sysconfig.get_path("purelib", vars={"base": str(place / "env")}))
    with zipfile.ZipFile(wheel) as held:
        held.extractall(own)
    libraries = place / "libraries"  # this environment's, without its own siteplanner
    libraries.mkdir()
    for path in Path(sysconfig.get_path("purelib")).iterdir():
        if "siteplanner" not in path.name and path.suffix != ".pth":
            (libraries / path.name).symlink_to(path)
    (own / "libraries.pth").write_text(f"{libraries}\n")
    home, work = place / "home", place / "work"
    home.touch()  # a file: not even root can make anything below it, whatever the rights say
    work.mkdir()
    python = place / "env" / Path(sys.executable).parent.name / Path(sys.executable).name
    kept_out = {"PYTHONPATH", "PYTHONHOME", "NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "XDG_DATA_HOME", "SITEPLANNER_WORK"}
    env = {**{k: v for k, v in os.environ.items() if k not in kept_out}, "HOME": str(home)}
    note = place / "child.json"
    command = [python, "-c", COLD, note, "demo", "--sample", "real_hills", "--quiet", "--json"]
    done = subprocess.run(command, cwd=work, env=env, capture_output=True, text=True, timeout=300, check=False)
    return done, work, json.loads(note.read_text("utf-8"))


def test_installed_from_the_wheel_it_plans_with_a_home_that_cannot_be_written(first_run) -> None:
    done, work, _ = first_run
    assert done.returncode == 0, done.stderr[-2000:]
    assert json.loads(done.stdout)["spots"]
    assert (work / "siteplanner_out" / "demo" / "map.html").stat().st_size > 100_000


def test_children_fill_an_empty_cache_and_a_full_one_starts_none(first_run) -> None:
    """`planning/plan/warm_up.py`: it is started where nothing is kept, and leaves what it promises."""
    *_, child = first_run
    assert child["codes"] == [0, 0]
    coverage = {"aim._expected_weight", "coverage_rays.trace_intervals", "loss_error._redrawn"}
    sky = {"sky_bounds._sweep_strip", "sky._settle_rows", "far_ground._horizons_beyond", "horizon_error._surveys"}
    assert coverage | sky | {"maximal_cover._pairs", "maximal_cover._gains"} <= set(child["kept"])
    assert not child["again"]


def test_every_sample_says_in_its_title_what_of_it_is_real():
    assert set(demo.IN_A_WORD) == set(demo.SAMPLES)
    assert "real" in demo.IN_A_WORD["real_hills"]  # its heights are; `invented` alone would deny it
    assert demo.IN_A_WORD["dunmarrow_county"] == "invented"


def test_the_places_that_forms_show_as_examples_are_one_place_in_the_invented_county():
    from siteplanner.app.coordinates import EXAMPLES, read

    places = [read(text) for text in EXAMPLES.split(" or ")]
    assert len(places) == 3
    area = gpd.read_file(demo.sample_mission("dunmarrow_county").parent / "incident_area.geojson")
    for latitude, longitude in places:
        assert (latitude, longitude) == pytest.approx(places[0], abs=2e-5)
        assert area.union_all().convex_hull.buffer(0.02).contains(Point(longitude, latitude))
