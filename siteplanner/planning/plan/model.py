"""The plan: the one value that every output is made from.

Angles are degrees, bearings true and clockwise from north unless a name says `magnetic`; lengths metres;
x and y are metres in the plan's CRS.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Mission
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.options import Option
from siteplanner.planning.choose.points import PointAnswer
from siteplanner.planning.choose.ranked import Firmness, RankedSpot
from siteplanner.planning.choose.sets import TrailerSet
from siteplanner.planning.choose.units import Group
from siteplanner.planning.limits.ruling import RulingShare
from siteplanner.planning.plan.as_built import AsBuilt
from siteplanner.planning.plan.stands_now import StandsNow
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.area import AreaCells
from siteplanner.planning.study.reuse import Kept, Tally
from siteplanner.planning.study.slope import Slope

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from siteplanner.data.forecast import WindForecast
    from siteplanner.data.vectors import InputRecord
    from siteplanner.planning.site.rain import Rain
    from siteplanner.planning.site.sun_outage import SunOutages
    from siteplanner.roads.network import RoadNetwork


@dataclass(frozen=True, eq=False)
class Scene:
    """What the map draws around the spots; all in the plan's CRS."""

    elevation: Grid
    ruling: Grid  # uint16, one bit per limit (ruling.BITS); 0: passes; cells outside the search ground: OUTSIDE
    slope: Slope
    area: GeoDataFrame
    roads: RoadNetwork
    overlays: dict[str, GeoDataFrame] = field(default_factory=dict)  # layers by their names in the mission
    area_rows: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    area_cols: np.ndarray = field(default_factory=lambda: np.empty(0, int))
    area_step: int = 1  # every step-th row and column of the elevation stands for the area
    margin_of: Callable[..., Grid | None] | None = None  # works out `sky_margin`

    def sky_margin(self, most_deg: float | None = None) -> Grid | None:
        """Sky margin of the satellite that decides, degrees, NaN unknown or outside the search ground.

        See `spots.margin_raster.sky_margin`; the cells may be larger than the elevation's (own transform). Worked
        out when first asked for, seconds for a county; None where there is nothing to say. `most_deg`: wider margins
        are told as one of at least this, which takes a fraction of the time.
        """
        if most_deg not in self._margins:
            self._margins[most_deg] = None if self.margin_of is None else self.margin_of(most_deg=most_deg)
        return self._margins[most_deg]

    @cached_property
    def _margins(self) -> dict[float | None, Grid | None]:
        return {}


@dataclass(frozen=True)
class SearchSummary:
    """How the spots were found."""

    search_ground_km2: float
    feasible_km2: float
    cell_size_m: float
    spacing_asked_m: float
    spacing_used_m: float
    candidates: int
    passed: int
    user_spots: int
    judged: int
    no_backhaul: int
    area_cells: int
    required_missed: int = 0  # judged spots that only a required point rules out
    for_required: int = 0  # judged beside the candidates, because no candidate serves what is required


@dataclass(frozen=True, eq=False)
class Plan:
    """The one value that every output is made from."""

    mission: Mission
    software: dict[str, str]
    inputs: tuple[InputRecord, ...]
    findings: tuple[Finding, ...]
    rulings: tuple[RulingShare, ...]
    spots: tuple[RankedSpot, ...]  # handed over in full, by rank: the options, the next best, the user's own
    rejected: tuple[Evaluation, ...]  # evaluated in full and failed a limit; user's spots always stand here or above
    scene: Scene
    timings_s: dict[str, float] = field(default_factory=dict)
    forecast: WindForecast | None = None
    sun: SunOutages | None = None  # None: not worked out
    rain: Rain | None = None  # None: not worked out
    judged: tuple[RankedSpot, ...] = ()  # every spot that was judged and passes, best first
    set_aside: tuple[RankedSpot, ...] = ()  # ruled out only by a required point: places for further trailers
    options: tuple[Option, ...] = ()  # two to five of `spots` that differ in kind, by rank; one where no other differs
    points: tuple[PointAnswer, ...] = ()  # the must-serve points: who serves which, at what price
    area: AreaCells | None = None  # what `coverage.probability` is aligned with; None in a plan put together by hand
    sets: dict[int, TrailerSet] = field(default_factory=dict)  # the best places of so many trailers together
    beside_first: TrailerSet | None = None  # the best second trailer with the first at the best spot
    with_runner_up: TrailerSet | None = None  # the same with the second at the runner-up, where that is another place
    fleet: tuple[Group, ...] = ()  # the units, those that are judged alike together; () in a plan made by hand
    set_spacing_m: float = 0.0  # spots of a set are no closer
    search: SearchSummary | None = None
    firmness: Firmness | None = None
    judge: Judge | None = None  # what any other point is judged by; None in a plan that was put together by hand
    sets_wait: bool = False  # after a change of weights at once: sets are to be chosen yet (`plan.sets_of.completed`)
    fixed: Fixed | None = None  # what no weight changes; None where it was not worked out yet
    kept: Kept = field(default_factory=Kept)  # what the next run may take over
    reused: Tally = field(default_factory=dict)  # what this run took over
    as_built: AsBuilt | None = None  # a trailer that stands already: the only spot is its place, whatever it breaks
    stands: StandsNow | None = (
        None  # where it stands while this plan is made again; None: nothing stands, or `as_built`
    )

    @property
    def missed_points(self) -> tuple[PointAnswer, ...]:
        """The must-serve points that the first spot does not serve."""
        return tuple(p for p in self.points if p.missed)

    @property
    def tied(self) -> tuple[RankedSpot, ...]:
        """The first and the judged spots that are not told apart from it (`choose.ties`), by rank; () for none."""
        ranks = sorted(t.rank for t in self.firmness.ties) if self.firmness is not None else []
        return tuple(self.judged[rank - 1] for rank in (1, *ranks)) if ranks else ()

    @property
    def runner_up(self) -> RankedSpot | None:
        """The second of all judged, whether it is handed over in full or not."""
        return next((r for r in (*self.spots, *self.judged) if r.rank == 2), None)

    @property
    def best(self) -> RankedSpot | None:
        return self.spots[0] if self.spots else None
