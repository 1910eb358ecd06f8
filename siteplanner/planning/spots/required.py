"""Points that a spot must serve: the limit, and what becomes of it where no spot keeps it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.study.study import Study

CODE = "required_point"


def required_breaks(study: Study, coverage: Coverage | None) -> list[Breach]:
    """The limit that every required point is served at `Radio.chance_needed` or better; one breach, all points.

    `figure` is the least chance, `names` the points that miss it, `about` the points themselves.
    """
    if coverage is None:
        return []
    chance = study.mission.radio.chance_needed
    points = zip(coverage.must_serve, study.required, strict=True)
    missed = [p for p, must in points if must and not p.probability >= chance]
    if not missed:
        return []
    least = min(p.probability for p in missed)
    return [Breach(CODE, "", least, chance, names=tuple(p.name for p in missed), about=tuple(missed))]


def cannot_be_kept(evaluations: Sequence[Evaluation]) -> bool:
    """Whether spots would pass but for this limit, and none passes: no spot serves every required point."""
    only = any(e.failed and all(b.code == CODE for b in e.failed) for e in evaluations)
    return only and all(e.failed for e in evaluations)


def without_limit(evaluations: Sequence[Evaluation]) -> list[Evaluation]:
    """The same spots judged by all other limits."""
    return [replace(e, failed=tuple(b for b in e.failed if b.code != CODE)) for e in evaluations]
