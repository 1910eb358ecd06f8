"""Which of very many places are worth a full answer: what a tile keeps of all its places in a few arrays, and a bound.

A place's share is bounded by its service with an antenna that sends as much to every side, on cells ten times as wide
as the lattice's; its drive is looked up for all places at once. Only where more places are in reach than are answered
in full does this choose among them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from siteplanner.core.handset_place import spread_db
from siteplanner.core.link import allowed_loss_db, service_probability
from siteplanner.data.margins import read_margins
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.mission.links import link_parameters
from siteplanner.planning.atlas.folder import MARGINS, put
from siteplanner.planning.atlas.lattice import Lattice
from siteplanner.planning.atlas.place import KnownPlace, place_of
from siteplanner.planning.atlas.served import Asked
from siteplanner.planning.choose.scoring import measure, stands_back
from siteplanner.roads.routing import DriveTree

SCREEN = "screen.npz"
WIDE = 10  # lattice cells
UNKNOWN, MOST_DB = -128, 120
IN_FULL = 150  # places answered in full. Common practice: fifteen times as many as are listed
OF_THE_GROUND = ("ground", "backhaul")  # criteria that no incident changes
BACK = 1000.0  # points that put a place behind all others


@dataclass(frozen=True, eq=False)
class Screen:
    """A row a place, in the order of the tile's facts. `margins`: whole dB, (places, stops, n, n) from `origin` on."""

    xy: np.ndarray
    road_xy: np.ndarray
    leg_m: np.ndarray
    ground: np.ndarray  # (places, criteria) utilities of OF_THE_GROUND
    back: np.ndarray
    origin: np.ndarray  # number of the first wide cell
    margins: np.ndarray


def write_screen(folder: Path, records: Sequence[Mapping[str, Any]], mission: Mission, lattice: Lattice) -> None:
    """Make the arrays of a tile from its places and their rasters. Raises OSError."""
    places = [place_of(record) for record in records]
    reach = mission.radio.max_radius_m / lattice.size_m / WIDE
    n, stops = 2 * math.ceil(reach) + 1, len(mission.trailer.mast_stops_m)
    margins = np.full((len(places), stops, n, n), UNKNOWN, np.int8)
    origin = np.zeros((len(places), 2), np.int64)
    for k, place in enumerate(places):
        origin[k] = [round(number / lattice.step / WIDE) - n // 2 for number in place.cell]
        rows, cols = (range(int(first) * WIDE, (int(first) + n - 1) * WIDE + 1) for first in origin[k])
        held = read_margins(folder / MARGINS / f"{place.name}.tif", rows, cols, lattice.size_m, lattice.crs)
        wide = held[:, ::WIDE, ::WIDE]
        margins[k] = np.where(np.isnan(wide), UNKNOWN, np.clip(np.round(wide), -MOST_DB, MOST_DB)).astype(np.int8)
    x, y = lattice.cells.xy(*np.array([p.way[0] for p in places], int).reshape(-1, 2).T)
    arrays = {
        "xy": np.array([p.evaluation.spot.key for p in places], float).reshape(-1, 2),
        "road_xy": np.column_stack([x, y]).astype(float),
        "leg_m": np.array([_leg_m(p, lattice) for p in places], float),
        "ground": np.array([_utilities(p, mission) for p in places], float).reshape(-1, len(OF_THE_GROUND)),
        "back": np.array([stands_back(p.evaluation) for p in places], bool),
        "origin": origin,
        "margins": margins,
    }

    def write(staged: Path) -> None:
        with staged.open("wb") as target:
            np.savez(target, **arrays)  # type: ignore[arg-type]

    put(folder / SCREEN, write)


def _leg_m(place: KnownPlace, lattice: Lattice) -> float:
    steps = np.diff(np.array(place.way), axis=0)
    return float(np.hypot(*steps.T).sum() * lattice.cell_m) if len(steps) else 0.0


def _utilities(place: KnownPlace, mission: Mission) -> list[float]:
    found = measure(place.evaluation, mission)
    return [found[name].utility if name in found else 0.0 for name in OF_THE_GROUND]


def read_screen(folder: Path) -> Screen:
    """The arrays of a tile. Raises InputError."""
    try:
        with np.load(folder / SCREEN, allow_pickle=False) as held:
            return Screen(**{name: held[name] for name in Screen.__dataclass_fields__})
    except (OSError, ValueError, KeyError) as error:
        raise InputError(
            f"This file of the atlas cannot be read ({type(error).__name__}).",
            remedy="Delete its folder and run `siteplanner atlas build` again.",
            file=folder / SCREEN,
        ) from error


def bounds(screen: Screen, asked: Asked, trees: Sequence[DriveTree]) -> np.ndarray:
    """Points that each place may have at most, by the mission's weights, (places,); -inf where no road leads to it."""
    mission = asked.mission
    weights, zero_s = mission.weights, 60.0 * mission.scales.drive_zero_min
    drive = drives_s(screen, trees, mission.rig.last_leg_speed_kmh)
    rows, cols, share = _wide_cells(asked)
    served = _served(screen, asked, rows, cols) @ share
    points = weights.coverage * served + weights.access * np.clip(1 - drive / zero_s, 0, 1)
    for k, name in enumerate(OF_THE_GROUND):
        points = points + getattr(weights, name) * screen.ground[:, k]
    if asked.points:
        at = [asked.heights.cell(p.x, p.y) or (0, 0) for p in asked.points]
        rows, cols = (
            np.round((np.array([cell[k] for cell in at]) + first) / WIDE).astype(int)
            for k, first in enumerate((asked.rows.start, asked.cols.start))
        )
        points = points + weights.must_serve * _served(screen, asked, rows, cols).mean(axis=1)
    points = np.where(screen.back, points - BACK, points)
    return np.where(np.isfinite(drive), points, -np.inf)


def _wide_cells(asked: Asked) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Wide cells nearest to the area's cells, and the weight of each."""
    lattice = np.column_stack([asked.area.rows + asked.rows.start, asked.area.cols + asked.cols.start])
    wide, which = np.unique(np.round(lattice / WIDE).astype(int), axis=0, return_inverse=True)
    return wide[:, 0], wide[:, 1], np.bincount(which.ravel(), asked.area.weight)


def _served(screen: Screen, asked: Asked, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Chance of service from the best stop, (places, cells), 0 where nothing is known."""
    radio = asked.mission.radio
    own = min(allowed_loss_db(link_parameters(radio))) - min(allowed_loss_db(link_parameters(asked.kept)))
    n = screen.margins.shape[2]
    r, c = rows[None] - screen.origin[:, :1], cols[None] - screen.origin[:, 1:]
    inside = (r >= 0) & (r < n) & (c >= 0) & (c < n)
    place = np.arange(len(r))[:, None]
    held = screen.margins[place, :, np.clip(r, 0, n - 1), np.clip(c, 0, n - 1)].max(axis=2)
    sigma = spread_db(radio.sigma_db, link_parameters(radio).entry)
    return np.where(inside & (held != UNKNOWN), service_probability(held + own, sigma), 0.0)


def drives_s(screen: Screen, trees: Sequence[DriveTree], leg_speed_kmh: float) -> np.ndarray:
    """Seconds of the quickest drive to each place with its last leg; infinite where there is none."""
    points = np.asarray(shapely.points(screen.road_xy), object)
    best = np.full(len(points), np.inf)
    for tree in trees:
        if not len(tree.stops) or not len(points):
            continue
        own, near = tree.stops_tree.query_nearest(points, all_matches=False)
        segment = tree.stops[near]
        along = np.asarray(shapely.line_locate_point(tree.network.geometry.line[segment], points[own]))
        best[own] = np.fmin(best[own], tree.arrival_s(segment, along) + tree.gap_m / (leg_speed_kmh / 3.6))
    return best + screen.leg_m / (leg_speed_kmh / 3.6)
