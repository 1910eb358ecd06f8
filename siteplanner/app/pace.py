"""How long is left: from earlier runs of the same mission on this machine, or from the pace within the stage.

An estimate, never a promise; None where nothing is known yet.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from siteplanner.planning.study.progress import SHARES

LEAST_S, LEAST_PART = 2.0, 0.1  # a stage tells its pace after this long and this much of it. Common practice
MAX_HELD = 40


def seconds_left(
    stage: str, part: float, in_stage_s: float, done: Mapping[str, float], earlier: Mapping[str, float] | None
) -> float | None:
    """Seconds to the end of the run, or None: not known.

    `part` of `stage` is done after `in_stage_s`; `done` are the stages behind with their seconds; `earlier` the
    seconds of each stage in an earlier run of the same kind, None: there was none.
    """
    order = list(SHARES)
    if stage not in order:
        return None
    later = order[order.index(stage) + 1 :]
    weights = earlier or SHARES
    paced = part >= LEAST_PART and in_stage_s >= LEAST_S
    if paced:
        whole = in_stage_s / part
        ratio = whole / weights[stage] if weights.get(stage) else None
        if ratio is None:
            return None
        return whole - in_stage_s + ratio * sum(weights.get(name, 0.0) for name in later)
    if earlier is None:
        return None
    before = sum(earlier.get(name, 0.0) for name in done)
    ratio = sum(done.values()) / before if before >= LEAST_S else 1.0
    rest = max(earlier.get(stage, 0.0) * ratio - in_stage_s, 0.0)
    return rest + ratio * sum(earlier.get(name, 0.0) for name in later)


def earlier_run(file: Path, kind: str) -> dict[str, float] | None:
    """Seconds of each stage the last time a run of this kind went through on this machine; None: it never did."""
    held = _read(file).get(kind)
    if not isinstance(held, dict):
        return None
    return {str(k): float(v) for k, v in held.items() if isinstance(v, (int, float)) and v >= 0}


def remember(file: Path, kind: str, timings_s: Mapping[str, float]) -> None:
    """Keep one run's stage times; the newest kinds stay. A file that cannot be written is passed over."""
    held = {k: v for k, v in _read(file).items() if k != kind}
    held[kind] = {name: round(s, 2) for name, s in timings_s.items()}
    held = dict(list(held.items())[-MAX_HELD:])
    staged = file.with_suffix(".part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        staged.write_text(json.dumps(held), "utf-8")
        staged.replace(file)
    except OSError:
        return


def _read(file: Path) -> dict:
    try:
        held = json.loads(file.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return held if isinstance(held, dict) else {}
