"""What driving over legs takes and meets: seconds, heights, grades, what is not known. A leg is a segment with the
metres along it at entry and at exit; each begins where the last ended.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import UnknownAlong, UnknownKind
from siteplanner.roads.waits import NO_WAITS, Waits


def legs_s(network: RoadNetwork, legs: Sequence[tuple[int, float, float]]) -> float:
    """Seconds to drive legs (segment, metres along it at entry, at exit), with what their junctions take."""
    return rolling_s(network, legs) + legs_waits(network, legs).likely_s


def legs_waits(network: RoadNetwork, legs: Sequence[tuple[int, float, float]]) -> Waits:
    """What the junctions between the legs take, and the places on them where one waits."""
    arcs = np.array([2 * s + (b < a) for s, a, b in legs], np.int64)
    return NO_WAITS if network.junctions is None else network.junctions.along(arcs)


def rolling_s(network: RoadNetwork, legs: Sequence[tuple[int, float, float]]) -> float:
    """Seconds on the road alone."""
    segment = np.array([s for s, _, _ in legs], int)
    start, end = np.array([a for _, a, _ in legs]), np.array([b for _, _, b in legs])
    seconds = np.where(end >= start, network.times.forward_s[segment], network.times.backward_s[segment])
    driven = start != end
    length = network.geometry.length_m[segment]
    return float((seconds[driven] * np.abs(end - start)[driven] / length[driven]).sum())


def legs_profile(
    network: RoadNetwork, legs: Sequence[tuple[int, float, float]]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance, height and grade as driven; two samples where one segment ends and the next begins."""
    distance, height, grades = [], [], []
    run = 0.0
    for seg, start, end in legs:
        part = slice(network.profile.first[seg], network.profile.first[seg + 1])
        along, z, grade = (
            network.profile.along_m[part],
            network.profile.elevation_m[part],
            network.profile.grade_pct[part],
        )
        low, high = min(start, end), max(start, end)
        inner = along[(along > low + 1e-9) & (along < high - 1e-9)]
        at = np.concatenate([[low], inner, [high]])
        values, slopes = np.interp(at, along, z), np.interp(at, along, grade)
        if end < start:
            at, values, slopes = at[::-1], values[::-1], -slopes[::-1]
        distance.append(run + np.abs(at - start))
        height.append(values)
        grades.append(slopes)
        run += abs(end - start)
    return np.concatenate(distance), np.concatenate(height), np.concatenate(grades)


def legs_steepest(
    network: RoadNetwork, legs: Sequence[tuple[int, float, float]]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Steepest climb and descent in percent (both >= 0) on what is driven, each as (grade, its standard error); NaN
    when unknown all the way.
    """
    found, doubts = [], []
    for seg, start, end in legs:
        part = slice(network.profile.first[seg], network.profile.first[seg + 1])
        along, grade = network.profile.along_m[part], network.profile.grade_pct[part]
        # the samples on the way and the one on either side of it
        first = max(int(np.searchsorted(along, min(start, end), side="right")) - 1, 0)
        last = int(np.searchsorted(along, max(start, end), side="left")) + 1
        found.append(grade[first:last] if end >= start else -grade[first:last])
        doubts.append(network.profile.error_pct[part][first:last])
    grades, errors = np.concatenate(found), np.concatenate(doubts)
    known = np.isfinite(grades)
    grades, errors = grades[known], errors[known]
    if not len(grades):
        return (float("nan"), float("nan")), (float("nan"), float("nan"))
    up, down = int(grades.argmax()), int(grades.argmin())
    return (max(float(grades[up]), 0.0), float(errors[up])), (max(float(-grades[down]), 0.0), float(errors[down]))


def legs_unknown(network: RoadNetwork, legs: Sequence[tuple[int, float, float]]) -> tuple[UnknownAlong, ...]:
    """What is not known well enough first, then what is not told, in the order of the drive."""
    total = sum(abs(b - a) for _, a, b in legs)
    missing: dict[tuple[UnknownKind, bool], float] = {}
    for seg, a, b in legs:
        for unknown in network.judged.unknown[seg]:
            key = unknown.kind, unknown.near
            missing[key] = missing.get(key, 0.0) + abs(b - a)
    items = [UnknownAlong(kind, near, metres, total) for (kind, near), metres in missing.items()]
    return tuple(sorted(items, key=lambda item: not item.near))
