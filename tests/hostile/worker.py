"""A process that runs cases one after the other through the command line, in itself, and tells what came of each.

Reads lines of JSON (`{"number": 3}`) and answers each with one. It writes down every socket that Python opens, what a
case takes of memory and processor, and what it leaves behind. Whoever started it ends it when a case takes too long.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import resource
import shutil
import sys
import tempfile
import time
import traceback
from functools import lru_cache
from pathlib import Path
from typing import Any

MEMORY = 3 << 30  # bytes above what the libraries themselves map
FAR = ("socket.connect", "socket.sendto", "socket.getaddrinfo", "socket.gethostbyname")
RAW = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
ALWAYS = ("mission.json", "field layers.", "field latitude, longitude")  # where two inputs do not fit, one is named
opened: list[str] = []


def seen(event: str, arguments: tuple[Any, ...]) -> None:
    """An audit hook: calls to other hosts, and to this one."""
    if event in FAR and not isinstance(arguments[-1], (str, bytes)):  # a path is a socket of this machine
        opened.append(f"{event} {arguments!r}"[:200])


def peak_kb() -> int:
    """Most memory in use since it was last reset."""
    found = re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text("ascii"))
    return int(found[1]) if found else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


@lru_cache(maxsize=1)
def _commands() -> Any:
    """The command line, put together once: the library does so anew at each call."""
    import typer

    from siteplanner import cli

    return typer.main.get_command(cli.app)


def ran(corpus: Path, seed: int, number: int, address: str) -> dict[str, Any]:
    """Run one case; `faults` is empty where all is as it should be."""
    from siteplanner import cli
    from tests.hostile.cases import case

    commands = _commands()

    folder = Path(tempfile.mkdtemp(prefix="case-"))
    try:
        made = case(corpus, folder, seed, number, address)
        before = {p.name for p in folder.iterdir()}
        with contextlib.suppress(OSError):
            Path("/proc/self/clear_refs").write_text("5", "ascii")  # the peak starts anew
        out, err, opened[:] = io.StringIO(), io.StringIO(), []
        faults, code, began = [], -1, time.process_time()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                code = cli.run(lambda: commands.main([*made.arguments, *made.ending], standalone_mode=False))
            except BaseException:
                faults.append("traceback: " + traceback.format_exc()[-1500:])
        seconds, said = time.process_time() - began, err.getvalue()
        if "Traceback" in said:
            faults.append(f"traceback: {said[-1500:]}")
        if code not in (0, 1, 2) and not faults:
            faults.append(f"exit code {code}")
        if code == 2:
            if "Remedy:" not in said and "Usage:" not in said and "Error" not in said:
                faults.append(f"no remedy: {said[-400:]}")
            if not any(name in said for name in (*made.names, *ALWAYS, str(corpus), str(folder))):
                faults.append(f"no file named: {said[-400:]}")
            if len(said.strip().splitlines()) > 12:
                faults.append(f"a refusal of {len(said.splitlines())} lines")
        if len(max(said.splitlines(), key=len, default="")) > 2000:
            faults.append(f"a message without end: {said[:300]}")
        if raw := RAW.search(said + out.getvalue()):
            faults.append(f"raw {raw[0]!r} on the terminal")
        if (peak := peak_kb()) > MEMORY >> 10:
            faults.append(f"{peak >> 10} MB")
        if seconds > 60:
            faults.append(f"{seconds:.0f} s of processor")
        if opened:
            faults.append(f"asks: {opened[:3]}")
        awaited = {"out"} if made.kind in ("plan", "papers") else set()
        if made.kind == "papers" and code == 0:
            awaited.add("log.jsonl")  # what a run has done is written down beside the plan that it followed
        left = {p.name for p in folder.iterdir()} - before - awaited
        if left:
            faults.append(f"leaves {sorted(left)[:5]}")
        return {"number": number, "kind": made.kind, "what": made.what, "code": code, "seconds": round(seconds, 2),
                "peak_mb": peak >> 10, "faults": faults, "said": said.strip()[-300:]}  # fmt: skip
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def main() -> None:
    """Answer until the lines end."""
    corpus, seed, address = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what libraries print belongs to no answer
    import siteplanner.cli
    import siteplanner.planning.plan.pipeline  # noqa: F401  all libraries are mapped before the limit is set

    mapped = re.search(r"VmSize:\s+(\d+)", Path("/proc/self/status").read_text("ascii"))
    resource.setrlimit(resource.RLIMIT_AS, ((int(mapped[1]) << 10 if mapped else 0) + MEMORY + (1 << 30),) * 2)
    sys.addaudithook(seen)
    for line in sys.stdin:
        answers.write(json.dumps(ran(corpus, seed, json.loads(line)["number"], address)) + "\n")
        answers.flush()


if __name__ == "__main__":
    main()
