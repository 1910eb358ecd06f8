"""The files that a mission brings, and what shapes each may hold."""

from __future__ import annotations

from typing import Annotated, Any, Literal, cast

from pydantic import Field, field_validator

from siteplanner.data.columns import ColumnRules, units_for
from siteplanner.data.road_keys import KEYS, near_key
from siteplanner.mission.parts import Part, Paths

LayerKind = Literal["raster", "polygon", "line", "point", "table"]


def _hold(*kinds: LayerKind) -> dict[str, Any]:
    """What the files of a layer may hold, as part of the field."""
    return {"kinds": list(kinds)}


class Layers(Part):
    """Files that the mission brings. Any CRS and format of the allow-list; see README, Inputs."""

    elevation: Annotated[Paths, Field(min_length=1)] = Field(
        json_schema_extra=_hold("raster"),
        description="Ground elevation rasters; several are mosaicked, the finest on top.",
    )
    elevation_unit: Literal["auto", "m", "ft", "us-ft"] = Field(
        "auto", description="Overrides the unit found in the raster or its CRS. `auto` never guesses feet."
    )
    elevation_error_m: float | None = Field(
        None,
        ge=0,
        le=50,
        description="One standard deviation of a cell's height against its neighbors'. None: 0.1 m for source cells up "
        "to 3 m (lidar, USGS Lidar Base Specification QL2: RMSE 10 cm), 0.8 m up to 15 m (1/3 arc-second national "
        "elevation: RMSE about 0.8 m), 2 m coarser (common practice); all from memory.",
    )
    highest_ground_m: float | None = Field(
        None,
        ge=-500,
        le=9000,
        description="Highest ground of the region, meters above sea level: what may stand in the line to a satellite "
        "where the elevation files end. None: the highest ground of these files themselves.",
    )
    surface: Paths = Field(
        (),
        json_schema_extra=_hold("raster"),
        description="Optional rasters of surface heights (tree tops, roofs), same unit; they block sky and "
        "radio. Without them: bare ground for the sky, land_cover or default_clutter for the radio. What stands there "
        "counts as trees unless land_cover says that it is built up.",
    )
    land_cover: str | None = Field(
        None,
        json_schema_extra=_hold("raster"),
        description="Optional raster of land-cover classes: what stands along the radio paths and around their ends, "
        "with the heights of the surface where that is given, else representative ones (ITU-R P.2108-1 Table 3).",
    )
    land_cover_classes: dict[str, Literal["water", "open", "suburban", "urban", "trees", "dense_urban"]] = Field(
        default_factory=dict, description="Class code of that raster -> kind of clutter; a code left out is open."
    )
    default_clutter: Literal["water", "open", "suburban", "urban", "trees", "dense_urban"] = Field(
        "suburban",
        description="What the radio takes to stand on the ground where neither surface nor land_cover says: houses "
        "and trees of 10 m. Between open ground, where a small cell reaches three times as far, and woods, where it "
        "reaches a third as far; its loss is nearest to Hata's suburban one (tests). Common practice: where nothing is "
        "known, service is not promised as over open water. ITU-R P.1812 has no default.",
    )
    incident_area: str = Field(
        json_schema_extra=_hold("polygon"), description="Polygons that need coverage; column `weight` optional."
    )
    people: str | None = Field(
        None,
        json_schema_extra=_hold("raster"),
        description="Optional raster of people: who is served is then counted by it, cell by cell, in the place of the "
        "column `people` of the incident area; without a column `weight` it weighs the cells too.",
    )
    people_unit: Literal["per_cell", "per_km2"] | None = Field(
        None,
        description="What the numbers of `people` count: people in each cell of that raster, or people to a square "
        "kilometer. None: asked for where a raster is given; never guessed.",
    )
    roads: str = Field(
        json_schema_extra=_hold("line"),
        description="Road lines with OpenStreetMap keys, or other columns by `road_columns`; or an OpenStreetMap "
        "extract (.osm.pbf, .osm).",
    )
    road_columns: dict[str, str] = Field(
        default_factory=dict,
        description="OpenStreetMap key -> this layer's column, e.g. highway = 'CLASS'. A key that is not read is "
        "refused.",
    )
    road_units: dict[str, str] = Field(
        default_factory=dict,
        description="OpenStreetMap key -> unit of its bare numbers: heights, widths and lengths m, cm, ft, in; weights "
        "t, kg, lbs, st (short tons of 2,000 lb), lt (long tons of 2,240 lb); speeds km/h, mph, knots. Asked for where "
        "a column's name does not tell, e.g. maxweight = 'st'.",
    )
    road_values: dict[str, dict[str, str]] = Field(
        default_factory=dict,
        description="OpenStreetMap key -> {this layer's code = OpenStreetMap's value}, e.g. surface = {P = 'asphalt', "
        "D = 'dirt'}; codes left out stay as they are.",
    )
    road_none: tuple[str, ...] = Field(
        (),
        description="Values of limits and speeds that mean none, e.g. ['0', '999']; other zeros are not readable.",
    )
    closures: Paths = Field(
        (),
        json_schema_extra=_hold("point", "line", "polygon"),
        description="What closes roads today: points (the nearest road within 30 m), lines (what they cross or run "
        "along), polygons (what lies inside); column `name` is the reason.",
    )
    extra_tracks: Paths = Field(
        (),
        json_schema_extra=_hold("line"),
        description="Tracks missing from the road data; columns as the roads, class `track` unless `highway` says "
        "otherwise. They join what they cross, and roads that their ends miss by up to 15 m.",
    )
    exits: Paths = Field(
        (),
        json_schema_extra=_hold("point", "line"),
        description="Where roads lead to the world outside: points (the nearest road within 30 m) or lines across "
        "roads. Given, only these count; without them the places where roads for the rig are cut by the edge of the "
        "road data.",
    )
    keep_out: Paths = Field(
        (), json_schema_extra=_hold("polygon"), description="Polygons where the trailer must not stand."
    )
    hazards: Paths = Field(
        (),
        json_schema_extra=_hold("polygon"),
        description="Polygons of danger (flood, slide, fire); column `name`. Roads in them are reported as a hazard "
        "of the drive; column `closes_roads` (yes or no) says whether they are closed. Columns `from` and `until` "
        "(times with their offset from UTC) say when the danger comes and goes, or `level_m` at which level of "
        "rise_forecast.",
    )
    rise_forecast: str | None = Field(
        None,
        json_schema_extra=_hold("table"),
        description="Optional table (CSV) of a rising water with columns `time` (with its offset from UTC) and "
        "`level_m`, on the gauge that the hazards' `level_m` count from.",
    )
    hazards_close_roads: bool = Field(
        False, description="Whether hazard polygons without a value of `closes_roads` close the roads in them."
    )
    power_lines: Paths = Field(
        (),
        json_schema_extra=_hold("line"),
        description="Overhead lines; column `voltage_kv` optional, without it see the table `power_lines`; column "
        "`height_m` (lowest conductor) is reported, it takes nothing off.",
    )
    structures: Paths = Field(
        (),
        json_schema_extra=_hold("polygon", "line", "point"),
        description="Buildings, fences, walls, tanks: polygons, lines or points; column `name` optional.",
    )
    water: Paths = Field(
        (),
        json_schema_extra=_hold("polygon", "line"),
        description="Lakes and rivers as polygons, streams as lines; `name` optional.",
    )
    soft_ground: Paths = Field(
        (),
        json_schema_extra=_hold("polygon"),
        description="Polygons of bog, wet meadow, loose fill: no ground for jacks; column `name` optional.",
    )
    must_serve: Paths = Field(
        (),
        json_schema_extra=_hold("point"),
        description="Named points that must have service; column `name`, and `required` (yes or no) optional: a spot "
        "that does not serve a required point is ruled out.",
    )
    spots: Paths = Field(
        (), json_schema_extra=_hold("point"), description="Points the user wants evaluated; column `name`."
    )
    donor_sites: Paths = Field(
        (),
        json_schema_extra=_hold("point"),
        description="Points with a radio that could carry our traffic on; columns `name`, `height_m` (antenna above "
        "ground), `frequency_mhz` optional. Used where backhaul.wanted names donor_link.",
    )
    parcels: Paths = Field(
        (),
        json_schema_extra=_hold("polygon"),
        description="Parcels of land; columns `parcel` (its number), `owner` and `phone` optional. Owner and phone "
        "stand on the printed sheets alone, and nowhere with leave.owners_on_sheets = false.",
    )
    landing_zones: Paths = Field(
        (),
        json_schema_extra=_hold("point", "line", "polygon"),
        description="Airports, heliports, helispots: runways or landing areas as lines or polygons, or points; columns "
        "`name`, `kind` (airport, heliport, helispot), `runway_m` or `runway_ft` (the longest), `elevation_m` or "
        "`elevation_ft` optional. The worst is assumed of what is not said.",
    )
    known_cells: Paths = Field(
        (),
        json_schema_extra=_hold("point"),
        description="Cells that others have on the air; columns `name`, `frequency_mhz` and `bandwidth_mhz` of what "
        "they send, `eirp_dbm` and `height_m` (antenna above ground) optional.",
    )
    license_area: Paths = Field(
        (),
        json_schema_extra=_hold("polygon"),
        description="Polygons in which the license lets the radio send. A spot outside is reported, not ruled out: "
        "leave to send there may be had by a call.",
    )
    staging: Paths = Field(
        (),
        json_schema_extra=_hold("point"),
        description="Points where tows start, in the place of `staging` with coordinates; columns `name` and "
        "`rig_available` (yes or no) optional. `staging = 'yards.gpkg'` at the top of the mission says the same.",
    )
    wind_forecast: str | None = Field(
        None,
        json_schema_extra=_hold("table"),
        description="Optional table (CSV) with columns `time` (with its offset from UTC), `speed`, and if there are "
        "`gust` and `direction_deg` (where the wind comes from); at 10 m over open ground.",
    )
    wind_forecast_unit: Literal["m/s", "km/h", "mph", "kt"] = Field("m/s", description="Of `speed` and `gust`.")

    @field_validator("road_columns", "road_units", "road_values")
    @classmethod
    def _known_keys(cls, said: dict[str, Any]) -> dict[str, Any]:
        for key in said:
            if key not in KEYS:
                near = near_key(key)
                close = f"; close: {near}" if near else ""
                raise ValueError(f"{key!r} is no key that is read of roads{close}")
        return said

    @field_validator("road_units")
    @classmethod
    def _known_units(cls, units: dict[str, str]) -> dict[str, str]:
        for key, unit in units.items():
            if unit not in units_for(key):
                told = ", ".join(units_for(key)) or "no unit: its values are words"
                raise ValueError(f"{key} has {told}, not {unit!r}")
        return units

    @field_validator("road_none", mode="before")
    @classmethod
    def _as_text(cls, values: Any) -> Any:
        listed = values if isinstance(values, (list, tuple)) else [values]
        return tuple(f"{v:g}" if isinstance(v, (int, float)) else v for v in listed)

    @field_validator("land_cover_classes")
    @classmethod
    def _whole_codes(cls, classes: dict[str, str]) -> dict[str, str]:
        if any(not code.strip().lstrip("-").isdigit() for code in classes):
            raise ValueError("class codes are whole numbers, e.g. 112 = 'suburban'")
        return classes

    @property
    def column_rules(self) -> ColumnRules:
        """What the mission says of the columns of the roads and of extra tracks."""
        return ColumnRules(self.road_columns, self.road_units, self.road_values, self.road_none)


def layer_kinds(name: str) -> tuple[LayerKind, ...]:
    """What the files of a layer may hold, the kind that is most common first; () for a field that names no files.

    Raises KeyError for a name that is no field of `Layers`.
    """
    said = Layers.model_fields[name].json_schema_extra
    return tuple(cast(list[LayerKind], said["kinds"])) if isinstance(said, dict) else ()
