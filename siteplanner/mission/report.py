"""What the crew says once it stands, as it is typed in from the radio: a short file of fields, each with its range.

A report is one TOML (or JSON) file, the same whether a dispatcher writes it or the app. What it does not say is not
known; what could mean two things is refused with what to ask the crew.
"""

from __future__ import annotations

import re
from datetime import datetime, time
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError, field_validator, model_validator

from siteplanner.data.coordinates import PlaceRead, read_place
from siteplanner.data.plain_text import parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.parts import OneOrMore, OneOrMoreFigures, Part
from siteplanner.mission.reading import check_whole_numbers
from siteplanner.mission.search import EARLIEST, LATEST

MOST_REPORT = 1 << 20  # bytes; far above anything that is read over a radio
TOLD_BY = "`siteplanner guide arrived` lists what a report holds"
LEAST_RSRP_DBM, MOST_RSRP_DBM = -156.0, -31.0
"""What a handset can report: 3GPP TS 36.133, section 9.1.4, table 9.1.4-1 (RSRP_-17 to RSRP_113; from memory)."""
MOST_SECTORS, MOST_LEVELS, MOST_PHOTOS = 12, 500, 60
_OF_DAY = re.compile(r"([01]?\d|2[0-3]):?([0-5]\d)(?::([0-5]\d))?")
BearingKind = Literal["true", "magnetic"]


def _figure(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("A number is needed, not yes or no")
    return value


def _moment(value: Any) -> Any:
    """A time of day (24 h), or a day and time with its offset from UTC."""
    wanted = "A time is needed: of the day as 14:35, or whole with its offset as 2026-06-03T14:35:00-06:00"
    if value is None:
        return None
    if isinstance(value, str):
        found = _OF_DAY.fullmatch(value.strip())
        if found:
            return time(int(found[1]), int(found[2]), int(found[3] or 0))
        try:
            value = datetime.fromisoformat(value.strip())
        except ValueError:
            raise ValueError(wanted) from None
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise ValueError("The time needs its offset from UTC, or only the time of day, as 14:35")
        if not EARLIEST <= value.year <= LATEST:
            raise ValueError(f"The year must lie between {EARLIEST} and {LATEST}")
        return value
    if isinstance(value, time) and value.tzinfo is None:
        return value
    raise ValueError(wanted)


Figure = Annotated[float, BeforeValidator(_figure)]
Moment = Annotated[datetime | time | None, BeforeValidator(_moment)]


class Level(Part):
    """What a phone showed at a named point: a level, or whether it had service."""

    point: str = Field(min_length=1, max_length=200, description="Name of a must-serve point of the plan.")
    rsrp_dbm: Figure | None = Field(
        None,
        ge=LEAST_RSRP_DBM,
        le=MOST_RSRP_DBM,
        description="RSRP as the phone's field-test screen shows it (3GPP TS 36.214, section 5.1.1), always below 0.",
    )
    served: bool | None = Field(None, description="Whether a call or a page went through.")

    @model_validator(mode="after")
    def _says_something(self) -> Level:
        if self.rsrp_dbm is None and self.served is None:
            raise ValueError(f"For {self.point[:60]!r} neither rsrp_dbm nor served is given")
        return self


class Report(Part):
    """How the trailer stands, as its crew says."""

    spot: str = Field("", max_length=200, description='Spot of the plan that the crew was sent to. "": the first.')
    reported_by: str = Field("", max_length=200, description="Who said it.")
    coordinates: str = Field(
        "",
        max_length=200,
        description="Where the middle of the trailer stands, as a phone shows it: decimal degrees, degrees and "
        "minutes, or degrees, minutes and seconds (WGS 84). This or `grid` is required; both must agree.",
    )
    grid: str = Field("", max_length=200, description="The same place as military or US National Grid, or UTM.")
    accuracy_m: Figure = Field(
        5.0,
        ge=0.5,
        le=100,
        description="How far off the phone may be. The default is that of a phone under open sky, 4.9 m (GPS.gov, GPS "
        "accuracy; from memory); under trees or beside a wall it is worse.",
    )
    bearings: BearingKind | None = Field(
        None, description="Whether heading and sectors are true or magnetic: required with either of them."
    )
    heading_deg: Figure | None = Field(None, ge=0, le=360, description="Where the tongue points to.")
    mast_stop_m: Figure | None = Field(None, gt=0, le=150, description="How high the mast stands.")
    mast_stop_ft: Figure | None = Field(None, gt=0, le=500, description="The same in feet; one of the two.")
    sector_bearings_deg: Annotated[
        tuple[Annotated[Figure, Field(ge=0, le=360)], ...] | None, OneOrMoreFigures, Field(max_length=MOST_SECTORS)
    ] = Field(None, description="Where each sector antenna points to.")
    satellite: str = Field("", max_length=200, description="The satellite that the controller has found.")
    arrived_at: Moment = Field(None, description="When the rig stood on the spot.")
    locked_at: Moment = Field(None, description="When the dish locked.")
    on_air_at: Moment = Field(
        None, description="When service started. Times are of the day (24 h, local) or whole with their offset."
    )
    fuel_pct: Figure | None = Field(None, ge=0, le=100, description="Fuel in the tank, by its gauge.")
    meter_h: Figure | None = Field(None, ge=0, le=1e6, description="Hours on the generator's meter.")
    photos: Annotated[
        tuple[Annotated[str, Field(min_length=1, max_length=200)], ...], OneOrMore, Field(max_length=MOST_PHOTOS)
    ] = Field((), description="Names of the photos: tongue, mast, dish, signs.")
    different: str = Field("", max_length=4000, description="What was different from the plan.")
    levels: Annotated[tuple[Level, ...], Field(max_length=MOST_LEVELS)] = Field(
        (), description="What a phone showed at named points."
    )

    @field_validator("levels")
    @classmethod
    def _each_point_once(cls, levels: tuple[Level, ...]) -> tuple[Level, ...]:
        seen: set[str] = set()
        for level in levels:
            name = level.point.casefold()
            if name in seen:
                raise ValueError(f"{level.point[:60]!r} is named twice: keep the later one")
            seen.add(name)
        return levels

    def places(self) -> tuple[PlaceRead, ...]:
        """Where it stands by each way in which it was said, coordinates first. Raises InputError."""
        said = (("coordinates", self.coordinates), ("grid", self.grid))
        return tuple(read_place(text, field=field) for field, text in said if text)


def report_from_dict(data: Any, *, file: str | None = None) -> Report:
    """Check a report given as plain data. Raises InputError naming the file, the first wrong field and the remedy."""
    if not isinstance(data, dict):
        raise InputError("A report is a table of fields.", remedy=f"Start from an example; {TOLD_BY}.", file=file)
    check_whole_numbers(data, "", file)
    try:
        report = Report.model_validate(data)
    except ValidationError as error:
        raise fault(error, Report, data, file, TOLD_BY) from None
    try:
        _check_together(report)
        report.places()
    except InputError as error:
        raise error.placed(file=file) from None
    return report


def _check_together(report: Report) -> None:
    """Raises InputError for fields that need each other or that exclude each other."""
    if not (report.coordinates or report.grid):
        raise InputError(
            "The report does not say where the trailer stands.",
            remedy="Give coordinates as the phone shows them, or the grid reference.",
            field="coordinates",
        )
    if report.bearings is None and (report.heading_deg is not None or report.sector_bearings_deg):
        raise InputError(
            "Nothing says whether the bearings are true or magnetic.",
            remedy='Ask the crew by what they were read; a compass reads "magnetic".',
            field="bearings",
        )
    if report.mast_stop_m is not None and report.mast_stop_ft is not None:
        raise InputError(
            "The mast stop is given twice, in meters and in feet.",
            remedy="Keep the one that the crew read.",
            field="mast_stop_ft",
        )


def load_report(path: str | Path) -> Report:
    """Read a report from TOML or JSON (by its ending).

    Raises InputError for an unreadable file, broken syntax, or a wrong field.
    """
    path = Path(path)
    if path.is_dir():
        raise InputError("This is a folder.", remedy="Name the report file in it.", file=path)
    text = read_text(path, MOST_REPORT, "A report (.toml or .json)")
    return report_from_dict(parsed(text, as_json=path.suffix.lower() == ".json", file=path), file=str(path))


def report_text(report: Report) -> str:
    """The report as the TOML file that `load_report` reads; what it does not say is left out."""
    import tomli_w

    held = report.model_dump(exclude_defaults=True)
    held["levels"] = [level.model_dump(exclude_none=True) for level in report.levels]
    if not held["levels"]:
        del held["levels"]
    return tomli_w.dumps(held)
