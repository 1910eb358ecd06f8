"""The child that compiles: started only where nothing is kept, and it leaves what it promises."""

import os
import subprocess
import sys

from siteplanner.planning.plan import warm_up


def test_a_child_fills_an_empty_cache_and_a_full_one_starts_none(tmp_path):
    code = (
        "from siteplanner.planning.plan import warm_up\n"
        "child = warm_up.start()\n"
        "assert child is not None\n"
        "warm_up.finish(child)\n"
        "assert child.returncode == 0\n"
        "assert warm_up.start() is None\n"
    )
    env = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code], env=env, capture_output=True, text=True, timeout=200, check=False
    )
    assert done.returncode == 0, done.stderr
    assert list(tmp_path.rglob("aim.*.nbc"))


def test_a_child_that_hangs_is_ended():
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    warm_up.finish(child, seconds=0.2)
    assert child.returncode is not None
    warm_up.finish(None)
