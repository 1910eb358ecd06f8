"""Seconds of processor that each output takes, for ten spots: `python -m tests.benchmarks.outputs [MISSION.toml]`.

Planning in the same run is the baseline; the target is 20 s for all outputs of ten spots.
"""

from __future__ import annotations

import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

from siteplanner import load_mission, plan
from siteplanner.demo import sample_mission
from siteplanner.outputs.write import WRITERS, write_outputs

TARGET_S = 20.0


def main() -> None:
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else sample_mission("dunmarrow_county")
    start = time.process_time()
    made = plan(load_mission(path))
    planning = time.process_time() - start
    marks: list[tuple[str, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        write_outputs(made, folder, progress=lambda stage, share: marks.append((stage, time.process_time())))
        marks.append(("", time.process_time()))
        sizes = {f.name: f.stat().st_size for f in Path(folder).iterdir()}
    print(f"{len(made.spots)} spots; planning {planning:.1f} s of processor, the first run compiles once")
    total = marks[-1][1] - marks[0][1]
    for (stage, begin), (_, end) in pairwise(marks):
        name = stage.removeprefix("Writing ")
        size = f"{sizes[name] / 1000:9.0f} kB" if name in WRITERS and name in sizes else " " * 12
        print(f"  {name:24}{end - begin:6.2f} s {100 * (end - begin) / planning:5.1f} % of planning {size}")
    print(f"all outputs {total:.1f} s (target {TARGET_S:g} s), {total / planning:.2f} of planning")


if __name__ == "__main__":
    main()
