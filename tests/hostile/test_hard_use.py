"""What hard use once broke and no other test holds: files beside a layer, what `check` opens, pipes in the place of
files, faults of libraries, an interruption before the program stands."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import typer

from siteplanner import cli
from siteplanner.app import session
from siteplanner.data.border import border
from siteplanner.data.bounded import MOST, counted
from siteplanner.data.forecast import read_forecast
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError, SiteplannerError
from siteplanner.planning.plan.compare import read_plan
from tests.data.conftest import UTM
from tests.hostile import shapes
from tests.outputs.factory import make_plan
from tests.planning.conftest import write_mission

opened: list[str] | None = None


def _seen(event: str, arguments: tuple) -> None:
    if event == "open" and opened is not None:
        opened.append(str(arguments[0]))


def checked(mission: str | Path, capsys) -> tuple[int, str]:
    """Exit code and words of `siteplanner check`, in this process."""
    commands = typer.main.get_command(cli.app)
    code = cli.run(lambda: commands.main(["check", str(mission), "--quiet"], standalone_mode=False))
    return code, " ".join(capsys.readouterr().err.split())


@pytest.fixture(scope="module")
def valley(tmp_path_factory):
    return Path(write_mission(tmp_path_factory.mktemp("valley") / "m"))


def test_files_that_merely_begin_as_a_layer_does_are_never_opened(valley, capsys):
    """One that may not be read ended in a traceback, one of 20 GB was read from end to end, a pipe waits for good."""
    global opened
    os.mkfifo(valley.with_name("dem_old.tif"))
    os.mkfifo(valley.with_name("dem2.bin"))
    sys.addaudithook(_seen)
    opened = []
    try:
        code, said = checked(valley, capsys)
        held = opened
    finally:
        opened = None
    assert code == 0, said
    assert any(name.endswith("dem.tif") for name in held)
    assert not any("dem_old" in name or "dem2" in name for name in held)


@pytest.mark.parametrize(
    ("line", "named"),
    [
        ('[layers]\nwind_forecast = "none.csv"', "none.csv"),
        ('[layers]\nwind_forecast = "pipe.csv"', "pipe.csv"),
        ('[sheets]\nextra_fonts = ["none.ttf"]', "none.ttf"),
        ('[sheets]\nextra_fonts = ["pipe.ttf"]', "pipe.ttf"),
        ('[sheets]\nextra_fonts = ["dem.tif"]', "dem.tif"),
    ],
)
def test_check_opens_all_that_a_plan_will_open(valley, line, named, capsys):
    """It passed what `plan` refused after minutes, and waited for good where a pipe stood."""
    text = valley.read_text("utf-8")
    table, _, more = line.partition("\n")
    text = text.replace(f"{table}\n", f"{line}\n", 1) if f"{table}\n" in text else f"{text}\n{line}\n"
    mission = valley.with_name(f"{named}.toml")
    mission.write_text(text, "utf-8")
    if named.startswith("pipe"):
        os.mkfifo(valley.with_name(named))
    code, said = checked(mission, capsys)
    assert code == 2, (more, said)
    assert named in said
    assert "Remedy:" in said


def test_a_pipe_or_a_device_in_the_place_of_a_plan_or_a_table_is_refused(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        for read in (read_plan, lambda p: read_forecast(p, "m/s")):
            with pytest.raises(InputError) as found:
                read(path)
            assert found.value.remedy


@pytest.mark.parametrize(
    "fault",
    [
        ValueError("Points of LinearRing do not form a closed linestring"),
        LookupError("unknown encoding: x"),
        RuntimeError("wrong format for coordinate: '444'"),
        OverflowError("too large"),
        RecursionError(),
        MemoryError(),
        OSError(36, "File name too long"),
        RuntimeError("std::bad_alloc"),
    ],
)
def test_whatever_a_library_throws_leaves_as_one_sentence_that_names_the_file(fault):
    with pytest.raises(InputError) as found, border("some/roads.fgb", "layer"):
        raise fault
    assert str(found.value.file) == "some/roads.fgb"
    assert found.value.remedy
    assert "\n" not in str(found.value)


def odd_encoding(folder: Path) -> Path:
    path = folder / "odd.kml"
    path.write_bytes(b'<?xml version="1.0" encoding="x-nowhere"?><kml xmlns="http://www.opengis.net/kml/2.2"/>')
    return path


def long_member(folder: Path) -> Path:
    path = folder / "odd.zip"
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("x" * 300 + ".geojson", '{"type": "FeatureCollection", "features": []}')
    return path


def latitude_444(folder: Path) -> Path:
    path = folder / "odd.osm"
    nodes = '<node id="1" lat="444" lon="7.0"/><node id="2" lat="36.6" lon="-84.1"/>'
    way = '<way id="3"><nd ref="1"/><nd ref="2"/><tag k="highway" v="track"/></way>'
    path.write_text(f'<?xml version="1.0"?><osm version="0.6">{nodes}{way}</osm>')
    return path


def many_folders(folder: Path) -> Path:
    shapes.kml_of_folders(folder, 40)
    return next(folder.glob("odd.*"))


@pytest.mark.parametrize("make", [odd_encoding, long_member, latitude_444, many_folders])
def test_single_odd_files_are_refused_in_a_sentence_of_some_length(make, tmp_path):
    path = make(tmp_path)
    with pytest.raises(SiteplannerError) as found:
        read_layer(path, "roads", target_crs=UTM, kinds={"line"})
    assert path.name in str(found.value)
    assert len(str(found.value)) < 1000


def test_a_cell_of_a_table_longer_than_the_library_takes_is_a_row_in_words(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text("time,speed\n2026-06-01T00:00:00Z," + "9" * 200_000 + "\n")
    with pytest.raises(InputError) as found:
        read_forecast(path, "m/s")
    assert len(str(found.value)) < 1000


def test_a_run_that_ended_while_nobody_looked_is_taken_on_any_page():
    """The page Decide stayed empty until the page Run had been shown."""
    from siteplanner.app.running import Run

    work, plan = session.Work("token"), make_plan()
    work.run = Run(plan.mission, lambda mission, progress: plan).start()
    work.run.wait(60)
    work.take_finished()
    assert work.plan is plan


def test_an_interruption_before_the_program_stands_is_told_as_any_other(tmp_path):
    (tmp_path / "sitecustomize.py").write_text(
        "import sys\n"
        "class Stop:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'typer':\n"
        "            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Stop())\n"
    )
    done = subprocess.run(
        [sys.executable, "-m", "siteplanner", "--help"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 130
    assert done.stderr.strip() == "Interrupted; nothing was written."


def test_no_spot_lies_beyond_the_map_of_the_earth():
    from siteplanner.planning.plan.explain import spot_here

    plan = make_plan()
    for latitude, longitude in ((44.7, -200.0), (91.0, 7.0), (44.7, float("nan"))):
        with pytest.raises(InputError, match="not a place on Earth"):
            spot_here(plan_judge(plan), latitude, longitude, "here")


def plan_judge(plan):
    """What `spot_here` looks at of a judge: the elevation."""
    from types import SimpleNamespace

    return SimpleNamespace(study=SimpleNamespace(elevation=plan.scene.elevation))


def test_bytes_that_are_no_text_print_no_traceback_beside_the_sentence(tmp_path, monkeypatch, capfd):
    """The raster library's log quotes the file, and failed at that on its own."""
    from types import SimpleNamespace

    from siteplanner.data.raster_source import open_raster

    seen: list = []
    monkeypatch.setattr(sys, "unraisablehook", seen.append)
    (tmp_path / "dem.asc").write_text("ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 10\n1 2\n3 4\n")
    wkt = (
        'PROJCS["WGS_1984_UTM_Zone_12N",GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,'
        '298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],'
        'PARAMETER["False_Easting",5?0000.0],PARAMETER["Central_Meridian",-111.0],UNIT["Meter",1.0]]'
    )
    (tmp_path / "dem.prj").write_bytes(wkt.encode().replace(b"?", b"\xff"))
    with pytest.raises(InputError, match="CRS"), open_raster(tmp_path / "dem.asc"):
        pass
    assert seen == []
    assert capfd.readouterr().err == ""
    other = SimpleNamespace(object="another", exc_value=ValueError())
    sys.unraisablehook(other)
    assert seen == [other]


@pytest.mark.parametrize("role", sorted(MOST))
def test_more_features_than_a_role_can_have_are_refused_with_the_number(role):
    """Each costs work of its own: minutes or all memory, without a word."""
    import geopandas as gpd
    import shapely

    most = MOST[role]
    frame = gpd.GeoDataFrame(geometry=shapely.points(np.zeros((most + 1, 2))))
    counted(frame[:most], Path("a.gpkg"), role)
    with pytest.raises(InputError, match=f"at most {most:,}") as found:
        counted(frame, Path("a.gpkg"), role)
    assert found.value.remedy


@pytest.mark.parametrize("kind", ["crew", "driver", "commander"])
def test_as_many_satellites_and_staging_points_as_a_mission_takes_cost_no_sheet(kind):
    """Sixteen, or forty, and nothing was written at all."""
    from io import BytesIO

    from pypdf import PdfReader

    from siteplanner.outputs.sheets.printing import MOST_PAGES, sheet_pdf

    plan = make_plan()
    first, mission = plan.spots[0], plan.mission
    looks = first.evaluation.sky[:1] * 64
    satellite, yard = mission.sky.satellites[0], mission.staging[0]
    satellites = tuple(satellite.model_copy(update={"longitude_deg": -150.0 + k}) for k in range(64))
    yards = tuple(yard.model_copy(update={"name": f"Yard {k}"}) for k in range(200))
    sky = mission.sky.model_copy(update={"satellites": satellites})
    mission = mission.model_copy(update={"sky": sky, "staging": yards})
    best = replace(first, evaluation=replace(first.evaluation, sky=looks))
    made = sheet_pdf(replace(plan, mission=mission, spots=(best, *plan.spots[1:])), kind)
    assert made is not None
    assert 1 <= len(PdfReader(BytesIO(made)).pages) <= MOST_PAGES


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux ends a child with its parent")
def test_a_killed_run_leaves_no_child_that_compiles():
    import select

    child = (
        "from siteplanner.planning.plan import warm_up as w; w.end_with_parent(); import time; print(1, flush=True); "
    )
    reader, writer = os.pipe()  # the child holds its end until it is gone
    parent = (
        "import subprocess, sys\n"
        f"child = subprocess.Popen([sys.executable, '-c', {child + '; time.sleep(200)'!r}], stdout=subprocess.PIPE, "
        f"pass_fds=({writer},))\n"
        "print(child.stdout.readline(), flush=True)\n"
        "input()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", parent], stdin=subprocess.PIPE, stdout=subprocess.PIPE, pass_fds=(writer,),
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    ) as running:  # fmt: skip
        os.close(writer)
        assert running.stdout.readline()
        running.kill()
        assert select.select([reader], [], [], 60.0)[0]  # its end is closed: nobody holds it any more
    os.close(reader)
