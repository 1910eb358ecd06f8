"""An incident answered from an atlas: places ranked at once, then the listed ones judged exactly by the plan itself."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import shapely

from siteplanner.data.grid import WGS84
from siteplanner.errors import InputError
from siteplanner.mission import Mission, Weights, mission_from_dict
from siteplanner.planning.atlas.folder import MARGINS, ROADS, finished, read_value, tile_folder
from siteplanner.planning.atlas.ground import Shared, drives_over
from siteplanner.planning.atlas.lattice import Lattice, Tile
from siteplanner.planning.atlas.layers import others_than
from siteplanner.planning.atlas.place import KnownPlace, access_to
from siteplanner.planning.atlas.points import PathGround, path_ground
from siteplanner.planning.atlas.screen import IN_FULL, bounds, read_screen
from siteplanner.planning.atlas.served import Asked, NamedPoint, cut, served_from, thinning, window_of
from siteplanner.planning.atlas.table import places_at
from siteplanner.planning.atlas.today import Today, closed_today, read_today
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.set_choice import ChosenSet, chosen_sets
from siteplanner.planning.choose.units import Group
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import name_spots, plan
from siteplanner.planning.site.timeline import time_on_air
from siteplanner.planning.spots.evaluation import Access, Evaluation
from siteplanner.planning.spots.places import near_places
from siteplanner.planning.study.area import area_cells
from siteplanner.planning.study.load import Place, read_area
from siteplanner.planning.study.must_serve import point_names
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.study.reuse import Kept
from siteplanner.planning.study.staging import with_staging
from siteplanner.roads.routing import DriveTree

SAME_TABLES = ("trailer", "rig", "sky", "backhaul", "power_lines", "site")
"""Tables that places were judged by: the mission of the day must say the same."""
SAME_RADIO = ("frequency_mhz", "handset_height_m")
COARSE_POINTS = (
    0.5  # of a score, between an answer and the plan; at most 0.21 on the samples (tests/benchmarks/atlas.py)
)
JUDGED_EXACTLY = 2  # times the spots that are listed


@dataclass(frozen=True, eq=False)
class Atlas:
    """A finished atlas, its roads and heights read."""

    folder: Path
    head: Mapping[str, Any]
    mission: Mission  # of the region
    shared: Shared

    @property
    def lattice(self) -> Lattice:
        """Its cells."""
        return self.shared.lattice


@dataclass(frozen=True, eq=False)
class Quick:
    """The answer from the atlas alone. `ranked`: every place in reach that passes, best first; `sets` by size.
    `no_way`: places that no road leads to today; `shut`: that stand in what is shut today. `outside`: share of the
    search ground that lies outside the region, where the atlas knows no place. `others`: layers of the mission that
    hold something else than the atlas was built from."""

    mission: Mission
    ranked: tuple[RankedSpot, ...]
    sets: Mapping[int, ChosenSet]
    in_reach: int
    no_way: int
    shut: int
    outside: float
    seconds: float
    fixed: Fixed
    others: tuple[str, ...] = ()

    def weighed(self, weights: Weights, at_once: bool = False) -> Quick:
        """The same places by other weights; their names stay. `at_once`: without the sets, which take longer than a
        finger on a slider."""
        called = {r.spot.key: r.spot.name for r in self.ranked}
        ranked = name_spots(self.fixed.ranked(self.fixed.judged, weights), called=called)
        mission = self.mission.model_copy(update={"weights": weights})
        return replace(self, mission=mission, ranked=ranked, sets={} if at_once else _sets(ranked, mission, self.fixed))

    @property
    def listed(self) -> tuple[RankedSpot, ...]:
        """The best, as many as the mission lists."""
        return self.ranked[: self.mission.search.listed_spots]

    @property
    def level(self) -> tuple[tuple[RankedSpot, ...], ...]:
        """Listed places, by rank, that the coarser cells do not tell apart: each group within `COARSE_POINTS`."""
        groups: list[list[RankedSpot]] = []
        for one in self.listed:
            if groups and abs(groups[-1][0].score - one.score) < COARSE_POINTS:
                groups[-1].append(one)
            else:
                groups.append([one])
        return tuple(tuple(group) for group in groups if len(group) > 1)

    @property
    def to_be_judged(self) -> tuple[RankedSpot, ...]:
        """Those that the exact pass judges: the best, and those of the sets."""
        best = self.ranked[: JUDGED_EXACTLY * self.mission.search.listed_spots]
        every = (*best, *(r for one in self.sets.values() for r in one.spots))
        return tuple({r.spot.key: r for r in every}.values())


def open_atlas(folder: Path) -> Atlas:
    """An atlas that is finished. Raises InputError."""
    head = finished(Path(folder))
    shared = read_value(Path(folder) / ROADS)
    if not isinstance(shared, Shared):
        raise InputError("The roads of the atlas are none.", remedy="Build the atlas again.", file=folder)
    return Atlas(Path(folder), head, mission_from_dict(dict(head["mission"]), base=folder, file=str(folder)), shared)


def check_same(atlas: Atlas, mission: Mission) -> None:
    """Raises InputError where the mission is of another trailer, radio or dish than the atlas."""
    for name in SAME_TABLES:
        kept, own = getattr(atlas.mission, name), getattr(mission, name)
        for field in type(kept).model_fields:
            if getattr(kept, field) != getattr(own, field):
                raise _other(f"{name}.{field}", getattr(kept, field), getattr(own, field))
    for field in SAME_RADIO:
        if getattr(atlas.mission.radio, field) != getattr(mission.radio, field):
            raise _other(f"radio.{field}", getattr(atlas.mission.radio, field), getattr(mission.radio, field))
    if mission.radio.max_radius_m > atlas.mission.radio.max_radius_m:
        raise _other("radio.max_radius_m", atlas.mission.radio.max_radius_m, mission.radio.max_radius_m)


def _other(field: str, kept: Any, own: Any) -> InputError:
    return InputError(
        f"The atlas was built for another value ({str(kept)[:120]}, not {str(own)[:120]}).",
        remedy="Give the mission the atlas's value, build an atlas for this one, or plan without an atlas.",
        field=field,
    )


def quick_answer(atlas: Atlas, mission: Mission, progress: Progress = lambda stage, share: None) -> Quick:
    """Places, sets and figures for a mission's area, from the atlas alone; no layer of the ground is opened.

    Raises InputError for an area outside the region, and for a mission of another trailer, radio or dish.
    """
    start = time.monotonic()
    progress("Reading the atlas", 0.0)
    mission = with_staging(mission).value
    check_same(atlas, mission)
    place = read_area(mission.model_copy(update={"crs": atlas.lattice.crs.to_wkt()})).value
    outline = shapely.from_wkb(atlas.head["outline"])
    if not outline.intersects(place.whole_area):
        raise InputError(
            "The incident area lies outside the region of this atlas.",
            remedy="Plan it without an atlas, or build one for its region.",
            field="layers.incident_area",
        )
    today = read_today(mission, place)
    asked = asked_of(atlas, mission, place, today)
    network = closed_today(atlas.shared.network, today)
    drives = drives_over(network, place)
    found = _in_reach(atlas, place, today, asked, drives.trees)
    passing = found.places
    starts, rig = tuple(s.name for s in mission.starts), mission.rig
    ways = [
        access_to(known, atlas.lattice, network, drives.trees, starts, rig.last_leg_speed_kmh, rig.max_grade_pct)
        for _, known in passing
    ]
    reached = [(tile, known, way) for (tile, known), way in zip(passing, ways, strict=True) if way is not None]

    def judged(one: tuple[str, KnownPlace, Access]) -> Evaluation:
        tile, known, way = one
        served = served_from(asked, known, tile_folder(atlas.folder, tile) / MARGINS / f"{known.name}.tif")
        on_air = time_on_air(mission, way.drive_s, way.last_leg_s, way.route.waits)
        return replace(known.evaluation, coverage=served, access=way, on_air=on_air)

    evaluations: list[Evaluation] = []
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:  # reading and aiming leave the interpreter to each other
        for number, made in enumerate(pool.map(judged, reached)):
            progress("Ranking places", 0.2 + 0.7 * number / len(reached))
            evaluations.append(made)
    progress("Choosing places for several trailers", 0.9)
    evaluations.sort(key=lambda e: e.spot.key)
    spots = [e.spot for e in evaluations]
    fixed = Fixed(
        tuple(evaluations), tuple(near_places(spots, today.hazards, today.water)), mission, network, asked.area
    )
    ranked = name_spots(fixed.ranked(evaluations, mission.weights)) if evaluations else ()
    progress("Answered from the atlas", 1.0)
    return Quick(
        mission, ranked, _sets(ranked, mission, fixed), found.in_reach,
        found.no_way + len(passing) - len(evaluations), found.shut,
        float(shapely.difference(place.search, outline).area / place.search.area), time.monotonic() - start, fixed,
        others_than(atlas.head, mission),
    )  # fmt: skip


def asked_of(atlas: Atlas, mission: Mission, place: Place, today: Today) -> Asked:
    """What is to be served, on the atlas's lattice."""
    points = _points(today)
    x, y = [p.x for p in points], [p.y for p in points]
    west, south, east, north = place.whole_area.bounds
    box = min([west, *x]), min([south, *y]), max([east, *x]), max([north, *y])
    rows, cols = window_of(atlas.lattice, box)
    rows, cols = (range(r.start - 1, r.stop + 1) for r in (rows, cols))  # points lie between cells
    heights = cut(atlas.shared.heights, atlas.lattice, rows, cols)
    cells = area_cells(place.area, heights, thinning(place.whole_area.area, atlas.lattice))
    paths = _paths(atlas, place, points) if points else None
    return Asked(mission, atlas.mission.radio, atlas.lattice, rows, cols, heights, cells, points, paths)


def _paths(atlas: Atlas, place: Place, points: Sequence[NamedPoint]) -> PathGround:
    """The ground under every path from the search ground to a point."""
    west, south, east, north = place.search.bounds
    x, y = [p.x for p in points], [p.y for p in points]
    rows, cols = window_of(atlas.lattice, (min([west, *x]), min([south, *y]), max([east, *x]), max([north, *y])))
    rows, cols = (range(r.start - 1, r.stop + 1) for r in (rows, cols))
    return path_ground(atlas.mission, cut(atlas.shared.heights, atlas.lattice, rows, cols), rows, cols)


def _points(today: Today) -> tuple[NamedPoint, ...]:
    frame = today.must_serve
    if frame is None or not len(frame):
        return ()
    degrees = frame.to_crs(WGS84)
    return tuple(
        NamedPoint(name, at.x, at.y, there.y, there.x)
        for name, at, there in zip(point_names(frame), frame.geometry, degrees.geometry, strict=True)
    )


@dataclass(frozen=True)
class _Found:
    """Places to be answered in full, of so many in reach; `no_way`: that are known to have no road before that."""

    places: list[tuple[str, KnownPlace]]
    in_reach: int
    shut: int
    no_way: int


def _in_reach(atlas: Atlas, place: Place, today: Today, asked: Asked, trees: Sequence[DriveTree]) -> _Found:
    """The places on the mission's search ground, the most promising where they are very many."""
    cell = atlas.lattice.cell_m
    rows: list[tuple[float, str, int]] = []
    in_reach = shut = no_way = 0
    for name, held in atlas.head["boxes"].items():
        t = Tile(**held)
        box = shapely.box(t.left * cell, -t.bottom * cell, t.right * cell, -t.top * cell)
        if not place.search.intersects(box):
            continue
        screen = read_screen(tile_folder(atlas.folder, name))
        inside = shapely.contains_xy(place.search, screen.xy[:, 0], screen.xy[:, 1])
        closed = inside & today.shut(screen.xy)
        most = bounds(screen, asked, trees)
        ways = inside & ~closed & np.isfinite(most)
        in_reach, shut = in_reach + int(inside.sum()), shut + int(closed.sum())
        no_way += int((inside & ~closed & ~ways).sum())
        rows += [(-float(most[k]), name, k) for k in np.flatnonzero(ways).tolist()]
    wanted: dict[str, list[int]] = {}
    for _, name, k in sorted(rows)[:IN_FULL]:
        wanted.setdefault(name, []).append(k)
    places = [(name, p) for name, own in sorted(wanted.items()) for p in places_at(atlas.folder, name, sorted(own))]
    return _Found(places, in_reach, shut, no_way)


def _sets(ranked: Sequence[RankedSpot], mission: Mission, fixed: Fixed) -> Mapping[int, ChosenSet]:
    """The best places of several trailers with a channel each; of one shared channel the exact pass tells."""
    if not ranked or fixed.area is None or mission.radio.shared_channel or mission.units:
        return {}
    count = mission.search.sets
    group = Group(("",) * count, (0.0,) * count, mission, cast(Any, None), tuple(ranked), False)
    return chosen_sets(group, fixed.area, mission, mission.search.spacing_m, fixed)


def exact_plan(
    quick: Quick, mission: Mission, progress: Progress | None = None, previous: Plan | Kept | None = None
) -> Plan:
    """The plan of the mission, whose candidate spots are the best places of the quick answer and those of its sets,
    under the names that they have there.

    Every figure is worked out anew, by the plan's own functions from the mission's own layers.
    Raises InputError for a layer that is not at hand.
    """
    listed = quick.to_be_judged
    places = dict.fromkeys((r.spot.longitude, r.spot.latitude) for r in listed)
    return plan(mission, progress, previous, {r.spot.key: r.spot.name for r in listed}, list(places))
