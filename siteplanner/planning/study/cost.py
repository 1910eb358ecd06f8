"""What a plan will take of memory and time, told before it starts; and the word where it will not fit the computer.

The figures are fitted to measured runs (`python -m tests.benchmarks.cost`): both samples with other cells, spots and
areas, and invented ground of 5 million cells with 34,000 road segments. Each count costs its share and no share is
negative, so that more of anything never costs less. The doubt is what the fit leaves, how many spots there will be to
judge, and that computers differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt
from typing import Literal

from siteplanner.data.memory import available_mb
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.planning.study.study import Study

Part = Literal["cells", "service", "roads"]
LOOKED_AT = 8  # cells around each of the best spots (`pipeline.refine`)


@dataclass(frozen=True)
class Counts:
    """What the work grows with."""

    cells: int  # of the plan's rasters
    surface: bool  # whether what stands on the ground is a raster too
    area_cells: int  # that stand for the incident area
    segments: int  # of roads
    spots: int  # judged at most
    stops: int  # of the mast


@dataclass(frozen=True)
class Cost:
    """Memory and processor time of a run with all its files. `low` and `high`: fewest and most spots, and the doubt."""

    counts: Counts
    memory_mb: float
    memory_low_mb: float
    memory_high_mb: float
    processor_s: float
    processor_low_s: float
    processor_high_s: float
    largest: Part  # what takes most of the memory beyond what every run takes


# Fitted on 2 cores of an ordinary server, numba's kernels compiled; see the module's docstring. MB are 10^6 bytes. The
# likely memory is not under what the samples were measured to take, and at most 1.12 times as much; the high end, with
# all spots judged, up to 1.45 times.
BASE_MB, CELL_MB, SURFACE_MB, SERVICE_MB, SEGMENT_MB = 830.0, 21e-6, 56e-6, 17e-6, 8e-3
BASE_S, CELL_S, SPOT_S, SERVICE_S, SEGMENT_S = 6.5, 1.2e-6, 0.05, 0.75e-6, 0.3e-3
FEWEST, LIKELY = 0.1, 0.5  # of the spots that may be judged are: how much ground passes is not known yet
MEMORY_DOUBT, TIME_DOUBT = 1.2, 1.6  # times, beyond the doubt about the spots


def counts_of(study: Study) -> Counts:
    """The counts of a study; the spots as many as the mission allows, for what passes is not known yet."""
    mission = study.mission
    frame = study.overlay("spots")
    return Counts(
        cells=int(study.elevation.values.size),
        surface=study.obstacles is not None,
        area_cells=len(study.area_cells.rows),
        segments=len(study.network),
        spots=most_spots(mission) + (0 if frame is None else len(frame)),
        stops=len(mission.trailer.mast_stops_m),
    )


def most_spots(mission: Mission) -> int:
    """Spots of the search that may be judged: the candidates, and what is looked at around the best."""
    return mission.search.max_spots + LOOKED_AT * min(mission.search.refined_spots, mission.search.max_spots)


def cost_of(counts: Counts) -> Cost:
    """What a run of these counts takes; rises with each of them."""
    memory = {share: sum(_memory_mb(counts, share).values()) for share in (FEWEST, LIKELY, 1.0)}
    seconds = {share: _seconds(counts, share) for share in (FEWEST, LIKELY, 1.0)}
    parts = _memory_mb(counts, LIKELY)
    growing: tuple[Part, ...] = ("cells", "service", "roads")
    return Cost(
        counts,
        memory[LIKELY],
        memory[FEWEST] / MEMORY_DOUBT,
        memory[1.0] * MEMORY_DOUBT,
        seconds[LIKELY],
        seconds[FEWEST] / TIME_DOUBT,
        seconds[1.0] * TIME_DOUBT,
        max(growing, key=lambda part: parts[part]),
    )


def _memory_mb(counts: Counts, share: float) -> dict[str, float]:
    """By what takes it; `share` of the spots are judged."""
    return {
        "every run": BASE_MB,
        "cells": counts.cells * (CELL_MB + counts.surface * SURFACE_MB),
        "service": share * counts.spots * counts.area_cells * SERVICE_MB,
        "roads": counts.segments * SEGMENT_MB,
    }


def _seconds(counts: Counts, share: float) -> float:
    return (
        BASE_S
        + counts.cells * CELL_S
        + share * counts.spots * (SPOT_S + counts.stops * counts.area_cells * SERVICE_S)
        + counts.segments * SEGMENT_S
    )


@dataclass(frozen=True)
class Fit:
    """A cost beside what this computer has. `available_mb` None: not known."""

    cost: Cost
    available_mb: float | None

    @property
    def tight(self) -> bool:
        """Whether the run may not fit."""
        return self.available_mb is not None and self.cost.memory_high_mb > self.available_mb


def fit_of(study: Study) -> Fit:
    """What a plan of this study takes, beside what there is now.

    Raises InputError where it will not fit even at the low end, with what to make coarser.
    """
    cost, available = cost_of(counts_of(study)), available_mb()
    taken = TAKEN_BY_NOW * cost.memory_mb
    if available is not None and cost.memory_low_mb - taken > available:
        raise InputError(
            f"A plan of this mission needs about {cost.memory_mb / 1000:.1f} GB of memory; this computer has "
            f"{available / 1000:.1f} GB free.",
            remedy=_remedy(cost, study, available),
            field=FIELDS[cost.largest],
        )
    return Fit(cost, available)


FIELDS: dict[Part, str] = {
    "cells": "search.cell_size_m",
    "service": "search.coverage_cell_m",
    "roads": "layers.roads",
}
TAKEN_BY_NOW = 0.3  # of a run's memory, once its layers are read: it is no longer free


def _remedy(cost: Cost, study: Study, available: float) -> str:
    """What to make coarser, and by how much for the rest to fit."""
    least = cost.memory_mb / max(0.7 * available, 1.0)  # with something to spare
    if cost.largest == "cells":
        cell = ceil(study.elevation.cell_size_m * sqrt(least))
        return f"Set search.cell_size_m to {cell} or more, or search.radius_m lower; or close other programs."
    if cost.largest == "service":
        cell = ceil(study.area_cells.step * study.elevation.cell_size_m * sqrt(least))
        return f"Set search.coverage_cell_m to {cell} or more, or search.max_spots lower; or close other programs."
    return "Cut the roads to the mission's ground; or close other programs."
