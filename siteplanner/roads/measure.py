"""What is measured along the segments: heights, grades, bends, and the time a rig takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.grades import Profile, base_length_m, road_profile, sample_step_m
from siteplanner.roads.hazards import Bends, Steep, find_bends
from siteplanner.roads.noding import Noded
from siteplanner.roads.speeds import line_speed_kmh, point_speed_kmh
from siteplanner.roads.strokes import Samples, Strokes, bend_radius_m, find_strokes, sample_strokes
from siteplanner.roads.tables import Grades, Heights
from siteplanner.roads.tags import RoadTags


@dataclass(frozen=True, eq=False)
class Relief:
    """The ground under the roads. `error_m` is one standard deviation of a height, independent every `cell_m`."""

    elevation: Grid | None
    error_m: float = 0.0
    cell_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Measured:
    """One entry for each segment. `posted`: the grade is a sign's; `open_s`: seconds to drive it, shut or not."""

    grades: Grades
    heights: Heights
    steep: Steep
    bends: Bends
    posted: np.ndarray
    open_s: np.ndarray


def measure(noded: Noded, row: np.ndarray, tags: RoadTags, rig: Rig, speeds: Speeds, relief: Relief) -> Measured:
    """Measure all segments; `row` is the line (index in `tags`) that each was cut from. A sign beats the raster."""
    elevation = relief.elevation
    strokes = find_strokes(noded.piece, noded.start_node, noded.end_node)
    base_m = base_length_m(elevation.cell_size_m if elevation is not None else 0.0)
    samples = sample_strokes(strokes, sample_step_m(base_m))
    order, place = strokes.order, samples.place
    profile = _profile(relief, strokes, samples, (tags.bridge | tags.tunnel)[row], base_m)
    # rising along the segment as drawn
    forward = np.where(strokes.reverse[place], -profile.grade_pct, profile.grade_pct)
    posted_pct = tags.incline_pct[row]
    posted = np.isfinite(posted_pct)
    steepest = np.where(posted, posted_pct, samples.per_segment(forward, order, np.fmax))
    lowest = np.where(posted, posted_pct, samples.per_segment(forward, order, np.fmin))
    up, down = np.maximum(steepest, 0.0), np.maximum(-lowest, 0.0)
    worst = np.maximum(up, down)
    with np.errstate(invalid="ignore"):
        steepest_here = np.abs(forward) >= worst[order][place]
    error = samples.per_segment(np.where(steepest_here, profile.error_pct, np.nan), order, np.fmax)
    error = np.where(posted, 0.0, error)

    seg_of_sample = order[place]
    radius = bend_radius_m(strokes, place, samples.s, np.pi * rig.turning_radius_m / 2)
    calm = np.where(posted[seg_of_sample], posted_pct[seg_of_sample], profile.calm_grade_pct)
    v = point_speed_kmh(line_speed_kmh(tags, speeds)[row][seg_of_sample], calm, radius) / 3.6
    open_s = samples.per_segment(samples.weight_m / v, order, np.add)

    told = np.where(posted[seg_of_sample], posted_pct[seg_of_sample], forward)
    doubt = np.where(posted[seg_of_sample], 0.0, profile.error_pct)
    heights = _by_segment(strokes, samples, profile.elevation_m, told, doubt)
    with np.errstate(invalid="ignore"):
        steep_pct = np.where(up >= down, up, -down)
    return Measured(
        Grades(up, down, worst, error, base_m),
        heights,
        Steep(
            steep_pct,
            _where_steepest(heights, steep_pct, posted),
            # the grade and the limit lie closer than the grade is known
            ~posted & (np.abs(worst - rig.max_grade_pct) < error),
            error,
            base_m,
        ),
        find_bends(strokes, rig),
        posted,
        open_s,
    )


def _profile(relief: Relief, strokes: Strokes, samples: Samples, off_ground: np.ndarray, base_m: float) -> Profile:
    elevation = relief.elevation
    if elevation is None:
        nothing = np.full(len(samples.s), np.nan)
        return Profile(nothing, nothing, nothing, nothing)
    spacing_m = max(relief.cell_m, elevation.cell_size_m)
    return road_profile(elevation, strokes, samples, off_ground, base_m, relief.error_m, spacing_m)


def _by_segment(
    strokes: Strokes, samples: Samples, height: np.ndarray, grade: np.ndarray, error: np.ndarray
) -> Heights:
    """Samples from the order of the strokes into the order and direction of the segments."""
    order, reverse, place = strokes.order, strokes.reverse, samples.place
    count = np.empty(len(order), np.int64)
    count[order] = np.diff(samples.first)
    first = np.concatenate([[0], np.cumsum(count)])
    rank = np.arange(len(samples.s)) - samples.first[:-1][place]
    target = first[order][place] + np.where(reverse[place], count[order][place] - 1 - rank, rank)
    along, height_of, grade_of, error_of = (np.empty(len(samples.s)) for _ in range(4))
    along[target] = strokes.along_segment(place, samples.s)
    height_of[target], grade_of[target], error_of[target] = height, grade, error
    return Heights(first, along, height_of, grade_of, error_of)


def _where_steepest(heights: Heights, steep_pct: np.ndarray, posted: np.ndarray) -> np.ndarray:
    """Metres along each segment where its steepest grade lies (the middle for a posted one)."""
    first, along, grade = heights.first, heights.along_m, heights.grade_pct
    out = along[first[1:] - 1] / 2
    with np.errstate(invalid="ignore"):
        look = np.flatnonzero(~posted & (np.abs(steep_pct) > 5.0))
    for i in look.tolist():
        part = slice(first[i], first[i + 1])
        out[i] = along[part][np.nanargmin(np.abs(grade[part] - steep_pct[i]))]
    return out
