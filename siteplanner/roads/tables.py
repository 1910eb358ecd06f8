"""The tables of a road network: what is known of its segments, one entry for each segment in every array."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from siteplanner.roads.reasons import only_closed


@dataclass(frozen=True, eq=False)
class Geometry:
    """Nodes and lines, in metres. A segment runs from node `seg_from` to `seg_to`, the way its line was drawn."""

    node_x: np.ndarray
    node_y: np.ndarray
    seg_from: np.ndarray
    seg_to: np.ndarray
    line: np.ndarray  # LineStrings
    length_m: np.ndarray

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north of all lines."""
        west, south, east, north = shapely.total_bounds(self.line).tolist()
        return west, south, east, north


@dataclass(frozen=True, eq=False)
class SegmentTags:
    """What the road table says of each segment."""

    name: np.ndarray  # plain text from the file, '' unnamed
    highway: np.ndarray
    surface: np.ndarray
    unpaved: np.ndarray  # 1 yes, 0 no, -1 unknown
    for_vehicles: np.ndarray  # bool: a road, whether or not this rig may use it
    roundabout: np.ndarray
    no_stop: np.ndarray  # what keeps the rig from stopping, starting or leaving the road here, or ''; see `stopping`
    destination: np.ndarray  # bool: open to who has something to do there, not to pass through
    drawn: np.ndarray  # bool: a track that the user drew
    source_row: np.ndarray  # row number (from 0) in the table it came from


@dataclass(frozen=True, eq=False)
class Judged:
    """Whether the rig may use each segment. A one-way street is drivable: which way, `Times` tells."""

    reasons: np.ndarray  # tuples of Reason why not, () where it may
    unknown: np.ndarray  # tuples of Unknown

    @cached_property
    def drivable(self) -> np.ndarray:
        """Bool: nothing shuts it for the rig."""
        return np.array([not reasons for reasons in self.reasons], bool)

    @cached_property
    def closed(self) -> np.ndarray:
        """Bool: a closure lies on it, whatever else shuts it."""
        return np.array([any(r.kind == "closure" for r in reasons) for reasons in self.reasons], bool)

    @cached_property
    def only_closed(self) -> np.ndarray:
        """Bool: without its closures the rig could use it."""
        return np.array([only_closed(reasons) for reasons in self.reasons], bool)


@dataclass(frozen=True, eq=False)
class Grades:
    """Percent: `up_pct` the steepest climb and `down_pct` the steepest descent driving the way the line was drawn
    (both >= 0), `worst_pct` the larger; NaN unknown. Told over `base_m` metres.
    """

    up_pct: np.ndarray
    down_pct: np.ndarray
    worst_pct: np.ndarray
    error_pct: np.ndarray  # one standard error of the worst; 0 for a posted one
    base_m: float


@dataclass(frozen=True, eq=False)
class Heights:
    """Samples along the segments: those of segment i are `first[i]:first[i + 1]`."""

    first: np.ndarray  # one longer than the segments
    along_m: np.ndarray
    elevation_m: np.ndarray
    grade_pct: np.ndarray  # rising along the segment; a posted grade where there is one
    error_pct: np.ndarray  # one standard error of it; 0 for a posted one


@dataclass(frozen=True, eq=False)
class Times:
    """Seconds to drive whole segments, the way they were drawn and back; infinite where that way is forbidden.

    `open_s` is the time that a rig would take if nothing shut the segment, NaN on what is no road. `direction` is
    that of the traffic: both, forward, backward, or changes (by the hour: taken as both).
    """

    open_s: np.ndarray
    direction: np.ndarray
    forward_s: np.ndarray
    backward_s: np.ndarray


def times_of(open_s: np.ndarray, direction: np.ndarray, may_drive: np.ndarray) -> Times:
    """Times of segments that the rig may drive (bool), each in the direction of its traffic."""
    return Times(
        open_s,
        direction,
        np.where(may_drive & (direction != "backward"), open_s, np.inf),
        np.where(may_drive & (direction != "forward"), open_s, np.inf),
    )


def objects(values: list) -> np.ndarray:
    """An array of Python values, one entry for each, also where they are tuples."""
    out = np.empty(len(values), object)
    out[:] = values
    return out
