"""Workers that share out the cases; one that dies or does not come to an end is a finding, and is replaced."""

from __future__ import annotations

import json
import os
import queue
import selectors
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

PROCESSOR_S, STILL_S = 90.0, 120.0  # of one case: at work, or waiting without any work (a busy machine is slow)
_TICKS = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100


class Worker:
    """One process of `worker.py`; answers one case at a time."""

    def __init__(self, corpus: Path, seed: int, address: str) -> None:
        self.home = Path(tempfile.mkdtemp(prefix="hostile-"))
        command = [sys.executable, "-m", "tests.hostile.worker", str(corpus), str(seed), address]
        environment = {**os.environ, "TMPDIR": str(self.home), "NUMBA_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        self.log = (self.home / "said").open("w+b")
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self.log, env=environment
        )

    def answer(self, number: int) -> dict[str, Any]:
        """What came of a case; a death or a hang is told as one."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        began, spent = time.monotonic(), self.processor_s()
        since, moved = began, 0.0
        self.process.stdin.write(json.dumps({"number": number}).encode() + b"\n")
        self.process.stdin.flush()
        with selectors.DefaultSelector() as waiting:
            waiting.register(self.process.stdout, selectors.EVENT_READ)
            while not waiting.select(timeout=1.0):
                over, now = self.processor_s() - spent, time.monotonic()
                if over - moved > 0.2:
                    moved, since = over, now
                if over > PROCESSOR_S or now - since > STILL_S:
                    return self._ended(number, f"hangs: {over:.0f} s of processor, {now - began:.0f} s")
        line = self.process.stdout.readline()
        if not line:
            self.process.wait()
            return self._ended(number, f"death: exit code {self.process.returncode}, {self._last_words()}")
        return dict(json.loads(line))

    def _ended(self, number: int, fault: str) -> dict[str, Any]:
        self.end()
        return {"number": number, "kind": "", "what": "", "code": None, "seconds": 0.0, "peak_mb": 0, "faults": [fault],
                "said": ""}  # fmt: skip

    def _last_words(self) -> str:
        self.log.seek(0)
        return self.log.read()[-1500:].decode("utf-8", "replace")

    def processor_s(self) -> float:
        """Processor time of the process and of the children that it has waited for."""
        try:
            parts = Path(f"/proc/{self.process.pid}/stat").read_text("ascii").rpartition(")")[2].split()
        except OSError:
            return 0.0
        return sum(int(t) for t in parts[11:15]) / _TICKS

    @property
    def alive(self) -> bool:
        return self.process.poll() is None

    def end(self) -> None:
        self.process.kill()
        self.process.wait()
        self.log.close()
        shutil.rmtree(self.home, ignore_errors=True)


def run(
    corpus: Path, seed: int, numbers: Iterable[int], address: str, *, workers: int = 2, until: float | None = None,
    told: Callable[[dict[str, Any]], None] = lambda result: None,
) -> list[dict[str, Any]]:  # fmt: skip
    """All cases, or those for which there is time before `until` (of time.monotonic)."""
    todo: queue.SimpleQueue[int] = queue.SimpleQueue()
    for number in numbers:
        todo.put(number)
    results: list[dict[str, Any]] = []

    def work() -> None:
        worker: Worker | None = None
        try:
            while until is None or time.monotonic() < until:
                try:
                    number = todo.get_nowait()
                except queue.Empty:
                    return
                if worker is None or not worker.alive:
                    worker = Worker(corpus, seed, address)
                result = worker.answer(number)
                results.append(result)
                told(result)
        finally:
            if worker is not None and worker.alive:
                worker.end()

    threads = [threading.Thread(target=work) for _ in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results
