"""Trailer and rig: sizes, limits, speeds, endurance, and the wind they stand."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from siteplanner.core.constants import MPH_M_S
from siteplanner.mission.parts import OneOrMoreFigures, Part

Warned = Annotated[Literal["exclude", "warn"], BeforeValidator(lambda given: "warn" if given == "caution" else given)]
"""What becomes of a road that may be too much for the rig: ruled out, or open with a warning (`caution` in missions
of old)."""

GUY_RADIUS_SHARE = 0.75  # of the mast's height: common practice, no source
GUYS = 4  # of a mast that is guyed, where nobody says how many: common practice, no source


class Trailer(Part):
    """The trailer as it stands on the ground."""

    length_m: float = Field(6.0, ge=0.5, le=30, description="Between fore and aft jacks. Common practice.")
    width_m: float = Field(2.4, ge=0.3, le=6, description="Between left and right jacks, stowed. Common practice.")
    outrigger_reach_m: float = Field(1.2192, ge=0, le=10, description="Each side; 4 ft. Common practice.")
    jacks_on_outriggers: bool = Field(
        True,
        description="The jacks stand at the outriggers' ends, so that their lifts are those of a base wider by "
        "outrigger_reach_m on each side; false: they stand on the frame, outriggers only steady it. Common practice.",
    )
    jack_travel_m: float = Field(0.45, gt=0, le=3, description="Largest lift of one jack with pads. Common practice.")
    max_slope_deg: float = Field(
        5.0, gt=0, lt=45, description="Ground steeper than this is ruled out; 5 deg = 8.7 %. Common practice."
    )
    road_setback_m: float = Field(
        8.0,
        ge=0,
        le=200,
        description="The spot's center keeps this far from a road's center line, so that the trailer "
        "with its outriggers does not block the way. Common practice.",
    )
    mast_stops_m: Annotated[tuple[float, ...], Field(min_length=1, max_length=20)] = Field(
        (8.0, 12.0, 15.0),
        description="Heights at which the mast locks, above ground, each from 1 to 100. Common practice.",
    )
    mast_stop_tolerance: float = Field(
        0.02,
        ge=0,
        le=1,
        description="Share of the area that a lower mast stop may give up, where a surface or land cover says what "
        "stands at the mast; where neither does, the highest stop that the forecast wind allows is taken. Common "
        "practice.",
    )
    mast_ahead_of_dish_m: float = Field(
        2.0, ge=-20, le=20, description="Mast from the dish toward the tongue (negative: behind it). Common practice."
    )
    mast_right_of_dish_m: float = Field(
        0.0, ge=-5, le=5, description="Mast from the dish to the right, looking forward. Common practice."
    )
    mast_width_m: float = Field(0.3, gt=0, le=3, description="Lowest section with its cables. Common practice.")
    guys: int | None = Field(
        None,
        ge=0,
        le=12,
        description="Guys of the mast at its highest ring, evenly round it; 0: it stands by itself. None: 4 where "
        "wind.mast_guyed says that the crew guys it, else 0. Common practice: 3 or 4.",
    )
    guy_radius_m: float | None = Field(
        None,
        gt=0,
        le=100,
        description="From the mast to its guy anchors, kept free of structures, trees, roads and water. None: 0.75 "
        "times the highest of mast_stops_m; field masts have their anchors at 60 to 80 % of the height. Common "
        "practice; the manual overrides it. Nothing is kept free without guys.",
    )
    dish_height_m: float = Field(2.0, gt=0, le=30, description="Dish center above ground. Common practice.")
    exhaust_side: Literal["left", "right", "front", "rear"] | None = Field(
        None, description="Where the generator blows, looking forward; None: not stated, so all round is drawn."
    )
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
        if not 0 <= minutes[0] <= minutes[1] <= minutes[2] <= 1440:
            raise ValueError("low, likely and high minutes rise, from 0 to 1440")
        return minutes

    @field_validator("mast_stops_m")
    @classmethod
    def _stops_rise(cls, stops: tuple[float, ...]) -> tuple[float, ...]:
        if any(not 1 <= s <= 100 for s in stops):
            raise ValueError("mast stops are meters above ground between 1 and 100")
        return tuple(sorted(set(stops)))

    @property
    def guy_anchors_m(self) -> float:
        """How far from the mast its guy anchors stand, where it has guys."""
        return GUY_RADIUS_SHARE * max(self.mast_stops_m) if self.guy_radius_m is None else self.guy_radius_m

    @property
    def jack_width_m(self) -> float:
        """Between left and right jacks as the trailer stands."""
        return self.width_m + (2 * self.outrigger_reach_m if self.jacks_on_outriggers else 0.0)


class Rig(Part):
    """Tow vehicle and trailer together."""

    mass_kg: float = Field(
        5000.0,
        gt=0,
        le=100_000,
        description="Trailer at 4,000 lb (1,814 kg) plus a loaded tow vehicle. Common practice.",
    )
    height_m: float = Field(3.2, gt=0, le=10, description="Stowed dish and mast. Common practice.")
    height_allowance_m: float = Field(
        0.15,
        ge=0,
        le=1,
        description="A posted height must exceed height_m by this: load, bounce on rough road, snow or new asphalt "
        "under the sign. 0: equal passes. Common practice, no source.",
    )
    width_m: float = Field(2.5, gt=0, le=10, description="Mirrors folded. Common practice.")
    length_m: float = Field(13.0, gt=0, le=60, description="Bumper to bumper. Common practice.")
    axle_load_kg: float | None = Field(
        None,
        gt=0,
        le=30_000,
        description="On the heaviest axle, against posted axle loads; twice it against those of bogies. None: half the "
        "rig's mass, more than any axle of a tow vehicle with its trailer bears. Common practice.",
    )
    heavy_goods: Literal["by mass", "yes", "no"] = Field(
        "by mass",
        description="Whether the rig counts as a heavy goods vehicle (OpenStreetMap `hgv`, above 3.5 t; its papers "
        "say). `yes`: roads closed to those and limits posted for them hold, in the place of `motorcar`; `no`: they "
        "do not; `by mass`: a rig above 3.5 t is warned of them, and they close nothing.",
    )
    max_grade_pct: float = Field(15.0, gt=0, le=60, description="Up or down, loaded. Common practice.")
    turning_radius_m: float = Field(
        10.06, ge=1, le=100, description="Car with camper trailer (P/T), 33 ft; AASHTO, from memory."
    )
    forbidden_surfaces: Annotated[tuple[str, ...], Field(max_length=100)] = Field(
        ("mud", "sand", "ice", "snow"), description="OpenStreetMap `surface` values. Common practice."
    )
    worst_tracktype: Literal["grade1", "grade2", "grade3", "grade4", "grade5"] = Field(
        "grade3", description="OpenStreetMap `tracktype`: softer tracks are refused. Common practice."
    )
    worst_smoothness: Literal[
        "excellent", "good", "intermediate", "bad", "very_bad", "horrible", "very_horrible", "impassable"
    ] = Field("bad", description="OpenStreetMap `smoothness`: `very_bad` needs high clearance (OSM wiki).")
    fords: Warned = Field(
        "warn", description="Whether roads with a ford are ruled out. Depth is never in the data. Common practice."
    )
    tight_bends: Warned = Field(
        "warn",
        description="Whether roads with a bend, and turns at junctions, tighter than the turning radius are ruled "
        "out. Road lines are coarse, so the default reports them. Common practice.",
    )
    last_leg_max_m: float = Field(
        80.0, gt=0, le=2000, description="From the road to the spot over ground. Common practice."
    )
    last_leg_max_slope_deg: float = Field(8.0, gt=0, lt=45, description="Over ground. Common practice.")
    last_leg_speed_kmh: float = Field(5.0, ge=0.5, le=50, description="Walking pace with a spotter. Common practice.")

    @property
    def heaviest_axle_kg(self) -> float:
        """The load on the heaviest axle: given, or half of the rig."""
        return self.mass_kg / 2 if self.axle_load_kg is None else self.axle_load_kg


Seconds = tuple[float, float, float]
ClassSpeed = Annotated[
    float,
    Field(
        ge=1,
        le=150,
        description="Free speed on roads of this class (OpenStreetMap `highway`). Common practice for towing.",
        json_schema_extra={"unit": "km/h"},
    ),
]


class Speeds(Part):
    """Free driving speeds of the rig in km/h by OpenStreetMap `highway` class (common practice for towing), and the
    seconds that junctions take besides."""

    motorway: ClassSpeed = 90
    trunk: ClassSpeed = 80
    primary: ClassSpeed = 70
    secondary: ClassSpeed = 60
    tertiary: ClassSpeed = 50
    unclassified: ClassSpeed = 40
    residential: ClassSpeed = 30
    service: ClassSpeed = 20
    track: ClassSpeed = 15
    unpaved_factor: float = Field(0.7, ge=0.05, le=1, description="Times the class speed off pavement.")
    weather_factor: float = Field(
        1.0, ge=0.05, le=1, description="Times every speed, besides the factors below: smoke, fog. A sign still caps."
    )
    wet_factor: float = Field(
        0.9,
        ge=0.05,
        le=1,
        description="Times every speed in times.weather = wet. Free-flow speed falls by 3 to 16 % in heavy rain (FHWA "
        "Road Weather Management, from memory).",
    )
    snow_factor: float = Field(
        0.7,
        ge=0.05,
        le=1,
        description="Times every speed in times.weather = snow. It falls by 5 to 40 % in heavy snow (the same, "
        "from memory).",
    )
    night_factor: float = Field(
        0.9,
        ge=0.05,
        le=1,
        description="Times every speed when the rig drives in the dark (times.drive_in_dark): unlit and unknown roads, "
        "gates and turns found by headlights. A mission that gives it without times.drive_in_dark has it in every "
        "drive. Common practice, no source.",
    )
    turn_s: float = Field(
        7.5,
        ge=0,
        le=120,
        description="Seconds that turning back at a junction takes; a square turn half of it, a slight one next to "
        "nothing. Car profile of the Open Source Routing Machine, from memory.",
    )
    shunt_s: Seconds = Field(
        (15.0, 45.0, 150.0),
        description="Low, likely, high seconds more for a turn at a junction tighter than rig.turning_radius_m. "
        "Common practice, no source.",
    )
    signal_s: Seconds = Field(
        (0.0, 11.0, 35.0),
        description="Of a crossing with signals. Likely: uniform delay of HCM 2000 eq. 16-11 with a cycle of 90 s, "
        "half of it green, light traffic; high: where level of service C ends (HCM 2000 exhibit 16-2); text not "
        "checked.",
    )
    stop_s: Seconds = Field(
        (3.0, 8.0, 15.0),
        description="Of a stop sign. High: where level of service B ends (HCM 2000 exhibit 17-2, from memory); "
        "the rest common practice, no source.",
    )
    give_way_s: Seconds = Field(
        (0.0, 3.0, 10.0), description="Where one gives way. High: as stop_s, level of service A; the rest as there."
    )
    level_crossing_s: Seconds = Field(
        (2.0, 5.0, 120.0), description="Of a level crossing: look and roll over; high: a train. Common practice."
    )

    @field_validator("shunt_s", "signal_s", "stop_s", "give_way_s", "level_crossing_s")
    @classmethod
    def _seconds_rise(cls, seconds: tuple[float, float, float]) -> tuple[float, float, float]:
        if not 0 <= seconds[0] <= seconds[1] <= seconds[2] <= 3600:
            raise ValueError("low, likely and high seconds rise, from 0 to 3600")
        return seconds


ByStop = Annotated[tuple[float, ...], OneOrMoreFigures, Field(max_length=20)]


class Wind(Part):
    """What wind the unit stands. The unit's own manual goes before these figures."""

    tracking_limit_m_s: float = Field(
        45 * MPH_M_S, gt=0, le=100, description="Above it the dish loses the satellite; 45 mph. Common practice."
    )
    stow_limit_m_s: float = Field(
        50 * MPH_M_S, gt=0, le=100, description="Above it the dish stows; 50 mph. Common practice."
    )
    limits_hold_for: Literal["gust", "mean"] = Field(
        "gust",
        description="Whether tracking_limit_m_s and stow_limit_m_s are gusts or mean winds. Gusts, where the "
        "manual does not say: the safer reading.",
    )
    mast_limit_unguyed_m_s: ByStop = Field(
        (),
        description="Wind at its top that the mast stands without guys, from the unit's manual: one figure for each "
        "of trailer.mast_stops_m, the lowest stop first, or one for all. Empty: not stated; no other limit is put in "
        "its place.",
    )
    mast_limit_guyed_m_s: ByStop = Field((), description="The same with guys.")
    mast_limit_raising_m_s: float | None = Field(
        None,
        gt=0,
        le=100,
        description="Wind above which the mast is neither raised nor lowered, from the manual. None: not stated; the "
        "sheets then name 25 mph, above which US Army teaching asks for extra care with a mast (Subcourse SS0732), as "
        "a common figure of field manuals and never as the unit's own.",
    )
    mast_limits_hold_for: Literal["gust", "mean"] = Field(
        "gust", description="Whether the mast's limits are gusts or mean winds, as limits_hold_for."
    )
    mast_guyed: bool | None = Field(
        None, description="Whether the crew guys the mast. None: as trailer.guys says; not, where that says nothing."
    )
    forecast_mean_min: Literal[1, 2, 3, 10, 60] = Field(
        10,
        description="Minutes over which the column `speed` of the forecast is a mean; 2 for US airport reports, 10 "
        "by WMO. Common practice.",
    )
    gust_factor: float | None = Field(
        None,
        ge=1,
        le=3,
        description="Highest 3 s gust over the mean, for rows of the forecast without a gust. None: "
        "WMO/TD-No. 1555 Table 1.1, in-land, by forecast_mean_min: 1.66 for 10 minutes, 1.75 for an hour. Over flat "
        "open country the Durst curve (ASCE 7 commentary) has about 1.43 and 1.53.",
    )
    exposure: Literal["B", "C", "D"] = Field(
        "C", description="Ground around: B built up or wooded, C open, D flat water (ASCE 7-16 section 26.7)."
    )

    @field_validator("mast_limit_unguyed_m_s", "mast_limit_guyed_m_s")
    @classmethod
    def _limits_above_nothing(cls, limits: tuple[float, ...]) -> tuple[float, ...]:
        if any(not 0 < limit <= 100 for limit in limits):
            raise ValueError("limits of the mast are above 0 and at most 100 m/s")
        return limits

    @model_validator(mode="after")
    def _in_order(self) -> Wind:
        if self.stow_limit_m_s < self.tracking_limit_m_s:
            raise ValueError("stow_limit_m_s is at least tracking_limit_m_s")
        return self


class Power(Part):
    """The generator's endurance."""

    fuel_tank_l: float = Field(150.0, ge=1, le=20_000, description="Usable fuel, 40 US gallons. Common practice.")
    fuel_burn_l_per_h: tuple[float, float, float] = Field(
        (1.5, 2.5, 4.0), description="Low, likely, high liters an hour at the station's load. Common practice."
    )
    refuel_at_share: float = Field(
        0.25, ge=0, lt=1, description="Refuel when this share of the tank is left. Common practice."
    )
    shore_power: bool = Field(
        False, description="Whether the unit runs from a building's power where it stands; the generator is then spare."
    )
    shore_plug: str = Field("", max_length=60, description="Its plug, as the crew must find it: shape, volts, amperes.")
    shore_cable_m: float | None = Field(
        None, gt=0, le=500, description="How far the unit's cable reaches; None: not stated."
    )
    refuel_outage_min: tuple[float, float] = Field(
        (30.0, 45.0),
        description="Off air at each refueling, short and long: the engine stops, cools and is filled. Common "
        "practice, no source; 0 and 0 with batteries or a second tank.",
    )

    @field_validator("fuel_burn_l_per_h")
    @classmethod
    def _above_nothing(cls, burn: tuple[float, float, float]) -> tuple[float, float, float]:
        if not 0.01 <= min(burn) <= max(burn) <= 1000:
            raise ValueError("liters an hour are between 0.01 and 1000")
        return burn
