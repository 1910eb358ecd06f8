"""The command line with its libraries loaded once: each command is run by a copy of that process, under limits.

Loading them is two thirds of a small command's time; a copy (fork) has its own memory, limits and end all the same.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import traceback
from pathlib import Path


class Started:
    """Answers one command at a time; `most_kb` is the most memory that any of them held."""

    def __init__(self, place: Path) -> None:
        self.place, self.most_kb = place, 0
        command = [sys.executable, "-m", "tests.hostile.started", str(place)]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def limited(self, *args: object, memory: int, seconds: int) -> subprocess.CompletedProcess:
        """A command under limits of memory and processor time."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps([memory, seconds, *map(str, args)]) + "\n")
        self.process.stdin.flush()
        code, held_kb = json.loads(self.process.stdout.readline())
        self.most_kb = max(self.most_kb, held_kb)
        said = [(self.place / name).read_text("utf-8", errors="replace") for name in ("stdout", "stderr")]
        return subprocess.CompletedProcess(args, code, *said)

    def end(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(timeout=60)


def _one(place: Path, memory: int, seconds: int, args: list[str]) -> None:
    """In the copy: it ends here."""
    code = 1
    try:
        for number, name in ((1, "stdout"), (2, "stderr")):
            os.dup2(os.open(place / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        resource.setrlimit(resource.RLIMIT_AS, (memory + (2 << 30),) * 2)  # libraries map far more than they use
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
        from siteplanner.cli import main

        main(args)
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def main(place: Path) -> None:
    import geopandas  # noqa: F401
    import pyogrio  # noqa: F401
    import rasterio.warp  # noqa: F401

    import siteplanner.cli
    import siteplanner.planning.study.load  # noqa: F401

    for line in sys.stdin:
        memory, seconds, *args = json.loads(line)
        child = os.fork()
        if child == 0:
            _one(place, memory, seconds, args)
        _, status, used = os.wait4(child, 0)  # with what the copy itself started and waited for
        print(json.dumps([os.waitstatus_to_exitcode(status), used.ru_maxrss]), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
