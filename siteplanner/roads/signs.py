"""What stands on the signs of a road: its number, the number of an exit, where it leads. Shown, never judged."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import cKDTree

from siteplanner.roads.cells import plain_name
from siteplanner.roads.noding import SNAP_M, Noded

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

EXIT = "junction:ref"  # column: number of an exit, on the ramp's line or on the point where it leaves
MOST_DESTINATIONS = 2  # of those on a sign; more is not read at speed


@dataclass(frozen=True, eq=False)
class Signs:
    """One entry for each segment, '' where the data tell nothing. `exit_at`: numbers of exits by node."""

    ref: np.ndarray
    exit_ref: np.ndarray
    destination: np.ndarray
    exit_at: dict[int, str] = field(default_factory=dict)

    def exit_number(self, node: int, onto: int) -> str:
        """The number of the exit by which one leaves at a node onto a segment."""
        return str(self.exit_ref[onto]) or self.exit_at.get(node, "")


def read_signs(roads: GeoDataFrame, points: np.ndarray, row: np.ndarray, noded: Noded) -> Signs:
    """Signs of the segments. `row`: the row of `roads` that each was cut from; `points`: rows of points."""
    named = {str(c).strip().lower(): c for c in roads.columns}

    def words(key: str) -> np.ndarray:
        out = np.full(len(roads), "", object)
        if key in named:
            out[:] = [plain_name(v) for v in roads[named[key]]]
        return out

    exits, lead, number = words(EXIT), words("destination"), words("destination:ref")
    signed = [_listed(a, b) for a, b in zip(lead, number, strict=True)]
    destination = np.full(len(roads), "", object)
    destination[:] = signed
    at = {}
    marks = points[exits[points] != ""]
    if len(marks):
        xy = shapely.get_coordinates(np.asarray(roads.geometry.array, object)[marks])
        gap, node = cKDTree(np.column_stack([noded.node_x, noded.node_y])).query(xy)
        near = zip(node.tolist(), exits[marks], (gap <= SNAP_M).tolist(), strict=True)
        at = {n: str(ref) for n, ref, there in near if there}
    refs = words("ref")
    return Signs(_spaced(refs)[row], exits[row], destination[row], at)


def _spaced(refs: np.ndarray) -> np.ndarray:
    out = np.full(len(refs), "", object)
    out[:] = [", ".join(part.strip() for part in ref.split(";") if part.strip()) for ref in refs]
    return out


def _listed(destination: str, number: str) -> str:
    """`US 22, Harrisburg, Carlisle`: as on the sign, the number first."""
    parts = [part.strip() for text in (number, destination) for part in text.split(";")]
    return ", ".join(list(dict.fromkeys(part for part in parts if part))[: MOST_DESTINATIONS + 1])
