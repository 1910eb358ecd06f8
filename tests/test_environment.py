"""Homes that cannot be written, other programs' tables, full and closed outputs: words and exit codes."""

from __future__ import annotations

import json
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


ODD = {  # no locale by that name, no coercion of it, no home, no place for temporary files
    "bare": {"LC_ALL": "POSIX", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0", "HOME": None, "TMPDIR": "/none/such"},
    "foreign": {"LC_ALL": "tr_TR.ISO-8859-9", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii:strict",
                "HOME": "/dev/null", "XDG_CACHE_HOME": "/dev/null/caches", "MPLCONFIGDIR": "/dev/null/caches"},
}  # fmt: skip


@pytest.mark.parametrize("which", list(ODD))
def test_odd_locale_no_home_no_temporary_folder(which, tmp_path):
    """What the terminal's encoding lacks is written plainly; everything is read, and JSON stays what it is."""
    mission = Path(write_mission(tmp_path / "m"))
    text = mission.read_text("utf-8")
    mission.write_text('name = "\u0130stanbul \u4e2d"\n' + text.replace("name =", "note =", 1), "utf-8")
    env = {k: v for k, v in {**os.environ, **ODD[which]}.items() if v is not None}
    done = subprocess.run(
        [sys.executable, "-m", "siteplanner", "check", mission, *(["--json"] if which == "foreign" else [])],
        capture_output=True, timeout=300, check=False, env=env,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-800:]
    assert b"Traceback" not in done.stderr
    assert b"Exception ignored" not in done.stderr
    if which == "foreign":
        assert json.loads(done.stdout)["layers"]
    done = subprocess.run(
        [sys.executable, "-m", "siteplanner", "check", mission.with_name("\u4e2d.toml")],
        capture_output=True, timeout=300, check=False, env=env,
    )  # fmt: skip
    assert done.returncode == 2, done.stderr[-800:]
    assert b".toml" in done.stderr
    assert b"Remedy:" in done.stderr


def test_signs_that_an_encoding_lacks_are_spelled():
    from siteplanner.cli.letters import PLAIN, json_for

    assert "12\u00b0 \u00b15 \u2264 \u4e2d".encode("ascii", PLAIN) == b"12 deg +/-5 <= ?"
    assert "12\u00b0".encode("latin-1", PLAIN) == b"12\xb0"
    assert "folder\udcff".encode("utf-8", PLAIN) == b"folder?"  # a file name in bytes that are not UTF-8

    class Old:
        encoding = "ascii"

    assert json.loads(json_for(Old, '{"name": "\u0130\U0001f69b"}')) == {"name": "\u0130\U0001f69b"}
    assert json_for(Old, '{"name": "\u0130"}').isascii()


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="a place that nobody can write to, even with all rights")
@pytest.mark.parametrize("place", ["/proc/out", "/dev/null/out", "/proc/self"])
def test_a_place_that_takes_no_files_is_words(place):
    from siteplanner.errors import OutputError
    from siteplanner.outputs.switch import put

    with pytest.raises(OutputError, match="cannot be written") as found:
        put(Path(place), {"a.txt": b"x"})
    assert str(found.value.file) == place
    assert found.value.remedy


ARRAYS_AGAIN = """
import resource
import siteplanner
import numpy as np
held = np.ones(1 << 20)  # 8 MB: from the heap, no mapping of its own
del held
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(20):
    held = np.ones(1 << 20)
    del held
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a setting of glibc")
def test_an_array_made_again_does_not_take_its_pages_anew():
    done = python(ARRAYS_AGAIN)
    assert int(done.stdout) < 2 * (8 << 20) // 4096, done.stderr  # of one array, where each of the 20 took its own
