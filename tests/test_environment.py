"""Homes that cannot be written, other programs' tables, full and closed outputs: words and exit codes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from .test_cli import write_mission


def python(code, **environment):
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={k: v for k, v in {**os.environ, **environment}.items() if v is not None},
    )


def test_kernels_go_to_a_folder_of_this_account_where_neither_code_nor_home_can_be_written(tmp_path):
    code = (
        "import os, stat\n"
        "real = os.access\n"
        "os.access = lambda path, mode, **kw: real(path, mode) if str(path).startswith(str(TMP)) else False\n"
        "import siteplanner\n"
        "folder = os.environ['NUMBA_CACHE_DIR']\n"
        "assert folder.startswith(str(TMP)), folder\n"
        "assert not os.stat(folder).st_mode & 0o077\n"
    ).replace("TMP", repr(str(tmp_path)))
    done = python(code, NUMBA_CACHE_DIR=None, TMPDIR=str(tmp_path))
    assert done.returncode == 0, done.stderr
    # a stranger's folder under that name is not used: what lies there would be run
    own = next(tmp_path.iterdir())
    own.chmod(0o777)
    done = python(code, NUMBA_CACHE_DIR=None, TMPDIR=str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert len(list(tmp_path.iterdir())) == 2


def test_tables_of_another_program_are_not_used(tmp_path):
    (tmp_path / "proj.db").write_bytes(b"of another release")
    code = "import siteplanner, pyproj, rasterio.crs; rasterio.crs.CRS.from_epsg(32612); pyproj.CRS(32612)"
    done = python(code, PROJ_LIB=str(tmp_path), PROJ_DATA=str(tmp_path), GDAL_DATA=str(tmp_path))
    assert done.returncode == 0, done.stderr[-600:]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_full_standard_output_is_words(tmp_path):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "siteplanner", "check", write_mission(tmp_path / "m"), "--json"],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=300, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert "No space left" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


def test_a_closed_pipe_is_not_an_answer(tmp_path):
    """As `siteplanner check ... | head -0`."""
    mission = write_mission(tmp_path / "m")
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "siteplanner", "check", mission],
            stdout=writer, stderr=subprocess.PIPE, text=True, timeout=300, check=False,
        )  # fmt: skip
    finally:
        os.close(writer)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


LIMITED = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
from siteplanner.cli import run
from siteplanner.outputs.write import write_outputs
from tests.outputs.factory import make_plan
made = make_plan()
resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
sys.exit(run(lambda: write_outputs(made, sys.argv[1], only=["package.gpkg"]) and 0))
"""


def test_a_disk_that_takes_no_more_is_words_and_leaves_the_earlier_set(tmp_path):
    """A limit on the size of files stands for a full disk: it needs no rights."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "package.gpkg").write_text("earlier")
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, out], capture_output=True, text=True, timeout=300, check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert done.returncode == 2, done.stderr[-800:]
    assert "Traceback" not in done.stderr
    assert "has what it had before" in done.stderr
    assert (out / "package.gpkg").read_text() == "earlier"
    assert [p.name for p in out.iterdir()] == ["package.gpkg"]


def test_asked_to_end_it_tidies_up(tmp_path):
    """In the middle of a run: once it has said what the run will take, with all spots still to be judged."""
    run_ = subprocess.Popen(
        [sys.executable, "-m", "siteplanner", "plan", write_mission(tmp_path / "m"), "--out", tmp_path / "out"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert "A plan takes" in run_.stderr.readline()
    run_.send_signal(signal.SIGTERM)
    _, said = run_.communicate(timeout=120)
    assert run_.returncode == 130
    assert "Interrupted; nothing was written." in said
    assert [p.name for p in tmp_path.iterdir()] == ["m"]


def test_threads_without_work_sleep_unless_the_user_says_otherwise():
    """Threads of a parallel kernel that wait in a loop took a third of a small plan's processor time (measured)."""
    ask = "import siteplanner, os; print(os.environ['OMP_WAIT_POLICY'])"
    assert python(ask, OMP_WAIT_POLICY=None).stdout.strip() == "passive"
    assert python(ask, OMP_WAIT_POLICY="active").stdout.strip() == "active"
