"""What only the day of an incident knows: roads that are closed, dangers, ground to keep out of, points to serve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.mission import Mission
from siteplanner.planning.study.layers import as_table, read_files, read_tables
from siteplanner.planning.study.load import LAYERS_MARGIN_M, ROAD_MARGIN_M, Place
from siteplanner.roads.closures import Closure, read_closures, read_dangers
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import Reason
from siteplanner.roads.tables import Judged, times_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

OF_THE_DAY = ("keep_out", "hazards", "must_serve", "water")


@dataclass(frozen=True, eq=False)
class Today:
    """Layers of a mission that an atlas does not know, in its CRS; None where none is given."""

    keep_out: GeoDataFrame | None
    hazards: GeoDataFrame | None
    must_serve: GeoDataFrame | None
    water: GeoDataFrame | None
    closures: GeoDataFrame | None
    hazards_close_roads: bool

    def shut(self, xy: np.ndarray) -> np.ndarray:
        """Bool: places (x, y a row) that lie in a danger, or where the trailer must not stand."""
        out = np.zeros(len(xy), bool)
        for frame in (self.keep_out, self.hazards):
            if frame is not None and len(frame):
                out |= shapely.intersects_xy(shapely.union_all(np.asarray(frame.geometry.array)), xy[:, 0], xy[:, 1])
        return out


def read_today(mission: Mission, place: Place) -> Today:
    """Read them. Raises InputError for a file that cannot be used."""
    near = place.around(place.everything, ROAD_MARGIN_M)
    tables = read_tables(mission, OF_THE_DAY, place.crs, place.around(place.everything, LAYERS_MARGIN_M)).value
    closures = read_files(mission, "closures", place.crs, near, lenient=True)
    held = {role: tables.get(role) for role in OF_THE_DAY}
    return Today(
        **held,
        closures=as_table(closures) if closures else None,
        hazards_close_roads=mission.layers.hazards_close_roads,
    )


def closed_today(network: RoadNetwork, today: Today) -> RoadNetwork:
    """The roads with today's closures. What a closure touches is shut up to the next junctions: a plan cuts the road
    there, so that a place before the closure may be reached by the plan and not by this answer, never the other way.
    """
    shut: list[Closure] = []
    if today.closures is not None and len(today.closures):
        shut += read_closures(today.closures, _as_lines(network))[0]
    if today.hazards is not None and len(today.hazards):
        shut += read_dangers(today.hazards, today.hazards_close_roads)[0]
    if not shut:
        return network
    names: dict[int, dict[str, None]] = {}
    for closure in shut:
        for i in network.lines_tree.query(closure.shape, predicate="intersects").tolist():
            names.setdefault(i, {})[closure.name] = None
    reasons = network.judged.reasons.copy()
    for i, told in names.items():
        reasons[i] = (*reasons[i], *(Reason("closure", source="closure", what=name) for name in told))
    judged = Judged(reasons, network.judged.unknown)
    times = times_of(network.times.open_s, network.times.direction, judged.drivable)
    return replace(network, judged=judged, times=times, known_turns=None)


def _as_lines(network: RoadNetwork) -> GeoDataFrame:
    import geopandas as gpd

    highway = np.where(network.tags.for_vehicles, "road", "")
    return gpd.GeoDataFrame({"highway": highway}, geometry=list(network.geometry.line), crs=network.crs)
