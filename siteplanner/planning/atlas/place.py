"""One place of an atlas: what it is judged to be without an incident, and how it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from siteplanner.core.link import margin_db
from siteplanner.data.grid import Grid
from siteplanner.errors import InputError
from siteplanner.mission.links import link_parameters
from siteplanner.planning.atlas.lattice import Lattice
from siteplanner.planning.atlas.values import packed, unpacked
from siteplanner.planning.limits.ground_way import GroundWay
from siteplanner.planning.spots.evaluate import AccessInputs, Judge, evaluate, find_access
from siteplanner.planning.spots.evaluation import Access, Evaluation
from siteplanner.planning.spots.service import area_loss_db
from siteplanner.planning.study.area import AreaCells
from siteplanner.planning.study.spot import Spot
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import DriveTree

NO_WAY = "no_way_in"  # the limit that today's roads decide, not those of the day of the building


@dataclass(frozen=True, eq=False)
class KnownPlace:
    """A place that passes. `way`: cells by number from the road to it; `known_stand`: whether a layer tells what stands
    there. The evaluation has no service, no way in and no times: those are of an incident."""

    evaluation: Evaluation
    way: tuple[tuple[int, int], ...]
    known_stand: bool

    @property
    def cell(self) -> tuple[int, int]:
        """The number of its cell."""
        assert self.evaluation.spot.cell is not None
        return self.evaluation.spot.cell

    @property
    def name(self) -> str:
        """What tells it from other places of the atlas, also as a file."""
        return "{}_{}".format(*self.cell)


@dataclass(frozen=True, eq=False)
class KnownWay(GroundWay):
    """The way over ground to one place, as it was found."""

    cells: tuple[tuple[int, int], ...] = field(default=())

    def path_cells(self, row: int, col: int) -> list[tuple[int, int]]:
        """Cells from the road to the place, whichever cell is asked for."""
        return list(self.cells)


def judged_place(judge: Judge, spot: Spot, lattice: Lattice) -> KnownPlace | None:
    """A spot of a tile as the atlas keeps it; None where it breaks a limit."""
    e = evaluate(judge, spot)
    if spot.cell is None or any(breach.code != NO_WAY for breach in e.failed) or e.access is None:
        return None
    grid = judge.study.elevation
    top, left = lattice.offset(grid)
    way = tuple((row + top, col + left) for row, col in judge.way.path_cells(*spot.cell))
    own = replace(spot, name="", cell=(spot.cell[0] + top, spot.cell[1] + left))
    bare = replace(e, spot=own, coverage=None, access=None, on_air=None, findings=(), failed=())
    known = judge.study.cover.known
    return KnownPlace(bare, way, bool(known is not None and known[spot.cell]))


def margins_of(judge: Judge, place: KnownPlace, lattice: Lattice) -> tuple[np.ndarray, Grid]:
    """(margin from each mast stop to the lattice's cells within the radius, dB toward an antenna that sends as much to
    every side; the cells). The pattern of a sector is put on when its bearing is known: so every bearing is kept."""
    grid, radio = judge.study.elevation, judge.study.mission.radio
    top, left = lattice.offset(grid)
    row, col = place.cell
    reach = radio.max_radius_m / lattice.cell_m
    rows, cols = lattice.within(
        max(row - reach, top),
        max(col - reach, left),
        min(row + reach, top + grid.shape[0] - 1),
        min(col + reach, left + grid.shape[1] - 1),
    )
    r, c = np.meshgrid(lattice.middle(np.array(rows)), lattice.middle(np.array(cols)), indexing="ij")
    near = np.hypot(r - row, c - col) <= reach
    cells = AreaCells(r[near] - top, c[near] - left, np.ones(int(near.sum())), lattice.step, lattice.size_m**2)
    inputs = replace(judge.service, area_cells=cells)
    stops = np.array(inputs.mast_stops_m)
    margins = np.full((len(stops), *near.shape), np.nan, np.float32)
    if near.any():
        loss = area_loss_db(inputs, (row - top, col - left), stops)
        margins[:, near] = margin_db(link_parameters(radio), loss)
    return margins, lattice.grid(rows, cols)


def record_of(place: KnownPlace) -> dict[str, Any]:
    """A place as plain data."""
    return {
        "evaluation": packed(place.evaluation, {}),
        "way": [list(cell) for cell in place.way],
        "known_stand": place.known_stand,
    }


def place_of(record: Mapping[str, Any]) -> KnownPlace:
    """The place again. Raises InputError for what is none."""
    try:
        made = KnownPlace(
            unpacked(record["evaluation"], {}),
            tuple((int(row), int(col)) for row, col in record["way"]),
            bool(record["known_stand"]),
        )
    except (LookupError, TypeError, ValueError) as error:
        raise InputError(
            f"A place of the atlas cannot be read ({type(error).__name__}).", remedy="Build the atlas again."
        ) from error
    if not isinstance(made.evaluation, Evaluation) or made.evaluation.spot.cell is None:
        raise InputError("A place of the atlas is no place.", remedy="Build the atlas again.")
    return made


def access_to(
    place: KnownPlace, lattice: Lattice, network: RoadNetwork, trees: tuple[DriveTree, ...], starts: tuple[str, ...],
    last_leg_speed_kmh: float, max_grade_pct: float,
) -> Access | None:  # fmt: skip
    """The way in over these roads and the ground that is known; None where none of them leads to its road any more."""
    none = np.empty((0, 0))
    way = KnownWay(none, none, none, cells=place.way)
    inputs = AccessInputs(lattice.cells, way, network, trees, starts, last_leg_speed_kmh, max_grade_pct)
    return find_access(inputs, place.evaluation.spot, place.cell)
