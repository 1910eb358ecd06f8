"""The child that compiles; that it leaves what it promises: `tests/demo/test_where_samples_lie.py`."""

import subprocess
import sys

from siteplanner.planning.plan import warm_up


def test_a_child_that_hangs_is_ended():
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    warm_up.finish([child], seconds=0.2)
    assert child.returncode is not None
    warm_up.finish(())
