"""The mission: every parameter of a plan, with one documented default and its source.

A mission is a TOML (or JSON) file. Paths in it are relative to the file. Nothing here opens a layer: the
rooms in `data/` do. Sources are given in each field's description; `common practice` marks a rule of thumb
of the trade without a published source.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from siteplanner.core.constants import MPH_M_S
from siteplanner.errors import InputError


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True, allow_inf_nan=False)


def _listed(value: Any) -> Any:
    """One path where a list is meant is a list of one."""
    return [value] if isinstance(value, str) else value


class Layers(_Part):
    """Files that the mission brings. Any CRS and format of the allow-list; see README, Inputs."""

    elevation: Annotated[tuple[str, ...], Field(min_length=1)] = Field(
        description="Ground elevation rasters; several are mosaicked, the finest on top."
    )
    elevation_unit: Literal["auto", "m", "ft", "us-ft"] = Field(
        "auto", description="Overrides the unit found in the raster or its CRS. `auto` never guesses feet."
    )
    elevation_error_m: float | None = Field(
        None,
        ge=0,
        le=50,
        description="One standard deviation of a cell's height against its neighbours'. None: 0.1 m for source cells "
        "up to 3 m (lidar, USGS Lidar Base Specification QL2: RMSE 10 cm), 0.8 m up to 15 m (1/3 arc-second national "
        "elevation: RMSE about 0.8 m), 2 m coarser (common practice); all from memory.",
    )
    surface: tuple[str, ...] = Field(
        (),
        description="Optional rasters of surface heights (tree tops, roofs), same unit; they block sky and "
        "radio. Without them: bare ground.",
    )
    land_cover: str | None = Field(
        None, description="Optional raster of land-cover classes: clutter around the handset (ITU-R P.2108-1)."
    )
    land_cover_classes: dict[str, Literal["water", "open", "suburban", "urban", "trees", "dense_urban"]] = Field(
        default_factory=dict, description="Class code of that raster -> kind of clutter; a code left out is open."
    )
    incident_area: str = Field(description="Polygons that need coverage; column `weight` optional.")
    roads: str = Field(
        description="Road lines with OpenStreetMap keys, or other columns by `road_columns`; or an OpenStreetMap "
        "extract (.osm.pbf, .osm)."
    )
    road_columns: dict[str, str] = Field(
        default_factory=dict, description="OpenStreetMap key -> this layer's column, e.g. highway = 'CLASS'."
    )
    closures: tuple[str, ...] = Field(
        (),
        description="What closes roads today: points (the nearest road within 30 m), lines (what they cross or run "
        "along), polygons (what lies inside); column `name` is the reason.",
    )
    extra_tracks: tuple[str, ...] = Field(
        (),
        description="Lines of tracks that the roads lack; columns as the roads, class `track` unless `highway` says "
        "otherwise. They join what they cross, and roads that their ends miss by up to 15 m.",
    )
    keep_out: tuple[str, ...] = Field((), description="Polygons where the trailer must not stand.")
    hazards: tuple[str, ...] = Field(
        (),
        description="Polygons of danger (flood, slide, fire); column `name`. Roads in them are told as a hazard of the "
        "drive; column `closes_roads` (yes or no) says whether they are closed.",
    )
    hazards_close_roads: bool = Field(
        False, description="Whether hazard polygons without a value of `closes_roads` close the roads in them."
    )
    power_lines: tuple[str, ...] = Field((), description="Overhead lines; columns `voltage_kv`, `height_m` optional.")
    structures: tuple[str, ...] = Field(
        (), description="Buildings, fences, walls, tanks: polygons, lines or points; column `name` optional."
    )
    water: tuple[str, ...] = Field((), description="Lakes and rivers as polygons, streams as lines; `name` optional.")
    soft_ground: tuple[str, ...] = Field(
        (), description="Polygons of bog, wet meadow, loose fill: no ground for jacks; column `name` optional."
    )
    must_serve: tuple[str, ...] = Field((), description="Named points that must have service; column `name`.")
    spots: tuple[str, ...] = Field((), description="Points the user wants evaluated; column `name`.")
    donor_sites: tuple[str, ...] = Field(
        (),
        description="Points with a radio that could carry our traffic on; columns `name`, `height_m` (antenna above "
        "ground), `frequency_mhz` optional. Used where backhaul.wanted names donor_link.",
    )
    wind_forecast: str | None = Field(
        None,
        description="Optional table (CSV) with columns `time` (with its offset from UTC), `speed`, and if there are "
        "`gust` and `direction_deg` (where the wind comes from); at 10 m over open ground.",
    )
    wind_forecast_unit: Literal["m/s", "km/h", "mph", "kt"] = Field("m/s", description="Of `speed` and `gust`.")

    @field_validator("land_cover_classes")
    @classmethod
    def _whole_codes(cls, classes: dict[str, str]) -> dict[str, str]:
        if any(not code.strip().lstrip("-").isdigit() for code in classes):
            raise ValueError("class codes are whole numbers, e.g. 112 = 'suburban'")
        return classes

    @field_validator(
        "elevation",
        "surface",
        "closures",
        "extra_tracks",
        "keep_out",
        "hazards",
        "power_lines",
        "structures",
        "water",
        "soft_ground",
        "must_serve",
        "spots",
        "donor_sites",
        mode="before",
    )
    @classmethod
    def _one_is_a_list(cls, value: Any) -> Any:
        return _listed(value)


class Staging(_Part):
    """Where the tow starts."""

    name: str = "Staging"
    latitude: float = Field(ge=-90, le=90, description="WGS 84 degrees; where UTM ends (80 S, 84 N) `crs` is needed.")
    longitude: float = Field(ge=-180, le=180, description="WGS 84 degrees, east positive.")
    rig_available: bool = Field(True, description="Whether a rig can start here; if not, the place is only shown.")


class Trailer(_Part):
    """The trailer as it stands on the ground."""

    length_m: float = Field(6.0, gt=0, description="Between fore and aft jacks. Common practice.")
    width_m: float = Field(2.4, gt=0, description="Between left and right jacks, stowed. Common practice.")
    outrigger_reach_m: float = Field(1.2192, ge=0, description="Each side; 4 ft. Common practice.")
    jack_travel_m: float = Field(0.45, gt=0, description="Largest lift of one jack with pads. Common practice.")
    max_slope_deg: float = Field(
        5.0, gt=0, lt=45, description="Ground steeper than this is ruled out; 5 deg = 8.7 %. Common practice."
    )
    road_setback_m: float = Field(
        8.0,
        ge=0,
        description="The spot's centre keeps this far from a road's centre line, so that the trailer "
        "with its outriggers does not block the way. Common practice.",
    )
    mast_stops_m: Annotated[tuple[float, ...], Field(min_length=1)] = Field(
        (8.0, 12.0, 15.0), description="Heights at which the mast locks, above ground. Common practice."
    )
    mast_stop_tolerance: float = Field(
        0.02, ge=0, le=1, description="Share of the area that a lower mast stop may give up. Common practice."
    )
    mast_ahead_of_dish_m: float = Field(
        2.0, ge=-20, le=20, description="Mast from the dish toward the nose (negative: behind it). Common practice."
    )
    mast_right_of_dish_m: float = Field(
        0.0, ge=-5, le=5, description="Mast from the dish to the right, looking forward. Common practice."
    )
    mast_width_m: float = Field(0.3, gt=0, le=3, description="Lowest section with its cables. Common practice.")
    dish_diameter_m: float = Field(1.2, gt=0, le=5, description="Reflector. Common practice.")
    dish_height_m: float = Field(2.0, gt=0, description="Dish centre above ground. Common practice.")
    set_up_min: tuple[float, float, float] = Field(
        (30.0, 45.0, 60.0), description="Low, likely, high minutes for one or two people. Common practice."
    )
    acquisition_min: tuple[float, float, float] = Field(
        (3.0, 6.0, 15.0), description="Dish lock and first service, low/likely/high. Common practice."
    )
    hitch_up_min: tuple[float, float, float] = Field(
        (10.0, 15.0, 25.0), description="Hitching and walk-round check before leaving. Common practice."
    )

    @field_validator("set_up_min", "acquisition_min", "hitch_up_min")
    @classmethod
    def _estimates_rise(cls, minutes: tuple[float, float, float]) -> tuple[float, float, float]:
        if not 0 <= minutes[0] <= minutes[1] <= minutes[2]:
            raise ValueError("low, likely and high minutes rise and are not below 0")
        return minutes

    @field_validator("mast_stops_m")
    @classmethod
    def _stops_rise(cls, stops: tuple[float, ...]) -> tuple[float, ...]:
        if any(not 1 <= s <= 100 for s in stops):
            raise ValueError("mast stops are metres above ground between 1 and 100")
        return tuple(sorted(set(stops)))


class Rig(_Part):
    """Tow vehicle and trailer together."""

    mass_kg: float = Field(
        5000.0,
        gt=0,
        le=100_000,
        description="Trailer at 4,000 lb (1,814 kg) plus a loaded tow vehicle. Common practice.",
    )
    height_m: float = Field(3.2, gt=0, le=10, description="Stowed dish and mast. Common practice.")
    width_m: float = Field(2.5, gt=0, le=10, description="Mirrors folded. Common practice.")
    length_m: float = Field(13.0, gt=0, le=60, description="Bumper to bumper. Common practice.")
    max_grade_pct: float = Field(15.0, gt=0, le=60, description="Up or down, loaded. Common practice.")
    turning_radius_m: float = Field(
        10.06, gt=0, description="Car with camper trailer (P/T), 33 ft; from memory of AASHTO."
    )
    forbidden_surfaces: tuple[str, ...] = Field(
        ("mud", "sand", "ice", "snow"), description="OpenStreetMap `surface` values. Common practice."
    )
    worst_tracktype: Literal["grade1", "grade2", "grade3", "grade4", "grade5"] = Field(
        "grade3", description="OpenStreetMap `tracktype`: softer tracks are refused. Common practice."
    )
    worst_smoothness: Literal[
        "excellent", "good", "intermediate", "bad", "very_bad", "horrible", "very_horrible", "impassable"
    ] = Field("bad", description="OpenStreetMap `smoothness`: `very_bad` needs high clearance (OSM wiki).")
    fords: Literal["exclude", "caution"] = Field(
        "caution", description="Whether roads with a ford are ruled out. Depth is never in the data. Common practice."
    )
    tight_bends: Literal["exclude", "caution"] = Field(
        "caution",
        description="Whether roads with a bend tighter than the turning radius are ruled out. Road lines are coarse, "
        "so the default tells them. Common practice.",
    )
    last_leg_max_m: float = Field(80.0, gt=0, description="From the road to the spot over ground. Common practice.")
    last_leg_max_slope_deg: float = Field(8.0, gt=0, lt=45, description="Over ground. Common practice.")
    last_leg_speed_kmh: float = Field(5.0, gt=0, description="Walking pace with a spotter. Common practice.")


class Satellite(_Part):
    """A geostationary orbital slot."""

    name: str = ""
    longitude_deg: float = Field(ge=-180, le=180, description="East positive.")


class Sky(_Part):
    """The satellite link's demand on the sky."""

    satellites: Annotated[tuple[Satellite, ...], Field(min_length=1)] = (
        Satellite(name="slot 103 W", longitude_deg=-103.0),
    )
    need: Literal["any", "all"] = Field("any", description="One of the satellites is enough, or all must be in view.")
    min_margin_deg: float = Field(
        2.0,
        ge=0,
        le=30,
        description="Sky margin kept between skyline and line of sight: half the beam and a bush. Common practice.",
    )
    min_elevation_deg: float = Field(5.0, gt=0, lt=90, description="Lower looks are refused. Common practice.")
    dish_diameter_m: float = Field(
        1.2, ge=0.2, le=20, description="Sets the beam, and with it the sun outages. Common practice for a trailer."
    )
    downlink_ghz: float = Field(
        11.95,
        ge=1,
        le=50,
        description="The middle of 11.7 to 12.2 GHz, fixed-satellite downlink of the Americas (ITU Radio Regulations, "
        "Article 5, from memory).",
    )
    link_margin_db: float = Field(
        3.0, ge=0, le=30, description="What the link has to spare in clear sky, for rain. Common practice, no source."
    )


class OpenSky(_Part):
    """A terminal whose satellites move: it needs a cone of sky, not one line."""

    min_elevation_deg: float = Field(
        25.0, ge=0, lt=90, description="The cone of sky starts this high above the level. Common practice, no source."
    )
    min_clear_share: float = Field(
        0.95,
        gt=0,
        le=1,
        description="Share of the cone, by solid angle, that must be clear. Common practice, no source; the "
        "terminal's own manual goes before it.",
    )
    terminal_height_m: float = Field(2.0, gt=0, le=100, description="Terminal above ground. Common practice.")


class DonorLink(_Part):
    """A radio link from the trailer's mast to a fixed donor site. Defaults: a small licence-exempt link at 5.8 GHz."""

    frequency_mhz: float = Field(
        5800.0,
        ge=100,
        le=15_000,
        description="Where a donor site names none. Rain and gas are not in the loss: ITU-R P.530 neglects rain below "
        "about 5 GHz (from memory); above 10 GHz put them into fade_margin_db.",
    )
    k_factor: float = Field(
        4 / 3, ge=0.5, le=3, description="Effective Earth radius over the true one; ITU-R P.310: 4/3 is the median."
    )
    min_clearance: float = Field(
        0.6,
        ge=0,
        le=3,
        description="Share of the first Fresnel radius that must be clear all along; at 0.6 an edge costs nothing "
        "(nu = -0.85, below the -0.78 of ITU-R P.526-15 equation 31).",
    )
    max_distance_m: float = Field(30_000.0, gt=0, le=100_000, description="Longer links are refused. Common practice.")
    antenna_height_m: float | None = Field(
        None, gt=0, le=100, description="Link antenna above ground; None: on the mast, at the spot's mast stop."
    )
    default_donor_height_m: float = Field(
        10.0,
        gt=0,
        le=1000,
        description="Donor antenna above ground where the layer states none; said in a finding. Common practice.",
    )
    tx_power_dbm: float = Field(
        23.0, ge=-30, le=60, description="Common practice; 47 CFR 15.407 allows 30 dBm at 5.8 GHz (from memory)."
    )
    antenna_gain_dbi: float = Field(23.0, ge=-10, le=60, description="At the trailer: a 30 cm panel. Common practice.")
    donor_gain_dbi: float = Field(23.0, ge=-10, le=60, description="At the donor. Common practice.")
    losses_db: float = Field(2.0, ge=0, le=40, description="Cables and connectors, both ends. Common practice.")
    min_level_dbm: float = Field(
        -75.0, ge=-130, le=0, description="Received level that carries the traffic; from the radio's data sheet."
    )
    fade_margin_db: float = Field(
        10.0, ge=0, le=60, description="Kept above min_level_dbm: multipath, a poor aim. Common practice, no source."
    )


class Backhaul(_Part):
    """How the trailer's traffic reaches the world. The first of `wanted` that works at a spot is the one used there."""

    wanted: Annotated[tuple[Literal["geostationary", "open_sky", "donor_link"], ...], Field(min_length=1)] = Field(
        ("geostationary",),
        description="In order of preference: a geostationary satellite (table `sky`), a terminal that needs open sky, "
        "a radio link to a site of layers.donor_sites.",
    )
    open_sky: OpenSky = OpenSky()
    donor_link: DonorLink = DonorLink()

    @field_validator("wanted", mode="before")
    @classmethod
    def _one_is_a_list(cls, value: Any) -> Any:
        return _listed(value)

    @field_validator("wanted")
    @classmethod
    def _each_once(cls, wanted: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(wanted)) < len(wanted):
            raise ValueError("each backhaul is named once, the preferred one first")
        return wanted


class Radio(_Part):
    """The small cell, its sectors and the handset. Defaults: common practice unless a source is named."""

    frequency_mhz: float = Field(763.0, ge=30, le=6000, description="Downlink centre.")
    uplink_frequency_mhz: float | None = Field(None, ge=30, le=6000, description="None: as downlink.")
    bandwidth_mhz: float = Field(10, description="LTE channel; resource blocks by TS 36.101 Table 6.3.2.1-1.")
    tx_power_dbm: float = Field(40.0, description="Per sector, all resource blocks (10 W).")
    sectors: int = Field(2, ge=1, le=6)
    sector_separation_deg: Literal["free", "even"] | float = Field(
        "free",
        description="`free`: each sector turns by itself; `even`: 360 / sectors apart; or degrees apart, when "
        "the whole mast is turned.",
    )
    min_sector_separation_deg: float = Field(
        60.0, ge=0, le=180, description="Free sectors stay this far apart, about a beamwidth. Common practice."
    )
    antenna_gain_dbi: float = Field(14.0)
    beamwidth_deg: float = Field(
        65.0, gt=0, le=360, description="Horizontal, -3 dB; pattern of TR 36.942 section 4.2.1."
    )
    front_to_back_db: float = Field(20.0, gt=0, description="TR 36.942 section 4.2.1.")
    vertical_beamwidth_deg: float = Field(10.0, gt=0, le=180, description="TR 36.814 Table A.2.1.1-2, from memory.")
    vertical_side_lobe_db: float = Field(20.0, gt=0, description="TR 36.814 Table A.2.1.1-2, from memory.")
    downtilt_deg: float = Field(2.0, ge=-10, le=30)
    cable_loss_db: float = Field(1.5, ge=0)
    noise_figure_db: float = Field(5.0, ge=0, description="Base station receiver.")
    handset_power_dbm: float = Field(23.0, description="Power class 3, TS 36.101 6.2.2.")
    handset_gain_dbi: float = Field(-3.0)
    handset_noise_figure_db: float = Field(9.0, ge=0, description="3GPP budget convention.")
    handset_height_m: float = Field(1.5, gt=0, le=30)
    body_loss_db: float = Field(3.0, ge=0)
    building_loss_db: float = Field(0.0, ge=0, description="0: people are outdoors.")
    interference_margin_db: float = Field(0.0, ge=0, description="0: no other cell is on air nearby.")
    min_rsrp_dbm: float = Field(-116.0, description="Reference signal per resource element that gives usable service.")
    uplink_resource_blocks: int = Field(5, ge=1, le=100, description="Granted to one handset at the cell edge.")
    uplink_min_snr_db: float = Field(-3.0, description="For a slow uplink at the cell edge.")
    location_sigma_db: float = Field(
        8.0, ge=0, le=15, description="Log-normal location variability; 0 makes a hard edge."
    )
    max_radius_m: float = Field(
        10000.0, gt=0, description="No service beyond this, whatever the level (timing and configuration)."
    )
    users: int = Field(128, ge=1, description="Simultaneous users that the cell carries; reported only.")

    @field_validator("bandwidth_mhz")
    @classmethod
    def _lte_channel(cls, width: float) -> float:
        if width not in (1.4, 3, 5, 10, 15, 20):
            raise ValueError("an LTE channel is 1.4, 3, 5, 10, 15 or 20 MHz wide")
        return width


class PowerLines(_Part):
    """Distance kept from overhead lines: table clearance plus the fall of the mast."""

    default_voltage_kv: float = Field(
        350.0,
        gt=0,
        le=1000,
        description="For lines without a voltage: unknown is not safe, so the 20 ft class of 29 CFR 1926.1408 "
        "Table A is assumed.",
    )
    mast_fall_factor: float = Field(
        1.1, ge=1.0, description="Times the highest mast stop: antenna and whip on top. Common practice."
    )


class Site(_Part):
    """The ground that a trailer stands on, and what stands, grows and flows beside it."""

    structure_clearance_m: float = Field(
        3.0,
        ge=0,
        description="Between a structure and the trailer with its outriggers: walk round, doors, stakes. "
        "Common practice.",
    )
    water_setback_m: float = Field(
        10.0,
        ge=0,
        description="The spot's centre keeps this far from mapped water: footprint and a soft bank. Common practice.",
    )
    tree_height_m: float = Field(
        3.0, gt=0, description="Surface less elevation that counts as a tree (or a roof). Common practice."
    )
    low_ground_m: float = Field(
        3.0, ge=0, description="Ground less than this above the channel it drains to is low ground. Common practice."
    )
    channel_area_km2: float = Field(
        0.5, gt=0, description="A channel starts where this much ground drains through a cell. Common practice."
    )
    runoff_length_m: float = Field(
        300.0, gt=0, description="Ground that drains onto a spot, per metre of width: more is told. Common practice."
    )
    soft_ground_rules_out: bool = Field(
        False, description="Whether soft ground is ruled out; otherwise it is told as a finding."
    )


class Search(_Part):
    """How widely and how finely spots are looked for."""

    radius_m: float = Field(3000.0, gt=0, le=100_000, description="Search ground: this far beyond the incident area.")
    cell_size_m: float | None = Field(
        None, gt=0.5, description="None: that of the finest elevation raster, at least 5 m."
    )
    spacing_m: float = Field(200.0, gt=0, description="No two candidate spots that use the same backhaul are closer.")
    max_spots: int = Field(200, ge=1, le=5000, description="Candidate spots evaluated in full.")
    refined_spots: int = Field(
        5,
        ge=0,
        le=100,
        description="The best spots are moved to the best cell within half the spacing, by full "
        "evaluation of up to 8 cells around each.",
    )
    listed_spots: int = Field(10, ge=1, le=100, description="Spots in the ranking handed over.")
    coverage_cell_m: float | None = Field(
        None, gt=0, description="Coarser cells for the served share; None: at most 40,000 cells in the area."
    )


class Weights(_Part):
    """Relative weight of each criterion; they are scaled to add up to 1."""

    coverage: float = Field(5.0, ge=0)
    must_serve: float = Field(2.0, ge=0)
    sky: float = Field(1.0, ge=0)
    ground: float = Field(1.0, ge=0)
    access: float = Field(2.0, ge=0)

    @model_validator(mode="after")
    def _some(self) -> Weights:
        if sum(self.model_dump().values()) <= 0:
            raise ValueError("at least one weight must be above 0")
        return self


class Scales(_Part):
    """Where the utilities of the criteria start and end. Common practice, no source."""

    sky_full_margin_deg: float = Field(15.0, gt=0, le=60, description="Sky margin that earns full marks.")
    drive_zero_min: float = Field(60.0, gt=0, description="Drive time, last leg included, that earns nothing.")
    link_full_margin_db: float = Field(
        20.0, gt=0, le=60, description="Margin of a donor link, over level and fade margin, that earns full marks."
    )


class Speeds(_Part):
    """Free driving speeds of the rig in km/h by OpenStreetMap `highway` class. Common practice for towing."""

    motorway: float = 90
    trunk: float = 80
    primary: float = 70
    secondary: float = 60
    tertiary: float = 50
    unclassified: float = 40
    residential: float = 30
    service: float = 20
    track: float = 15
    unpaved_factor: float = Field(0.7, gt=0, le=1, description="Times the class speed off pavement.")
    weather_factor: float = Field(
        1.0, gt=0, le=1, description="Times every speed; below 1 in rain, snow, smoke or fog. A sign still caps."
    )
    night_factor: float = Field(
        1.0,
        gt=0,
        le=1,
        description="Times every speed, as weather_factor does: set it below 1 (0.8, say) when the rig drives in the "
        "dark on unlit or unknown roads; nothing sets it by the hour of dispatch. Common practice, no source.",
    )


class Wind(_Part):
    """What wind the unit stands. The unit's own manual goes before these figures."""

    tracking_limit_m_s: float = Field(
        45 * MPH_M_S, gt=0, description="Above it the dish loses the satellite; 45 mph. Common practice."
    )
    stow_limit_m_s: float = Field(50 * MPH_M_S, gt=0, description="Above it the dish stows; 50 mph. Common practice.")
    exposure: Literal["B", "C", "D"] = Field(
        "C", description="Ground around: B built up or wooded, C open, D flat water (ASCE 7-16 section 26.7)."
    )

    @model_validator(mode="after")
    def _in_order(self) -> Wind:
        if self.stow_limit_m_s < self.tracking_limit_m_s:
            raise ValueError("stow_limit_m_s is at least tracking_limit_m_s")
        return self


class Power(_Part):
    """The generator's endurance."""

    fuel_tank_l: float = Field(150.0, gt=0, description="Usable fuel, 40 US gallons. Common practice.")
    fuel_burn_l_per_h: tuple[float, float, float] = Field(
        (1.5, 2.5, 4.0), description="Low, likely, high litres an hour at the station's load. Common practice."
    )
    refuel_at_share: float = Field(
        0.25, ge=0, lt=1, description="Refuel when this share of the tank is left. Common practice."
    )

    @field_validator("fuel_burn_l_per_h")
    @classmethod
    def _above_nothing(cls, burn: tuple[float, float, float]) -> tuple[float, float, float]:
        if min(burn) <= 0:
            raise ValueError("litres an hour are above 0")
        return burn


class Times(_Part):
    """When the work starts, and how long people work."""

    dispatch: AwareDatetime | None = Field(
        None, description="With its offset, e.g. 2026-06-01T05:30:00-06:00. None: times count from dispatch."
    )
    crew: int = Field(2, ge=1, le=2, description="People who set up; sets who does what. Common practice.")
    shift_h: float = Field(
        12.0, gt=0, le=24, description="Relief after this many hours from dispatch. Common practice: 12 h shifts."
    )


class Sheets(_Part):
    """How the printed sheets look."""

    paper: Literal["letter", "a4"] = Field("letter", description="Paper of the printed sheets.")
    extra_fonts: tuple[str, ...] = Field(
        (), description="Font files (TTF, OTF) for scripts that the built-in font lacks, e.g. Chinese or Japanese."
    )

    @field_validator("extra_fonts", mode="before")
    @classmethod
    def _one_is_a_list(cls, value: Any) -> Any:
        return _listed(value)


class Mission(_Part):
    """One call-out. `base` is the folder that relative paths start from; it is not part of the file."""

    name: str = "Unnamed mission"
    note: str = ""
    layers: Layers
    staging: Staging = Field(description="One table, or several as [[staging]]; the first is the main one.")
    further_staging: tuple[Staging, ...] = Field(
        (), description="More staging points; each spot takes the one whose rig arrives first."
    )
    crs: str | None = Field(None, description="Metric CRS to work in; None: the local UTM zone.")
    trailer: Trailer = Trailer()
    rig: Rig = Rig()
    sky: Sky = Sky()
    backhaul: Backhaul = Backhaul()
    radio: Radio = Radio()
    power_lines: PowerLines = PowerLines()
    site: Site = Site()
    search: Search = Search()
    weights: Weights = Weights()
    scales: Scales = Scales()
    speeds: Speeds = Speeds()
    wind: Wind = Wind()
    power: Power = Power()
    times: Times = Times()
    sheets: Sheets = Sheets()
    base: Path = Field(default=Path("."), exclude=True)

    @model_validator(mode="before")
    @classmethod
    def _many_stagings(cls, data: Any) -> Any:
        """A list of staging points is the first and the further ones."""
        if isinstance(data, dict) and isinstance(data.get("staging"), (list, tuple)) and data["staging"]:
            first, *rest = data["staging"]
            return {**data, "staging": first, "further_staging": [*rest, *data.get("further_staging", ())]}
        return data

    @model_validator(mode="after")
    def _a_rig_somewhere(self) -> Mission:
        if not self.starts:
            raise ValueError("at least one staging point needs rig_available = true")
        names = [s.name for s in self.stagings]
        if len(set(names)) < len(names):
            raise ValueError("staging points need different names")
        return self

    @property
    def stagings(self) -> tuple[Staging, ...]:
        """All staging points, the main one first."""
        return (self.staging, *self.further_staging)

    @property
    def starts(self) -> tuple[Staging, ...]:
        """The staging points where a rig can start."""
        return tuple(s for s in self.stagings if s.rig_available)

    def path(self, relative: str) -> Path:
        """A layer's path as an absolute one."""
        if re.match(r"[a-z][a-z0-9+.-]+:/", relative, re.IGNORECASE):
            return Path(relative)  # an address, not a place beside the mission: refused as such where it is read
        return Path(os.path.realpath(self.base / relative))  # unlike Path.resolve, goes through loops of links

    def parameters(self) -> dict[str, Any]:
        """Every parameter as used, ready for JSON."""
        return self.model_dump(mode="json")


def _as_written(place: tuple[int | str, ...], data: dict[str, Any]) -> str:
    """A field as the user wrote it, items of a list counted from 1: `staging[2].latitude`, `sky.satellites[1]`."""
    given = data.get("staging")
    if isinstance(given, (list, tuple)) and given and place:
        further = len(given) - 1  # of them were given under [[staging]]; see `Mission._many_stagings`
        if place[0] == "staging":
            place = ("staging", 0, *place[1:])
        elif place[0] == "further_staging" and len(place) > 1 and isinstance(place[1], int):
            number = place[1]
            moved = ("staging", number + 1) if number < further else ("further_staging", number - further)
            place = (*moved, *place[2:])
    out = ""
    for part in place:
        out += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if out else part
    return out


def mission_from_dict(data: dict[str, Any], *, base: str | Path = ".", file: str | None = None) -> Mission:
    """Check a mission given as plain data.

    Raises InputError naming the file, the first wrong field and the remedy; further ones follow in the text.
    """
    try:
        return Mission.model_validate({**data, "base": Path(base)})
    except ValidationError as error:
        first, *others = error.errors()
        field = _as_written(first["loc"], data) or "(top level)"
        more = "".join(f" Also {_as_written(o['loc'], data)}: {_in_words(o)}." for o in others[:8])
        remedies = {"missing": "Add the field.", "extra_forbidden": f"Remove it or mend the spelling; {_WHERE}."}
        remedy = remedies.get(first["type"], f"Mend the value; {_WHERE}.")
        got = "" if first["type"] in ("missing", "extra_forbidden") else f" (got {_short(first.get('input'))})"
        raise InputError(f"{_in_words(first)}{got}.{more}", remedy=remedy, file=file, field=field) from None


_WHERE = "siteplanner/mission.py lists every field with its range, data_samples/ holds examples"


def _short(value: Any) -> str:
    return repr(value.isoformat(" ") if hasattr(value, "isoformat") else value)[:80]


def _in_words(error: Any) -> str:
    """One fault in plain words: the checker's own sentences speak of tuples and extra inputs."""
    kind, loc, about = error["type"], error["loc"], error.get("ctx", {})
    if kind == "missing":
        return "This field is missing"
    if kind == "extra_forbidden":
        part: Any = Mission
        for name in loc[:-1]:
            kept = part.model_fields.get(name) if isinstance(name, str) else None
            part = kept.annotation if kept is not None and hasattr(kept.annotation, "model_fields") else None
            if part is None:
                return "There is no such field"
        close = get_close_matches(str(loc[-1]), part.model_fields, n=2, cutoff=0.6)
        return "There is no such field" + (f"; close: {', '.join(close)}" if close else "")
    words = {
        "too_short": f"At least {about.get('min_length')} value is needed",
        "tuple_type": 'A list is needed, e.g. ["a", "b"]',
        "string_type": "Text in quotes is needed",
        "float_parsing": "A number is needed, without quotes and with a decimal dot",
        "float_type": "A number is needed",
        "finite_number": "A number that is not infinite and not NaN is needed",
        "model_type": "A table of fields is needed",
        "timezone_aware": "The time needs its offset from UTC, e.g. 2026-06-03T04:40:00-06:00",
    }
    bound = {
        "greater_than": ("gt", "more than"),
        "greater_than_equal": ("ge", "at least"),
        "less_than": ("lt", "less than"),
        "less_than_equal": ("le", "at most"),
    }.get(kind)
    if bound is not None:
        return f"The value must be {bound[1]} {about[bound[0]]:g}"
    if kind == "literal_error":
        return f"One of {about['expected']} is needed"
    return words.get(kind, str(error["msg"]).removeprefix("Value error, "))


def load_mission(path: str | Path) -> Mission:
    """Read a mission from TOML or JSON (by its ending).

    Raises InputError for an unreadable file, broken syntax, or a wrong field.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError("There is no such file.", remedy="Check the path.", file=path) from None
    except IsADirectoryError:
        raise InputError("This is a folder.", remedy="Name the mission file in it.", file=path) from None
    except UnicodeDecodeError:
        raise InputError(
            "This is not a text file in UTF-8.",
            remedy="Name the mission file (.toml or .json), or save it in UTF-8.",
            file=path,
        ) from None
    except OSError as error:
        raise InputError(
            f"The mission cannot be read ({error}).", remedy="Give a UTF-8 text file.", file=path
        ) from None
    try:
        data = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as error:
        raise InputError(f"Broken syntax: {error}.", remedy="Mend the line named.", file=path) from None
    if not isinstance(data, dict):
        raise InputError("A mission is a table of fields.", remedy="Start from the sample mission.", file=path)
    return mission_from_dict(data, base=path.parent, file=str(path))
