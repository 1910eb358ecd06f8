"""Compile the kernels of sky, coverage and sets on other cores while the layers are read.

The first run on a machine compiles the numeric kernels (some 10 s of one core for coverage alone); numba keeps the
result on disk. Two child processes do that while this one reads layers, one the coverage, the other all else, and this
one then finds it done. When the kernels are on disk already, nothing is started; when a child fails, this process
compiles for itself.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

    from siteplanner.core.ground_cover import Cover


def compile_coverage() -> None:
    """Call the coverage kernels once on a tiny raster, so that each is compiled and kept."""
    from siteplanner.core.ground_cover import covered_loss_db

    ground, woods, rows, cols, stops = _wooded()
    covered_loss_db(ground, 10.0, 20, 20, stops, 1.5, 763.0, rows, cols, woods)


def _wooded() -> tuple[np.ndarray, Cover, np.ndarray, np.ndarray, np.ndarray]:
    """A tiny raster, woods on it, rows and columns of cells, two stops of a mast."""
    import numpy as np

    from siteplanner.core.ground_cover import TREES, cover_of

    ground = np.random.default_rng(0).normal(0, 20, (40, 40)).astype(np.float32)
    rows, cols = (a.ravel() for a in np.mgrid[0:40:3, 0:40:3])
    return ground, cover_of(ground, np.full(ground.shape, TREES, np.uint8)), rows, cols, np.array([8.0, 12.0])


def compile_aim() -> None:
    """The same for aims, and for what errors of the ground do to losses."""
    import numpy as np

    from siteplanner.core.aim import best_aim, expected_weight
    from siteplanner.core.antenna import SectorPattern
    from siteplanner.core.cover_error import loss_shifts_db
    from siteplanner.core.coverage import directions
    from siteplanner.core.likely_ground import likely_ground
    from siteplanner.core.link import LinkParameters

    ground, woods, rows, cols, stops = _wooded()
    loss = np.full((2, len(rows)), 120.0, np.float32)
    likely = likely_ground(ground, 10.0, 10.0, 0.8)
    loss_shifts_db(ground, 10.0, 20, 20, 8.0, 1.5, 763.0, rows, cols, loss[0], woods, likely)
    distance, bearing, angle = directions(ground, 10.0, 20, 20, stops, 1.5, rows, cols)
    best_aim(loss, bearing, angle, np.ones(len(rows)), LinkParameters(), SectorPattern(), distance_m=distance)
    expected_weight(np.ones(2), np.zeros(2), 5.5)


def compile_sky() -> None:
    """The same for the satellite's line over cells and from spots, with ground beyond the raster."""
    import numpy as np

    from siteplanner.core.far_ground import FarGround, whole_horizon
    from siteplanner.core.horizon_error import GroundNoise, horizon_surveys_deg
    from siteplanner.core.sky import sky_state_varying

    ground = np.random.default_rng(0).normal(0, 20, (40, 40)).astype(np.float32)
    high_m, far = 400.0, FarGround(np.zeros((12, 12), np.float32), 100.0, 4.0, 4.0)
    beam = np.array([170.0, 180.0, 190.0])

    def look(rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.tile(beam, (*np.shape(rows), 1)), np.full(np.shape(rows), 20.0)

    sky_state_varying(
        ground, 10.0, look, 3.0, np.ones(ground.shape, bool), obstacles_m=ground, ceiling_m=high_m, far=far
    )
    whole_horizon(ground, 10.0, 20, 20, beam, 3.0, ceiling_m=high_m, far=far)
    horizon_surveys_deg(ground, ground, 10.0, 20, 20, beam, 3.0, 5.0, GroundNoise(0.8, 10.0))


def compile_sets() -> None:
    """The same for sets of trailers."""
    import numpy as np

    from siteplanner.core.maximal_cover import ALONE, gains, pair_values

    served = np.zeros((2, ALONE), np.float32)
    pair_values(np.zeros((2, 64), np.float32))
    gains(served, served[0])


def compile_all_else() -> None:
    """In the order in which they are needed: the sky is asked for while coverage is still being compiled."""
    compile_sky()
    compile_aim()
    compile_sets()


def end_with_parent() -> None:
    """Let the system end this process when the one that started it ends, however that ends (Linux)."""
    if sys.platform.startswith("linux"):
        import ctypes
        import signal

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG, prctl(2)


def start() -> tuple[subprocess.Popen, ...]:
    """Start the children if the kernels are not on disk yet; none when there is nothing to do or they cannot start."""
    from siteplanner.core.coverage_rays import trace_intervals

    kept = Path(trace_intervals.stats.cache_path)
    if any(kept.glob("coverage_rays.*.nbi")):
        return ()
    quiet = subprocess.DEVNULL
    out = []
    for work in (compile_all_else, compile_coverage):
        code = f"from siteplanner.planning.plan import warm_up as w; w.end_with_parent(); w.{work.__name__}()"
        with suppress(OSError):
            out.append(subprocess.Popen([sys.executable, "-c", code], stdin=quiet, stdout=quiet, stderr=quiet))
    return tuple(out)


def finish(children: Sequence[subprocess.Popen], seconds: float = 120.0) -> None:
    """Wait for the children; one that hangs is ended."""
    for child in children:
        try:
            child.wait(seconds)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


@contextmanager
def another_core() -> Iterator[Callable[[], None]]:
    """Compile on other cores during the block; the value waits for it. A block that fails ends the children."""
    children = start()
    try:
        yield lambda: finish(children)
    finally:
        for child in children:
            if child.poll() is None:
                child.kill()
                child.wait()
