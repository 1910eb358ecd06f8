"""Whether the data's border is a box, and which dead ends may be roads that were cut there: where it follows a county
or a country, nothing but the roads themselves shows it.

A road that links towns seldom ends in nothing, and one that does so inside the box around the data was most likely cut
(OpenStreetMap wiki, Key:highway: classes down to tertiary link settlements). Of nine extracts cut along a box none has
such an end (Beatty, Baltimore, Harrisburg, Helsinki, Krems, Moscow, New York, north of Bayreuth, Rome); Liechtenstein
has seven, six of them at its border, Andorra twenty-one. On twelve irregular clips of four of them every road that the
clip cut ends within 3 % of the data's diagonal of their concave hull; 5 % are taken.
"""

from __future__ import annotations

import numpy as np
import shapely

THROUGH = ("motorway", "trunk", "primary", "secondary", "tertiary")
LEAST_ENDS, LEAST_SHARE = 2, 0.1  # ends inside that make a border irregular: one may be a ski lift, a few in a hundred
HULL_RATIO = 0.1  # of the concave hull (shapely: 0 the closest, 1 the convex one)
RIM_SHARE = 0.05  # of the diagonal. All common practice, measured as told above


def is_irregular(inside: np.ndarray, through: np.ndarray | None, rim: np.ndarray, at_box: int) -> bool:
    """Whether roads were cut elsewhere than along a box.

    For each dead end: `inside` of the box by more than a clip's slack, `through` on a road that links settlements
    (None: no classes are known; then dead ends at the `rim` are weighed against those at the box). `at_box`: how many
    roads leave at the box.
    """
    if through is None:
        count = int((inside & rim).sum())
        return count >= LEAST_ENDS and count > at_box
    count = int((inside & through).sum())
    return count >= LEAST_ENDS and count >= LEAST_SHARE * at_box


def at_rim(points: np.ndarray, all_points: np.ndarray) -> np.ndarray:
    """Bool: which of `points` (n, 2) lie near the rim of all of them, in metres."""
    if len(all_points) < 3:
        return np.ones(len(points), bool)
    hull = shapely.concave_hull(shapely.multipoints(all_points), ratio=HULL_RATIO)
    size = all_points.max(axis=0) - all_points.min(axis=0)
    rim = shapely.boundary(hull) if shapely.get_dimensions(hull) == 2 else hull
    near = shapely.distance(shapely.points(points), rim)
    return np.asarray(near <= RIM_SHARE * float(np.hypot(*size)), bool)
