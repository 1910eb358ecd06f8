"""`python -m tests.hostile --cases 5000 --seed N`: spoilt input without end, each case through the command line.

Prints the seed first: the same seed gives the same cases. `--only NUMBER` runs one again and shows what it said.
Exit code 1 where a case found a fault.
"""

from __future__ import annotations

import argparse
import collections
import json
import secrets
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.hostile import corpus
from tests.hostile.listener import Listener
from tests.hostile.pool import run


def main() -> int:
    """Run, print each fault as it comes, and the counts at the end."""
    parser = argparse.ArgumentParser(prog="python -m tests.hostile", description=__doc__)
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", type=int, default=None, help="number of one case to run again")
    parser.add_argument("--corpus", type=Path, default=None, help="folder to build the corpus in, or that holds one")
    asked = parser.parse_args()
    seed = secrets.randbelow(2**31) if asked.seed is None else asked.seed
    print(f"seed {seed}", flush=True)
    faults = 0

    def told(result: dict[str, Any]) -> None:
        nonlocal faults
        if asked.only is not None:
            print(json.dumps(result, indent=1))
        elif result["faults"]:
            faults += 1
            print(f"case {result['number']} ({result['kind']}: {result['what']}): {result['faults']}", flush=True)

    with tempfile.TemporaryDirectory() as held:
        folder = asked.corpus or Path(held) / "corpus"
        if not (folder / "out").is_dir():
            corpus.prepared(folder)
        listener, start = Listener(), time.monotonic()
        numbers = range(asked.cases) if asked.only is None else [asked.only]
        results = run(folder, seed, numbers, listener.url, workers=asked.workers, told=told)
        listener.close()
    codes = collections.Counter(str(r["code"]) for r in results)
    kinds = collections.Counter(r["kind"] for r in results)
    spent = sum(r["seconds"] for r in results)
    print(f"{len(results)} cases in {time.monotonic() - start:.0f} s, {spent:.0f} s of processor")
    print(f"exit codes {dict(codes)}; kinds {dict(kinds)}")
    print(f"most memory {max((r['peak_mb'] for r in results), default=0)} MB, longest "
          f"{max((r['seconds'] for r in results), default=0):.1f} s of processor")  # fmt: skip
    print(f"faults {faults}; connections to the listener {len(listener.heard)}")
    return int(bool(faults or listener.heard))


if __name__ == "__main__":
    sys.exit(main())
