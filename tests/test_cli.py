"""The command line as a user meets it: exit codes, one-sentence errors, results on stdout, messages on stderr."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from siteplanner import cli
from tests.outputs.test_units_by_mission import METRIC_UNIT, US_UNIT, lengths
from tests.planning.conftest import write_mission


def siteplanner(*args, timeout=300, environment=None):
    return subprocess.run(
        [sys.executable, "-m", "siteplanner", *map(str, args)],
        env={**os.environ, **(environment or {})},
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
    )


@pytest.fixture
def here(capfd):
    """The same in this process, where the libraries are loaded already: exit code, stdout, stderr."""

    def run(*args):
        code = cli.run(lambda: cli.app(args=[str(a) for a in args], standalone_mode=False))
        said = capfd.readouterr()
        return subprocess.CompletedProcess(args, code, said.out, said.err)

    return run


# loaded before all else, in the processes that a run starts too: writes down each look-up and each call
RECORDER = """
import os, sys
if not os.path.exists(os.environ['RECORD']):
    open(os.environ['RECORD'], 'w').write('on\\n')
def note(event, arguments):
    if event in ('socket.getaddrinfo', 'socket.gethostbyname', 'socket.connect', 'socket.sendto'):
        with open(os.environ['RECORD'], 'a') as sink:
            sink.write(f'{event} {arguments!r}\\n')
sys.addaudithook(note)
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """A run of its own process, of a mission whose name sets the window's title and turns the line round."""
    folder = tmp_path_factory.mktemp("cli")
    mission = write_mission(folder / "m")
    text = Path(mission).read_text(encoding="utf-8")
    odd = "\\u001b]0;owned\\u0007 \\u009b31m \\u202eabc"
    Path(mission).write_text(f'name = "{odd}"\n' + text.replace("name =", "note =", 1), encoding="utf-8")
    recorder = tmp_path_factory.mktemp("recorder")
    (recorder / "sitecustomize.py").write_text(RECORDER)
    seen = {"PYTHONPATH": os.pathsep.join([str(recorder), *sys.path]), "RECORD": str(recorder / "record.txt")}
    done = siteplanner("plan", mission, "--out", folder / "out", "--json", environment=seen)
    return folder, mission, done, recorder / "record.txt"


def test_a_plan_looks_up_no_name_and_calls_no_address(planned):
    *_, record = planned
    assert record.read_text() == "on\n"


def test_plan_writes_everything_and_prints_the_plan(planned):
    folder, _, done, _ = planned
    assert done.returncode == 0, done.stderr
    printed = json.loads(done.stdout)
    saved = json.loads((folder / "out" / "plan.json").read_text(encoding="utf-8"))
    assert printed["spots"][0]["name"] == saved["spots"][0]["name"]
    assert {"plan.json", "map.html", "ranking.csv", "routes.gpx", "ruling.tif", "coverage.tif"} <= {
        p.name for p in (folder / "out").iterdir()
    }
    assert "map.html" in done.stderr
    assert not [p for p in folder.iterdir() if p.name not in {"m", "out"}]  # no temporary folder left behind


def test_json_holds_no_nan(planned):
    folder, *_ = planned
    text = (folder / "out" / "plan.json").read_text(encoding="utf-8")
    json.loads(text, parse_constant=lambda c: pytest.fail(f"{c} is not JSON"))


def test_names_cannot_drive_the_terminal(planned, here):
    _, mission, done, _ = planned
    assert done.returncode == 0, done.stderr
    bad = here("check", Path(mission).with_name("\x9b31m.toml"))
    assert bad.returncode == 2
    assert "31m" in bad.stderr
    assert "31m" in done.stdout
    for said in (bad.stderr, done.stdout, done.stderr):
        assert not {"\x1b", "\x9b", "\u202e", "\x07"} & set(said)


def test_explain_says_in_and_out(planned, here):
    folder, *_ = planned
    plan_file = folder / "out" / "plan.json"
    spot = json.loads(plan_file.read_text(encoding="utf-8"))["spots"][0]
    done = here("explain", plan_file, spot["latitude"], spot["longitude"], "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["would_rank"] == 1
    assert found["score"] == pytest.approx(spot["score"], abs=1e-6)
    done = here("explain", plan_file, spot["latitude"] + 0.004, spot["longitude"])
    assert done.returncode == 1
    assert "ruled out" in done.stdout


def test_explain_answers_a_us_reader_in_feet(planned, here):
    """The terminal was metric whatever the mission said."""
    folder = planned[0]
    record = json.loads((folder / "out" / "plan.json").read_text(encoding="utf-8"))
    record["mission"]["sheets"]["units"] = "us"
    other = folder / "out" / "us.json"
    other.write_text(json.dumps(record), encoding="utf-8")
    spot = record["spots"][0]
    said = [here("explain", other, spot["latitude"] + north, spot["longitude"]) for north in (0.0, 0.004)]
    other.unlink()
    text = " ".join(done.stdout + done.stderr for done in said)
    assert [done.returncode for done in said] == [0, 1]
    assert lengths(text, US_UNIT)
    assert not lengths(text, METRIC_UNIT)


def test_explain_notices_a_changed_layer(planned, here):
    folder = planned[0]
    plan_file = folder / "out" / "plan.json"
    record = json.loads(plan_file.read_text(encoding="utf-8"))
    for item in record["inputs"]:
        item["sha256"] = "0" * 64
    other = folder / "out" / "changed.json"
    other.write_text(json.dumps(record), encoding="utf-8")
    spot = record["spots"][0]
    done = here("explain", other, spot["latitude"], spot["longitude"])
    other.unlink()
    assert "has changed since" in done.stderr


def test_check_lists_layers(planned, here):
    mission = planned[1]
    done = here("check", mission, "--json")
    assert done.returncode == 0, done.stderr
    roles = {row["layer"] for row in json.loads(done.stdout)["layers"]}
    assert {"elevation", "roads", "incident area", "power lines"} <= roles


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["plan", "nowhere.toml"], "no such file"),
        (["plan"], "Missing argument"),
        (["plan", "x", "--nonsense"], "nonsense"),
        (["explain", "nowhere.json", "1", "2"], "no such file"),
        (["demo", "--sample", "atlantis"], "atlantis"),
    ],
)
def test_bad_input_is_a_sentence_and_code_2(args, words):
    done = siteplanner(*args)
    assert done.returncode == 2, done.stderr
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_broken_layer_names_file_and_remedy(tmp_path, here):
    mission = write_mission(tmp_path / "m")
    (tmp_path / "m" / "roads.gpkg").write_bytes(b"not a map")
    done = here("plan", mission, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert "roads.gpkg" in done.stderr
    assert "Remedy:" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_no_spot_is_exit_code_1_with_everything_written(tmp_path, here):
    mission = write_mission(tmp_path / "m", trailer="max_slope_deg = 0.1")
    done = here("plan", mission, "--out", tmp_path / "out")
    assert done.returncode == 1, done.stderr
    assert "No spot passes every limit" in done.stdout
    assert (tmp_path / "out" / "map.html").exists()


def test_an_interrupt_is_told_however_it_arrives(capsys):
    """The command line library hands Ctrl-C on as an exception or, since newer versions, as the bare code 130."""

    def stop():
        raise KeyboardInterrupt

    for call in (stop, lambda: 130):
        assert cli.run(call) == 130
        assert "nothing was written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("shut", "named"),
    [
        ({"maxheight": "2.8"}, "Valley Road, 0 m away (height limit 2.8 m is below the rig's 3.2 m"),
        ({"bar": "2.1"}, "Valley Road (height limit 2.1 m is below the rig's 3.2 m"),
    ],
)
def test_no_road_in_is_exit_code_1_with_the_road_and_the_value_that_shuts_it(tmp_path, here, shut, named):
    """Everything is shut at the yard, or a height bar stands between the yard and the search ground."""
    import geopandas as gpd
    import pandas as pd
    from shapely.ops import substring

    mission = write_mission(tmp_path / "m")
    path = tmp_path / "m" / "roads.gpkg"
    roads = gpd.read_file(path).assign(maxheight=shut.get("maxheight"))
    if "bar" in shut:
        line = roads.geometry[0]
        parts = [substring(line, *ends) for ends in ((0, 450), (450, 470), (470, line.length))]
        cut = roads.iloc[[0, 0, 0]].assign(maxheight=[None, shut["bar"], None]).set_geometry(parts, crs=roads.crs)
        roads = gpd.GeoDataFrame(pd.concat([cut, roads.iloc[1:]]), crs=roads.crs)
        yard = gpd.GeoDataFrame({"name": ["yard"]}, geometry=[line.interpolate(0).buffer(800)], crs=roads.crs)
        yard.to_file(tmp_path / "m" / "keep.gpkg", driver="GPKG")  # what is left of the road before the bar
    path.unlink()
    roads.to_file(path, driver="GPKG")
    done = here("plan", mission, "--out", tmp_path / "out")
    assert done.returncode == 1, done.stderr
    out = tmp_path / "out"
    assert {"map.html", "ranking.csv", "package.gpkg", "commander.pdf"} <= {p.name for p in out.iterdir()}
    sentence = json.loads((out / "plan.json").read_text(encoding="utf-8"))["recommendation"]
    assert "No spot passes every limit" in sentence
    assert named in sentence


def test_what_cannot_be_read_is_told_by_us_with_a_remedy():
    """The command line library refuses such a file by itself, without a word on what to do."""
    from typing import get_args, get_type_hints

    places = []
    groups = [group.typer_instance.registered_commands for group in cli.app.registered_groups]
    for command in [*cli.app.registered_commands, *(command for group in groups for command in group)]:
        for name, hint in get_type_hints(command.callback, include_extras=True).items():
            told = [part for part in get_args(hint) if hasattr(part, "readable")]
            if told and Path in (get_args(hint)[0], *get_args(get_args(hint)[0])):
                places.append((command.name or command.callback.__name__, name, told[0].readable))
    assert len({command for command, _, _ in places}) >= 12
    assert [place for place in places if place[2] and place[1] != "out"] == []
    assert ("check", "mission", False) in places
