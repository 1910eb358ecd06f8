"""Synthetic worlds for the calibration: what is true is drawn first, then told with the errors that the mission states.

Nothing here calls the code that is tested: shares come from cells with margins of their own, slopes from gradients,
times from beta distributions part by part. `python -m tests.planning.worlds 2000` runs many more than the test does.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import betaincinv, ndtr, ndtri

from siteplanner.planning.choose.how_sure import how_sure
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.site.timeline import time_on_air
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.evaluation import Access, Coverage, Evaluation, Ground, PointService
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.spots.mounting_error import MountingDoubt
from siteplanner.planning.study.spot import Spot
from siteplanner.roads.near_limit import NearLimit

SPOTS, CELLS = 14, 300
PLACE_DB, MODEL_DB, SEASON_DB, HANDSET_DB = 5.0, 6.2, 2.0, 2.1
LIMIT_DEG, LIMIT_PCT = 5.0, 15.0
FULL_DEG, LEAST_DEG, ZERO_MIN = 15.0, 2.0, 60.0


@dataclass(frozen=True, eq=False)
class World:
    """What is told of each spot, and what is true of it."""

    told: list
    share: np.ndarray  # of the area, truly served
    likely: np.ndarray  # the same over every error that all spots share: what was told but for the spot's own error
    minutes: np.ndarray  # to first service
    score: np.ndarray  # by what is true; minus infinity where a limit is broken


def _leeway(share):
    return np.exp(-(ndtri(np.clip(share, 1e-6, 1 - 1e-6)) ** 2) / 2)


def world(mission, seed):
    """One world: the same seed gives the same one."""
    rng = np.random.default_rng(seed)
    wrong_db = rng.normal(0, math.hypot(MODEL_DB, SEASON_DB, HANDSET_DB))  # everywhere alike
    slow = rng.normal()  # the hour and the crew
    names = ("coverage", "must_serve", "backhaul", "ground", "access")
    weight = np.array([getattr(mission.weights, n) for n in names]) * rng.uniform(0.8, 1.2, 5)
    roads = [(rng.uniform(12, 14.9), rng.uniform(0.8, 1.5)) for _ in range(3)]  # told grade and its error
    steep = [told + rng.normal(0, error) > LIMIT_PCT for told, error in roads]
    told, share, likely, minutes, score = [], [], [], [], []
    for k in range(SPOTS):
        margins = rng.normal(rng.normal(2.0, 3.0), 9.0, CELLS)
        expected = ndtr(margins / math.hypot(PLACE_DB, MODEL_DB)).mean()
        own = rng.normal(0, 0.05 * _leeway(expected))
        low, high = (ndtr((margins + e) / PLACE_DB).mean() for e in (-MODEL_DB, MODEL_DB))
        served = ndtr((margins + wrong_db) / PLACE_DB).mean()
        ground = by_ground(rng, 0.03, 0.02)
        own -= ground.bias + rng.normal(0, ground.spread)  # told of another ground than the true one
        mounting = mounted(rng, 0.01, 0.015)
        own -= mounting.bias + rng.normal(0, mounting.spread)
        said = np.clip([expected + own, low + own, high + own], 0.001, 0.999)

        points = rng.normal(0.0, 8.0, 4)
        chance = ndtr(points / math.hypot(PLACE_DB, MODEL_DB))
        reached = ndtr((points + wrong_db) / PLACE_DB).mean()
        by = rng.normal(0, 0.10 * _leeway(chance).mean())
        points_ground = by_ground(rng, 0.03, 0.03)
        by -= points_ground.bias + rng.normal(0, points_ground.spread)
        points_mounting = mounted(rng, 0.01, 0.03)
        by -= points_mounting.bias + rng.normal(0, points_mounting.spread)

        margin = rng.normal(11.0, 4.0)
        seen = margin + rng.normal(0, 1.0)
        while seen < LEAST_DEG:  # only what passes is judged
            margin = rng.normal(11.0, 4.0)
            seen = margin + rng.normal(0, 1.0)

        doubt = rng.uniform(0.3, 1.6)
        while True:  # any gradient is as likely as any other
            true = rng.uniform(-0.3, 0.3, 2)
            shown = np.hypot(*(true + rng.normal(0, math.tan(math.radians(doubt)), 2)))
            if shown <= math.tan(math.radians(LIMIT_DEG)):
                break
        slope, slope_told = (math.degrees(math.atan(g)) for g in (np.hypot(*true), shown))

        usual = rng.uniform(8, 45)
        drive_told = usual * (1 + rng.normal(0, 0.15))
        low_min, high_min = 0.85 * drive_told, 1.4 * drive_told
        sd = beta_sd(low_min, drive_told, high_min)
        drive = usual + math.sqrt(0.5) * sd * slow

        road = int(rng.integers(-1, 3))
        way = () if road < 0 else (NearLimit(road, f"road {road}", *roads[road], LIMIT_PCT, False),)
        air = time_on_air(mission, 60 * drive_told, 60.0)
        minutes.append(sum(_part(p, slow, rng.normal()) for p in air.parts))

        spot = Spot(f"s{k}", float(k), 0.0, 45.0, -113.0, "", 1500.0)
        must = tuple(
            PointService(f"p{n}", 45, -113, float(np.clip(c + by, 0, 1)), float(m), 1.0, 0.0)
            for n, (c, m) in enumerate(zip(chance, points, strict=True))
        )
        told.append(
            Evaluation(
                spot,
                Ground(slope_told, 0.0, 0.0, slope_told, {}, 0.0, 10.0, slope_uncertainty_deg=doubt),
                (Look("s", -103.0, 200.0, 190.0, 35.0, 5.0, 35.0 - seen, seen, math.inf, "clear"),),
                Coverage(
                    said[0],
                    1.0,
                    12.0,
                    (),
                    must,
                    (),
                    share_low=said[1],
                    share_high=said[2],
                    elevation=ground,
                    points_elevation=points_ground,
                    mounting=mounting,
                    points_mounting=points_mounting,
                ),
                Access(60 * drive_told, None, None, None, 60 * low_min, 60 * high_min, near_limit=way),
                air,
            )
        )
        share.append(served)
        likely.append(expected)
        worth = np.array(
            [
                served,
                reached,
                np.clip((margin - LEAST_DEG) / (FULL_DEG - LEAST_DEG), 0, 1),
                max(1 - slope / LIMIT_DEG, 0),
                np.clip(1 - drive / ZERO_MIN, 0, 1),
            ]
        )
        lost = margin < LEAST_DEG or slope > LIMIT_DEG or (road >= 0 and steep[road])
        score.append(-math.inf if lost else float(worth @ weight / weight.sum()))
    return World(told, np.array(share), np.array(likely), np.array(minutes), np.array(score))


def by_ground(rng, most_bias, most_spread):
    """What the elevation's error is said to do to a figure: a known bias and a known spread."""
    bias, spread = rng.uniform(-most_bias, most_bias), rng.uniform(0.1, 1.0) * most_spread
    return ElevationDoubt(bias, spread, math.nan, math.nan)


def mounted(rng, most_bias, most_spread):
    """What sectors aimed a little off are said to do to a figure: it mostly falls."""
    return MountingDoubt(-rng.uniform(0, most_bias), rng.uniform(0.1, 1.0) * most_spread)


def _shapes(low, likely, high):
    return 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)


def beta_sd(low, likely, high):
    """Standard deviation of a part: beta between its ends, a b / (a + b)^2 / (a + b + 1) with a + b = 6."""
    a, b = _shapes(low, likely, high)
    return (high - low) * math.sqrt(a * b / 36 / 7)


def _part(part, slow, own):
    """Minutes that a part truly takes: parts go together by a half."""
    low, likely, high = part.low_min, part.likely_min, part.high_min
    if not high > low:
        return low
    luck = ndtr(math.sqrt(0.5) * slow + math.sqrt(0.5) * own)
    return low + (high - low) * float(betaincinv(*_shapes(low, likely, high), luck))


@dataclass(frozen=True, eq=False)
class Outcome:
    """One row a spot and world: what was said, and what came true."""

    best_chance: np.ndarray
    best: np.ndarray
    lost_chance: np.ndarray
    lost: np.ndarray
    share_held: np.ndarray
    minutes_held: np.ndarray
    told_too_high: np.ndarray  # one a world: points of share, as said and as true
    was_too_high: np.ndarray


def run(mission, worlds, draws=2000, seed=0):
    """Judge many worlds."""
    rows, high = [], []
    for number in range(worlds):
        made = world(mission, seed + number)
        ranked = rank([replace(e) for e in made.told], mission)
        sure = how_sure(ranked, mission, draws)
        top = made.score.max()
        for r in ranked:
            k, c = int(r.spot.x), sure.certainty[r.spot.key]
            share = next(f for f in c.figures if f.name == "coverage")
            rows.append(
                (
                    c.best_chance,
                    made.score[k] == top and np.isfinite(top),
                    c.lost_chance,
                    np.isneginf(made.score[k]),
                    share.low <= 100 * made.share[k] <= share.high,
                    c.on_air.low <= made.minutes[k] <= c.on_air.high,
                )
            )
        first = ranked[0]
        high.append(
            (sure.firmness.share_too_high, 100 * (first.evaluation.coverage.share - made.likely[int(first.spot.x)]))
        )
    return Outcome(*(np.array(column, float) for column in zip(*rows, strict=True)), *np.array(high).T)


if __name__ == "__main__":
    from tests.planning.test_calibration import MISSION, bins

    out = run(MISSION, int(sys.argv[1]))
    print(f"share {out.share_held.mean():.3f} minutes {out.minutes_held.mean():.3f}")
    print(f"lost {out.lost_chance.mean():.3f} {out.lost.mean():.3f}")
    print(f"too high, said {out.told_too_high.mean():.2f} was {out.was_too_high.mean():.2f}")
    for said, true, count in bins(out.best_chance, out.best):
        print(f"best: said {said:.3f} true {true:.3f} of {count}")
    for said, true, count in bins(out.lost_chance, out.lost):
        print(f"lost: said {said:.3f} true {true:.3f} of {count}")
