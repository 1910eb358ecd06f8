"""How widely spots are looked for, and when the work starts."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import AwareDatetime, Field, field_validator

from siteplanner.mission.parts import Part


class Search(Part):
    """How widely and how finely spots are looked for."""

    radius_m: float = Field(3000.0, gt=0, le=100_000, description="Search ground: this far beyond the incident area.")
    cell_size_m: float | None = Field(
        None, gt=0.5, le=2000, description="None: that of the finest elevation raster, at least 5 m."
    )
    spacing_m: float = Field(
        200.0, ge=1, le=100_000, description="No two candidate spots that use the same backhaul are closer."
    )
    max_spots: int = Field(200, ge=1, le=5000, description="Candidate spots evaluated in full.")
    refined_spots: int = Field(
        5,
        ge=0,
        le=100,
        description="The best spots are moved to the best cell within half the spacing, by full "
        "evaluation of up to 8 cells around each.",
    )
    listed_spots: int = Field(
        10, ge=1, le=100, description="Spots handed over in full: the options, then the next best."
    )
    sets: int = Field(
        3,
        ge=1,
        le=6,
        description="The best places of 1, 2, ... so many trailers together are shown; with [[units]] never more than "
        "there are units. From 4 on the search may stop at a stated bound.",
    )
    service_rasters: Literal["best", "options", "all"] = Field(
        "options",
        description="Whose predicted service is written as rasters: coverage.tif of the best spot only, or a "
        "compressed raster in per cent for each option, or for each judged spot. By default each option's, some 20 kB "
        "each: they are what is chosen between.",
    )
    coverage_cell_m: float | None = Field(
        None,
        ge=0.5,
        le=10_000,
        description="Coarser cells for the served share; None: at most 40,000 cells in the area.",
    )


EARLIEST, LATEST = 1990, 2100  # years of a dispatch: what is worked out from it holds so far


class Times(Part):
    """When the work starts, and how long people work."""

    dispatch: AwareDatetime | None = Field(
        None, description="With its offset, e.g. 2026-06-01T05:30:00-06:00. None: times count from dispatch."
    )
    crew: int = Field(2, ge=1, le=2, description="People who set up; sets who does what. Common practice.")
    parts_alike: float = Field(
        0.5,
        ge=0,
        le=1,
        description="How far slow parts go together (correlation of any two parts of the way to first service): the "
        "same night, weather and crew make all of them slow. 0: each by itself. Common practice, no source.",
    )
    drive_in_dark: Literal["by_dispatch", "yes", "no"] = Field(
        "by_dispatch",
        description="Whether speeds.night_factor holds: by the sun at the staging point while the rig drives, yes or "
        "no. Without a dispatch time `by_dispatch` takes daylight.",
    )
    weather: Literal["dry", "wet", "snow"] = Field(
        "dry", description="Weather of the drive: speeds.wet_factor or speeds.snow_factor apply."
    )
    take_down_min: tuple[float, float] = Field(
        (20.0, 45.0),
        description="Quick and slow, from the order to leave to wheels rolling: mast down, stow, hitch. Common "
        "practice, no source.",
    )
    shift_h: float = Field(
        12.0, ge=0.5, le=24, description="Relief after this many hours from dispatch. Common practice: 12 h shifts."
    )

    @field_validator("dispatch")
    @classmethod
    def _a_year_of_ours(cls, dispatch: datetime | None) -> datetime | None:
        if dispatch is not None and not EARLIEST <= dispatch.year <= LATEST:
            raise ValueError(f"a dispatch lies between the years {EARLIEST} and {LATEST}")
        return dispatch
