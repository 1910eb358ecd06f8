"""Scores: transparent utilities, weights, contributions that add up; and how firm the first place is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from siteplanner.mission import Mission, Weights
from siteplanner.planning.choose.ranked import Criterion, RankedSpot
from siteplanner.planning.spots.evaluation import Evaluation

CRITERIA: dict[str, tuple[str, str]] = {
    "coverage": ("Incident area served", "% of weighted area"),
    "must_serve": ("Must-serve points served", "% mean probability"),
    "sky": ("Sky margin of the clearest satellite", "deg"),
    "ground": ("Slope of the ground", "deg"),
    "access": ("Drive time with last leg", "min"),
}
BACKHAUL_LABELS: dict[str, tuple[str, str]] = {
    "geostationary": CRITERIA["sky"],
    "open_sky": ("Open sky for the terminal", "% of its cone"),
    "donor_link": ("Donor link above level and fade margin", "dB"),
}


def measure(evaluation: Evaluation, mission: Mission) -> dict[str, tuple[float, float]]:
    """Criterion -> (value as shown, utility 0..1). A criterion that does not apply is left out.

    Every utility is a straight line between a worst and a best value (common practice, no source):
    coverage and must-serve 0..100 %; sky by `backhaul_measure`; ground from the slope limit down to level; access
    from `scales.drive_zero_min` down to nothing.
    """
    out: dict[str, tuple[float, float]] = {}
    if evaluation.coverage is not None:
        out["coverage"] = (100 * evaluation.coverage.share, evaluation.coverage.share)
        points = evaluation.coverage.must_serve
        if points:
            mean = float(np.mean([p.probability for p in points]))
            out["must_serve"] = (100 * mean, mean)
    out["sky"] = backhaul_measure(evaluation, mission)
    slope = evaluation.ground.slope_deg
    out["ground"] = (slope, _line(slope, mission.trailer.max_slope_deg, 0.0))
    if evaluation.access is not None:
        minutes = evaluation.access.drive_time_s / 60
        out["access"] = (minutes, _line(minutes, mission.scales.drive_zero_min, 0.0))
    return {name: (float(value), utility) for name, (value, utility) in out.items()}


def backhaul_measure(evaluation: Evaluation, mission: Mission) -> tuple[float, float]:
    """(margin of the backhaul in use, utility 0..1), the criterion `sky`.

    A straight line within each kind: the dish's sky margin from `sky.min_margin_deg` to `scales.sky_full_margin_deg`;
    the clear share of the open-sky cone from `backhaul.open_sky.min_clear_share` to all of it (shown in %); a donor
    link's margin from 0 to `scales.link_full_margin_db`. With n backhauls wanted, the one at place p of the list earns
    (n - p + u) / n of the marks: a preferred one always earns more than the next, u decides between spots that use
    the same. With one wanted that is u itself. None works: 0.
    """
    wanted = mission.backhaul.wanted
    used = evaluation.backhaul
    floor, full = mission.sky.min_margin_deg, mission.scales.sky_full_margin_deg
    if used is None and wanted != ("geostationary",):
        return float("nan"), 0.0
    if used is None or used.kind == "geostationary":
        margins = [look.margin_deg for look in evaluation.sky if np.isfinite(look.margin_deg)]
        value = max(margins, default=float("-inf"))
        utility = _line(value, floor, max(full, floor + 1e-6))
    elif used.kind == "open_sky":
        value, least = 100 * used.margin, mission.backhaul.open_sky.min_clear_share
        utility = _line(used.margin, least, 1.0) if least < 1.0 else 1.0
    else:
        value, utility = used.margin, _line(used.margin, 0.0, mission.scales.link_full_margin_db)
    place = 1 if used is None else 1 + wanted.index(used.kind)
    return value, (len(wanted) - place + utility) / len(wanted)


def _line(value: float, worst: float, best: float) -> float:
    if not np.isfinite(value):
        return 0.0
    return float(np.clip((value - worst) / (best - worst), 0.0, 1.0))


def score(evaluation: Evaluation, mission: Mission, weights: Weights | None = None) -> tuple[Criterion, ...]:
    """The lines of one spot's score; 100 x their contributions' sum is the score.

    Weights are scaled to add up to 1 over the criteria that apply to the mission (must-serve points may be
    missing). A spot that misses a criterion which applies (no road route) gets utility 0 for it.
    """
    raw = (weights or mission.weights).model_dump()
    measured = measure(evaluation, mission)
    if not mission.layers.must_serve or (evaluation.coverage and not evaluation.coverage.must_serve):
        raw["must_serve"] = 0.0  # nothing to serve: the criterion does not apply to any spot
    total = sum(raw.values()) or 1.0
    lines = []
    for name, (label, unit) in CRITERIA.items():
        if raw[name] <= 0:
            continue
        value, utility = measured.get(name, (float("nan"), 0.0))
        if name == "sky" and evaluation.backhauls:
            label, unit = _backhaul_label(evaluation, mission)
        weight = raw[name] / total
        lines.append(Criterion(name, label, value, unit, utility, weight, 100 * weight * utility))
    return tuple(lines)


def _backhaul_label(evaluation: Evaluation, mission: Mission) -> tuple[str, str]:
    """What the criterion measures at this spot, with the place of its backhaul in the list of preference."""
    wanted, used = mission.backhaul.wanted, evaluation.backhaul
    if len(wanted) == 1:
        return BACKHAUL_LABELS[wanted[0]]
    if used is None:
        return "No backhaul works", ""
    label, unit = BACKHAUL_LABELS[used.kind]
    return f"{label} (choice {1 + wanted.index(used.kind)} of {len(wanted)})", unit


def rank(evaluations: Iterable[Evaluation], mission: Mission, weights: Weights | None = None) -> tuple[RankedSpot, ...]:
    """Passing spots, best score first. Ties: more coverage, then the shorter drive, then the name."""
    scored = [
        RankedSpot(0, e, lines, float(sum(c.contribution for c in lines)))
        for e in evaluations
        if not e.failed
        for lines in [score(e, mission, weights)]
    ]

    def key(r: RankedSpot) -> tuple:
        e = r.evaluation
        return (
            -round(r.score, 6),
            -(e.coverage.share if e.coverage else 0.0),
            e.access.drive_time_s if e.access else np.inf,
            (round(e.spot.y, 2), round(e.spot.x, 2)),
        )

    return tuple(replace(r, rank=number) for number, r in enumerate(sorted(scored, key=key), 1))


def firmness(spots: Sequence[RankedSpot], draws: int = 1000, spread: float = 0.5) -> dict[str, float | str]:
    """How often the first spot stays first when every weight is changed at random by up to +-`spread`.

    Uniform, independent, fixed seed (the same plan gives the same figure). Also the lead in points and the
    criterion on which the runner-up is most ahead: raising its weight is what would flip the order.
    """
    if len(spots) < 2:
        return {"first_stays_first": 1.0, "lead_points": float("nan"), "runner_up_better_on": ""}
    names = [c.name for c in spots[0].criteria]
    utility = np.array([[c.utility for c in r.criteria] for r in spots])
    weight = np.array([c.weight for c in spots[0].criteria])
    factors = np.random.default_rng(0).uniform(1 - spread, 1 + spread, (draws, len(names)))
    drawn = weight * factors
    totals = (drawn / drawn.sum(1, keepdims=True)) @ utility.T
    stays = float(np.mean(totals[:, 0] >= totals.max(1) - 1e-12))
    gain = weight * (utility[1] - utility[0])
    better = names[int(np.argmax(gain))] if gain.max() > 1e-9 else ""
    return {
        "first_stays_first": stays,
        "lead_points": spots[0].score - spots[1].score,
        "runner_up_better_on": better,
    }
