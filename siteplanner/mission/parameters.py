"""The mission: every parameter of a plan, with one documented default and its source.

A mission is a TOML (or JSON) file. Paths in it are relative to the file. Nothing here opens a layer: the
rooms in `data/` do. Sources are given in each field's description; `common practice` marks a rule of thumb
of the trade without a published source.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from siteplanner.errors import Finding
from siteplanner.mission.criteria import Scales, Weights, older_names
from siteplanner.mission.doubts import Doubts
from siteplanner.mission.layers import Layers
from siteplanner.mission.leave import Leave
from siteplanner.mission.links import Backhaul, Radio, Sky
from siteplanner.mission.parts import OneOrMore, Part, Paths
from siteplanner.mission.periods import MOST_PERIODS, Period, check_periods
from siteplanner.mission.search import Search, Times
from siteplanner.mission.trailer import GUYS, Power, Rig, Speeds, Trailer, Wind
from siteplanner.mission.units import OWN_TABLES, Unit, check_units, with_own_tables
from siteplanner.mission.wifi import Wifi


class Staging(Part):
    """Where the tow starts."""

    name: str = Field("Staging", description="As it is called: on sheets, map and radio.")
    latitude: float = Field(ge=-90, le=90, description="WGS 84 degrees; where UTM ends (80 S, 84 N) `crs` is needed.")
    longitude: float = Field(ge=-180, le=180, description="WGS 84 degrees, east positive.")
    rig_available: bool = Field(True, description="Whether a rig can start here; if not, the place is only shown.")


class PowerLines(Part):
    """Distance kept from overhead lines: the rule's clearance, the width of the line, how well places are known, and
    how far the mast reaches when it falls or the trailer tips."""

    voltage_at_most_kv: float | None = Field(
        None,
        gt=0,
        le=1000,
        description="What the lines without a voltage carry at most, by their owner's word or their structures; 350 "
        "where no more than that is known: 20 ft. None: nothing is known, so 50 ft "
        "(29 CFR 1926.1408(a)(2)(ii), 1926.1409(a)).",
    )
    half_width_m: float | None = Field(
        None,
        ge=0,
        le=100,
        description="From a mapped line to its outer conductors. None: by voltage, 1.5 m up to 50 kV to 22 m above 750 "
        "kV and where the voltage is not known (from memory).",
    )
    position_error_m: float = Field(
        5.0,
        ge=0,
        le=1000,
        description="The line as mapped against the true one, and the trailer against the planned spot. Common "
        "practice for lines drawn from aerial pictures and a handheld receiver, no source.",
    )
    mast_fall_factor: float = Field(
        1.1, ge=1.0, le=3, description="Times the highest mast stop: antenna and whip on top. Common practice."
    )


class Site(Part):
    """The ground that a trailer stands on, and what stands, grows and flows beside it."""

    structure_clearance_m: float = Field(
        3.0,
        ge=0,
        le=200,
        description="Between a structure and the trailer with its outriggers: walk round, doors, stakes. "
        "Common practice.",
    )
    water_setback_m: float = Field(
        10.0,
        ge=0,
        le=5000,
        description="The spot's center keeps this far from mapped water: footprint and a soft bank. Common practice.",
    )
    tree_height_m: float = Field(
        3.0, gt=0, le=100, description="Surface less elevation that counts as a tree (or a roof). Common practice."
    )
    obstacle_height_m: float = Field(
        1.0,
        gt=0,
        le=100,
        description="Surface less elevation that is in the way of a rig that turns: brush, banks, walls, trees. "
        "Common practice.",
    )
    low_ground_m: float = Field(
        3.0,
        ge=0,
        le=1000,
        description="Ground less than this above the channel it drains to is low ground. Common practice.",
    )
    channel_area_km2: float = Field(
        0.5,
        ge=1e-4,
        le=1e5,
        description="A channel starts where this much ground drains through a cell. Common practice.",
    )
    runoff_length_m: float = Field(
        300.0,
        ge=1,
        le=1e6,
        description="Ground that drains onto a spot, per meter of width: more is reported. Common practice.",
    )
    soft_ground_rules_out: bool = Field(
        False, description="Whether soft ground is ruled out; otherwise it is reported as a finding."
    )
    required_points: Annotated[tuple[str, ...], OneOrMore] = Field(
        (),
        description="Names of must-serve points that every spot must serve at radio.required_chance or better, beside "
        "those whose column `required` says yes; the others are wanted. Where no spot serves all of them, the plan "
        "says which spot serves which, at what price.",
    )


class Sheets(Part):
    """How the printed sheets look."""

    paper: Literal["letter", "a4"] = Field("letter", description="Paper of the printed sheets.")
    units: Literal["us", "metric", "both"] = Field(
        "both",
        description="Units of every output: sheets, map, briefing, routes, places, and what the app starts with. us: "
        "miles and tenths, feet, US tons of 2,000 lb, mph, gallons. both: metric, with the US figure in brackets where "
        'it is acted on. At the top of the file `units = "us"` says the same.',
    )
    extra_fonts: Paths = Field(
        (), description="Font files (TTF, OTF) for scripts that the built-in font lacks, e.g. Chinese or Japanese."
    )


_LINE_VOLTAGE, _FORMER_KV = ("power_lines.default_voltage_kv", "power_lines.voltage_at_most_kv"), 350.0
"""The former name, whose default nobody had said of a line, and the name that holds only what somebody knows."""


def _former_line_voltage(data: dict[str, Any]) -> dict[str, Any]:
    """`power_lines` under its former name: the former default says nothing of a line and is left out."""
    (old, new), lines = _LINE_VOLTAGE, data.get("power_lines")
    if not isinstance(lines, dict) or "default_voltage_kv" not in lines:
        return data
    kept = {name: value for name, value in lines.items() if name != "default_voltage_kv"}
    said = lines["default_voltage_kv"] != _FORMER_KV
    if said:
        kept.setdefault("voltage_at_most_kv", lines["default_voltage_kv"])
    return {**data, "power_lines": kept, "renamed": (*data.get("renamed", ()), (old, new if said else ""))}


def _former_night(data: dict[str, Any]) -> dict[str, Any]:
    """A night factor of a mission that knows no `times.drive_in_dark` held for every drive, whatever the hour."""
    speeds, times = data.get("speeds"), data.get("times")
    if not isinstance(speeds, dict) or speeds.get("night_factor", 1.0) == 1.0:
        return data
    if not isinstance(times, dict | None) or "drive_in_dark" in (times or {}):
        return data
    return {**data, "times": {**(times or {}), "drive_in_dark": "yes"}}


def _tables(value: Any) -> Any:
    """One table where several may stand is a list of one."""
    return value if isinstance(value, (list, tuple)) else [value]


class Mission(Part):
    """One call-out. `base` is the folder that relative paths start from, `renamed` the fields that the file
    gives under (an older name, their name); neither is part of the file."""

    name: str = Field("Unnamed mission", description="Stands on every sheet and map.")
    note: str = Field("", description="A line for who reads the plan; it stands on the map and on the sheets.")
    layers: Layers
    staging: Annotated[tuple[Staging, ...], BeforeValidator(_tables), Field(max_length=200)] = Field(
        description="One table, or several as [[staging]]; the first is the main one, and each spot takes the one "
        "whose rig arrives first. Or the path of a layer of points (`layers.staging`): each is a staging point, called "
        "as its column `name` says."
    )
    units: tuple[Unit, ...] = Field(
        (),
        description="Trailers that can be sent, as [[units]]; empty: as many as are asked for, all as this mission's "
        "own tables say.",
    )
    fleet: str = Field(
        "",
        max_length=200,
        description="A fleet file in the mission's folder (`siteplanner ready`): units take weights, trailer, radio "
        "and dish from it by their names; without [[units]] all of it that can go are taken.",
    )
    periods: Annotated[tuple[Period, ...], Field(max_length=MOST_PERIODS)] = Field(
        (),
        description="Operational periods in their order, as [[periods]]: what `siteplanner staged` plans as one "
        "sequence; `siteplanner plan` plans layers.incident_area alone.",
    )
    crs: str | None = Field(None, description="Metric CRS to work in; None: the local UTM zone.")
    trailer: Trailer = Trailer()
    rig: Rig = Rig()
    sky: Sky = Sky()
    backhaul: Backhaul = Backhaul()
    radio: Radio = Radio()
    wifi: Wifi = Wifi()
    power_lines: PowerLines = PowerLines()
    site: Site = Site()
    leave: Leave = Leave()
    search: Search = Search()
    weights: Weights = Weights()
    scales: Scales = Scales()
    speeds: Speeds = Speeds()
    wind: Wind = Wind()
    power: Power = Power()
    times: Times = Times()
    doubts: Doubts = Doubts()
    sheets: Sheets = Sheets()
    base: Path = Field(default=Path("."), exclude=True)
    renamed: tuple[tuple[str, str], ...] = Field((), exclude=True)
    fleet_notes: tuple[tuple[str, str], ...] = Field((), exclude=True)

    @model_validator(mode="before")
    @classmethod
    def _older_names(cls, data: Any) -> Any:
        """Files and plans of earlier versions: `further_staging` beside `staging`, criteria under older names."""
        if not isinstance(data, dict):
            return data
        data = dict(data)
        if "staging" in data and "further_staging" in data:
            data["staging"] = [*_tables(data["staging"]), *_tables(data.pop("further_staging"))]
        given = data.get("weights")
        if isinstance(given, dict):
            found = [(f"weights.{old}", f"weights.{new}") for old, new in older_names(given)]
            data["renamed"] = (*data.get("renamed", ()), *found)
        return _former_night(_former_line_voltage(data))

    @model_validator(mode="before")
    @classmethod
    def _units_in_short(cls, data: Any) -> Any:
        """`units = "us"` at the top of the file is `sheets.units`. Only text is taken: a list of that name is not."""
        if not isinstance(data, dict) or not isinstance(data.get("units"), str):
            return data
        sheets = data.get("sheets")
        short, given = data["units"], sheets.get("units", data["units"]) if isinstance(sheets, dict) else data["units"]
        if given != short:
            raise ValueError(f"units = {short!r} and sheets.units = {given!r} contradict each other: keep one of them")
        rest = {name: value for name, value in data.items() if name != "units"}
        return {**rest, "sheets": {**(sheets if isinstance(sheets, dict) else {}), "units": short}}

    @model_validator(mode="before")
    @classmethod
    def _units_filled(cls, data: Any) -> Any:
        """A unit's own tables hold what differs; the rest of them is the mission's."""
        return with_own_tables(data)

    @model_validator(mode="before")
    @classmethod
    def _staging_from_a_layer(cls, data: Any) -> Any:
        """`staging = "yards.gpkg"`, or a table with nothing but `layer`, names a layer of points."""
        if not isinstance(data, dict) or not isinstance(data.get("layers"), dict):
            return data
        given, layers = data.get("staging"), data["layers"]
        if isinstance(given, dict) and set(given) == {"layer"}:
            given = given["layer"]
        if isinstance(given, str):
            return {**data, "staging": (), "layers": {**layers, "staging": given}}
        return {**data, "staging": ()} if given is None and layers.get("staging") else data

    @model_validator(mode="before")
    @classmethod
    def _one_dish(cls, data: Any) -> Any:
        """Records written before there was one dish hold its diameter twice; where both agree, one goes."""
        trailer, sky = (data.get(name) if isinstance(data, dict) else None for name in ("trailer", "sky"))
        if isinstance(trailer, dict) and isinstance(sky, dict):
            old = trailer.get("dish_diameter_m")
            if old is not None and old == sky.get("dish_diameter_m"):
                return {**data, "trailer": {k: v for k, v in trailer.items() if k != "dish_diameter_m"}}
        return data

    @model_validator(mode="after")
    def _a_rig_somewhere(self) -> Mission:
        if not self.staging and self.layers.staging:
            return self  # the points are not read yet
        if not self.staging:
            raise ValueError("at least one staging point is needed")
        if not self.starts:
            raise ValueError("at least one staging point needs rig_available = true")
        names = [s.name for s in self.staging]
        if len(set(names)) < len(names):
            raise ValueError("staging points need different names")
        return self

    @model_validator(mode="after")
    def _units_that_can_start(self) -> Mission:
        starts = {s.name: s.rig_available for s in self.staging} if not self.layers.staging else {}
        check_units(self.units, starts, self.times.dispatch)
        return self

    @model_validator(mode="after")
    def _periods_in_order(self) -> Mission:
        check_periods(self.periods)
        return self

    @model_validator(mode="after")
    def _a_limit_for_each_stop(self) -> Mission:
        stops = len(self.trailer.mast_stops_m)
        for name in ("mast_limit_unguyed_m_s", "mast_limit_guyed_m_s"):
            if len(getattr(self.wind, name)) not in (0, 1, stops):
                raise ValueError(f"wind.{name} needs a figure for each of the {stops} trailer.mast_stops_m, or one")
        return self

    @model_validator(mode="after")
    def _guys_once(self) -> Mission:
        if self.trailer.guys is not None and self.wind.mast_guyed not in (None, self.trailer.guys > 0):
            raise ValueError(
                f"trailer.guys = {self.trailer.guys} and wind.mast_guyed = {str(self.wind.mast_guyed).lower()} say "
                "different things: leave wind.mast_guyed out"
            )
        return self

    @property
    def guys(self) -> int:
        """How many guys the mast has at its highest ring; 0: none."""
        if self.trailer.guys is not None:
            return self.trailer.guys
        return GUYS if self.wind.mast_guyed else 0

    @property
    def stagings(self) -> tuple[Staging, ...]:
        """All staging points, the main one first."""
        return self.staging

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What is worth knowing of the mission file itself."""
        return (
            tuple(
                Finding("field_renamed", "note", facts={"old": old, "new": new})
                if new
                else Finding("line_voltage_not_said", "check", facts={"old": old})
                for old, new in self.renamed
            )
            + tuple(Finding(f"fleet_unit_{what}", "check", facts={"unit": unit}) for what, unit in self.fleet_notes)
            + ((Finding("periods_not_planned", "note", facts={"periods": len(self.periods)}),) if self.periods else ())
        )

    @property
    def starts(self) -> tuple[Staging, ...]:
        """The staging points where a rig can start."""
        return tuple(s for s in self.staging if s.rig_available)

    def of_unit(self, unit: Unit) -> Mission:
        """The mission as one unit has it: its own tables; with a staging point of its own no other has a rig."""
        own = {name: table for name in OWN_TABLES if (table := getattr(unit, name)) is not None}
        if unit.staging:
            own["staging"] = tuple(s.model_copy(update={"rig_available": s.name == unit.staging}) for s in self.staging)
        return self.model_copy(update=own)

    def path(self, relative: str) -> Path:
        """A layer's path as an absolute one."""
        if "\x00" in relative:
            return Path(relative)  # no file is called so: refused as such where it is read
        if re.match(r"[a-z][a-z0-9+.-]+:/", relative, re.IGNORECASE):
            return Path(relative)  # an address, not a place beside the mission: refused as such where it is read
        return Path(os.path.realpath(self.base / relative))  # unlike Path.resolve, goes through loops of links

    def parameters(self) -> dict[str, Any]:
        """Every parameter as used, ready for JSON."""
        return self.model_dump(mode="json")

    def draft(self) -> dict[str, Any]:
        """The parameters, and what was found in the file they came from, for a page that changes them."""
        return {
            **self.parameters(),
            "renamed": [list(pair) for pair in self.renamed],
            "fleet_notes": [list(pair) for pair in self.fleet_notes],
        }
