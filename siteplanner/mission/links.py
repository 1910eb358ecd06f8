"""The links: satellite dish, open-sky terminal, donor link, and the small cell with its handsets."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from siteplanner.core.antenna import SectorPattern
from siteplanner.core.geodesy import wrap_180_deg
from siteplanner.core.handset_place import HandsetPlace
from siteplanner.core.link import LinkParameters, allowed_loss_db
from siteplanner.core.service_level import ServiceKind
from siteplanner.mission.parts import OneOrMore, Part
from siteplanner.mission.wifi import Rated

BackhaulKind = Literal["geostationary", "open_sky", "donor_link"]


def orbital_longitude(longitude_deg: float) -> str:
    """`62.4° W`: a place on the geostationary arc as readers write it."""
    tenths = round(abs(float(wrap_180_deg(longitude_deg))) * 10) / 10
    return f"{tenths:g}° {'W' if wrap_180_deg(longitude_deg) < 0 and 0 < tenths < 180 else 'E'}"


class Satellite(Part):
    """A geostationary orbital slot."""

    name: str = Field("", description="As the crew calls it; empty: by its longitude, as in `satellite at 103° W`.")
    longitude_deg: float = Field(ge=-180, le=180, description="East positive.")
    controller_name: str = Field(
        "", max_length=60, description="What the dish's controller calls it, for the crew; empty: as `name`."
    )

    @property
    def called(self) -> str:
        """The name that readers see: its own, else `satellite at 103° W`."""
        return self.name or f"satellite at {orbital_longitude(self.longitude_deg)}"


class Sky(Rated):
    """The satellite link's demand on the sky."""

    satellites: Annotated[tuple[Satellite, ...], Field(min_length=1, max_length=64)] = Field(
        (Satellite(longitude_deg=-103.0),),
        description="Geostationary satellites that the dish may use, as the contract names them.",
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
        1.2,
        ge=0.2,
        le=20,
        description="Reflector. Sets the beam, with it rain and sun outages, and what of it the mast shades. "
        "Common practice for a trailer.",
    )
    downlink_ghz: float = Field(
        11.95,
        ge=1,
        le=50,
        description="The middle of 11.7 to 12.2 GHz, fixed-satellite downlink of the Americas (ITU Radio Regulations, "
        "Article 5, from memory).",
    )
    uplink_ghz: float = Field(
        14.25,
        ge=1,
        le=50,
        description="The middle of 14.0 to 14.5 GHz, fixed-satellite uplink (ITU Radio Regulations, Article 5, "
        "from memory).",
    )
    link_margin_db: float = Field(
        3.0,
        ge=0,
        le=30,
        description="What the downlink has to spare in clear sky with its gas in it, for rain and cloud. Common "
        "practice, no source.",
    )
    uplink_margin_db: float | None = Field(
        None, ge=0, le=40, description="The same of the uplink, power control included. None: as the downlink."
    )
    system_temperature_k: float = Field(
        120.0,
        ge=20,
        le=2000,
        description="Noise of the receiving dish, amplifier and clear sky together, at the dish's flange. Rain adds to "
        "it up to 275 K, the medium's own temperature. 120 K: Ku band, common practice; the data sheet overrides it.",
    )
    transmit_power_w: float | None = Field(
        None,
        gt=0,
        le=10_000,
        description="Power that the transmitter puts into the dish. None: not stated, so the distance to keep from its "
        "beam is not calculated.",
    )


class OpenSky(Rated):
    """A terminal whose satellites move: it needs a cone of sky, not one line."""

    min_elevation_deg: float = Field(
        25.0, ge=0, lt=90, description="The cone of sky starts this high above the level. Common practice, no source."
    )
    min_clear_share: float = Field(
        0.95,
        gt=0,
        le=1,
        description="Share of the cone (solid angle) that must be clear. Common practice, no source; manual first.",
    )
    terminal_height_m: float = Field(2.0, gt=0, le=100, description="Terminal above ground. Common practice.")


class DonorLink(Rated):
    """A radio link from the trailer's mast to a fixed donor site. Defaults: a small licence-exempt link at 5.8 GHz."""

    frequency_mhz: float = Field(
        5800.0,
        ge=100,
        le=15_000,
        description="Where a donor site names none. Rain and gas are not in the loss: ITU-R P.530 section 2.4 neglects "
        "rain below 5 GHz (from memory); above 10 GHz put them into fade_margin_db. A finding says so.",
    )
    k_factor: float = Field(
        4 / 3, ge=0.5, le=3, description="Effective Earth radius over the true one; ITU-R P.310: 4/3 is the median."
    )
    min_clearance: float = Field(
        0.6,
        ge=0,
        le=3,
        description="Share of the first Fresnel radius that must be clear all along at k_factor; at 0.6 an edge costs "
        "nothing (nu = -0.85, below the -0.78 of ITU-R P.526 equation 31). ITU-R P.530 section 2.2.2 asks 1.0 of links "
        "that are built to stay (from memory).",
    )
    min_clearance_low_k: float = Field(
        0.3,
        ge=0,
        le=3,
        description="The same at the k that is exceeded for 99.9 % of the worst month, by the path's length: ITU-R "
        "P.530 section 2.2.2, temperate climate, ground along a stretch of the path (from memory); 0 for a single "
        "edge, 0.6 in the tropics beyond 30 km. Decides from about 15 km up.",
    )
    gradient_n_km: float = Field(
        -300.0,
        ge=-1500,
        le=0,
        description="Refractivity gradient dN1 of ITU-R P.453, not exceeded for 1 % of the year, N-units a kilometer: "
        "inland about -100 to -350, coasts of warm seas down to -1,000 (from memory). For the share of the worst "
        "month that multipath takes.",
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
        23.0, ge=-30, le=60, description="Common practice; 47 CFR 15.407: 30 dBm at 5.8 GHz (from memory)."
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


class Backhaul(Part):
    """How the trailer's traffic reaches the world. The first of `wanted` that works at a spot is the one used there."""

    wanted: Annotated[tuple[BackhaulKind, ...], OneOrMore, Field(min_length=1)] = Field(
        ("geostationary",),
        description="In order of preference: a geostationary satellite (table `sky`), a terminal that needs open sky, "
        "a radio link to a site of layers.donor_sites.",
    )
    open_sky: OpenSky = OpenSky()
    donor_link: DonorLink = DonorLink()

    @field_validator("wanted")
    @classmethod
    def _each_once(cls, wanted: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(wanted)) < len(wanted):
            raise ValueError("each backhaul is named once, the preferred one first")
        return wanted


class Radio(Part):
    """The small cell, its sectors and the handset. Defaults: common practice unless a source is named."""

    frequency_mhz: float = Field(763.0, ge=30, le=6000, description="Downlink center.")
    uplink_frequency_mhz: float | None = Field(None, ge=30, le=6000, description="None: as downlink.")
    bandwidth_mhz: float = Field(
        10, description="LTE channel: 1.4, 3, 5, 10, 15 or 20; resource blocks by TS 36.101 Table 6.3.2.1-1."
    )
    tx_power_dbm: float = Field(
        33.0,
        ge=-10,
        le=60,
        description="Of one antenna port, all resource blocks together (2 W): RSRP is that of one port. A small cell "
        "is a medium-range base station, up to 38 dBm a port, or a local-area one, up to 24 dBm (3GPP TS 36.104 Table "
        "6.2-1); the default lies in the middle of the medium range, so that a smaller unit is not promised too much. "
        "Common practice; the data sheet overrides it.",
    )
    antenna_ports: int = Field(
        2,
        ge=1,
        le=8,
        description="Ports of a sector that send at once, each with tx_power_dbm: what radiates, not what one port's "
        "RSRP gains. Common practice.",
    )
    sectors_share_carrier: bool = Field(
        True, description="All sectors on one carrier: they disturb each other between their bearings."
    )
    sectors: int = Field(2, ge=1, le=6, description="Antennas that each cover one direction. Common practice.")
    sector_separation_deg: Literal["free", "even"] | Annotated[float, Field(gt=0, le=360)] = Field(
        "free",
        description="`free`: each sector turns by itself; `even`: 360 / sectors apart; or degrees apart, when "
        "the whole mast is turned.",
    )
    min_sector_separation_deg: float = Field(
        60.0, ge=0, le=180, description="Free sectors stay this far apart, about a beamwidth. Common practice."
    )
    antenna_gain_dbi: float = Field(
        14.0,
        ge=-10,
        le=30,
        description="Fits the beam below: 65 by 15 degrees has 14.5 dBi (TR 36.942 pattern, integrated) less half a "
        "decibel in the antenna. Common practice.",
    )
    beamwidth_deg: float = Field(
        65.0, gt=0, le=360, description="Horizontal, -3 dB; pattern of TR 36.942 section 4.2.1."
    )
    front_to_back_db: float = Field(20.0, gt=0, le=60, description="TR 36.942 section 4.2.1.")
    vertical_beamwidth_deg: float = Field(
        15.0,
        gt=0,
        le=180,
        description="Vertical, -3 dB; pattern of TR 36.814 Table A.2.1.1-2 (from memory), whose 10 degrees belong "
        "to an antenna of a large tower, 2 m long at 763 MHz. Common practice.",
    )
    vertical_side_lobe_db: float = Field(20.0, gt=0, le=60, description="TR 36.814 Table A.2.1.1-2, from memory.")
    downtilt_deg: float = Field(2.0, ge=-10, le=30, description="Of each sector below the level. Common practice.")
    cable_loss_db: float = Field(1.5, ge=0, le=40, description="From radio to antenna. Common practice.")
    noise_figure_db: float = Field(5.0, ge=0, le=30, description="Base station receiver.")
    handset_power_dbm: float = Field(23.0, ge=-40, le=40, description="Power class 3, TS 36.101 6.2.2.")
    handset_gain_dbi: float = Field(-3.0, ge=-40, le=20, description="Of its own antenna. Common practice.")
    handset_noise_figure_db: float = Field(
        9.0,
        ge=0,
        le=20,
        description="3GPP budget convention (TS 36.101 Table 7.3.1-1 implies it). Part of the downlink's threshold.",
    )
    handset_height_m: float = Field(1.5, gt=0, le=30, description="Above ground, as held or worn. Common practice.")
    body_loss_db: float = Field(3.0, ge=0, le=40, description="By the body of who holds it. Common practice.")
    handset_place: HandsetPlace = Field(
        "outdoors",
        description="Where people use it: outdoors, vehicle (TR 38.901 section 7.4.3.2: 9 dB, deviation 5 dB), "
        "building_traditional or building_efficient (thermally efficient walls and windows), by ITU-R P.2109.",
    )
    building_loss_db: float | None = Field(
        None, ge=0, le=80, description="A stated loss of the way in, in place of that of handset_place."
    )
    interference_margin_db: float = Field(0.0, ge=0, le=60, description="0: no other cell is on air nearby.")
    shared_channel: bool = Field(
        False,
        description="Several trailers send on one channel and disturb each other (as in the downlink of 3GPP TR 36.942 "
        "section 5, from memory); false: each has a channel of its own.",
    )
    load_factor: float = Field(
        1.0,
        ge=0,
        le=1,
        description="Share of its resource blocks that another trailer on the same channel fills at any moment. 1: "
        "full load, as TR 36.942 section 5 takes it (from memory); less for few users: common practice.",
    )
    service: ServiceKind = Field(
        "data",
        description="What must work in both directions: messages (10 kbit/s, tried again), voice (24 kbit/s) or data "
        "(1 Mbit/s down, 256 kbit/s up). Signal to noise by 3GPP TR 36.942 Annex A, never below what the signaling "
        "needs (TS 36.101, TS 36.104).",
    )
    min_rsrp_dbm: float | None = Field(
        None,
        ge=-150,
        le=-40,
        description="Least power of a resource element that serves, in place of that of `service` and the handset's "
        "noise figure.",
    )
    uplink_resource_blocks: int | None = Field(
        None, ge=1, le=100, description="Granted to one handset at the cell edge, in place of the service's own."
    )
    uplink_min_snr_db: float | None = Field(
        None, ge=-20, le=40, description="Least signal to noise at the base station, in place of that of `service`."
    )
    location_sigma_db: float = Field(
        5.0,
        ge=0,
        le=15,
        description="Location variability: standard deviation from place to place about the median, log-normal. ITU-R "
        "P.1546: K + 1.3 log f with f in MHz and K = 1.2 below the clutter, 5.0 dB at 763 MHz (from memory). 0 "
        "here and in model_sigma_db makes a hard edge.",
    )
    model_sigma_db: float = Field(
        6.2,
        ge=0,
        le=20,
        description="The model's own error, one standard deviation, common to all places: it does not average out over "
        "the area. Together with the location variability 8 dB, the spread of measured levels about predicted ones "
        "that planning counts with (common practice, no source).",
    )
    measured_offset_db: float = Field(
        0.0,
        ge=-40,
        le=40,
        description="How far the levels here lie above (negative: below) the predicted ones, as readings say; "
        "`siteplanner measured` works it out and narrows model_sigma_db with it. 0: nothing was measured. Closed form: "
        "the mean of a normal prior and the readings.",
    )
    measured_files: tuple[Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")], ...] = Field(
        (),
        max_length=200,
        description="SHA-256 of the files of readings that measured_offset_db holds: none is counted twice.",
    )
    most_certain_at_point: float = Field(
        0.95,
        ge=0.5,
        le=1,
        description="No named point is given a higher probability of service than this: a wall, a vehicle or a wrong "
        "height makes about one path in twenty worse than the standard deviations say, whatever the margin. Common "
        "practice, no source.",
    )
    required_chance: float = Field(
        0.75,
        ge=0.5,
        le=1,
        description="A required point (site.required_points) counts as served from this probability of service on: "
        "three places of four about it. No more than most_certain_at_point is asked. Common practice, no source.",
    )
    max_radius_m: float = Field(
        10000.0, ge=10, le=100_000, description="No service beyond this, whatever the level (timing and configuration)."
    )
    users: int = Field(
        128,
        ge=1,
        le=10_000,
        description="Handsets that the cell carries at once, all sectors together, from its data sheet: shown beside "
        "the people served, and how much they may talk at 1 % blocking (Erlang B). It does not shrink the service.",
    )
    first_served: Literal["first_come", "responders"] = Field(
        "first_come",
        description="Who gets through where more handsets call than `users`: whoever comes first, or responders whose "
        "cards hold an access class from 11 to 15 (3GPP TS 22.011 section 4, from memory) with the others barred.",
    )

    @property
    def chance_needed(self) -> float:
        """Of service at a required point; never more than any point is told."""
        return min(self.required_chance, self.most_certain_at_point)

    @property
    def sigma_db(self) -> float:
        """Spread at one place, from place to place and the model's own error together; they are independent."""
        return math.hypot(self.location_sigma_db, self.model_sigma_db)

    @field_validator("bandwidth_mhz")
    @classmethod
    def _lte_channel(cls, width: float) -> float:
        if width not in (1.4, 3, 5, 10, 15, 20):
            raise ValueError("an LTE channel is 1.4, 3, 5, 10, 15 or 20 MHz wide")
        return width

    @model_validator(mode="after")
    def _a_budget(self) -> Radio:
        """What only shows when the budget is made: too many resource blocks, a building outside P.2109's bands."""
        allowed_loss_db(link_parameters(self))
        return self


def link_parameters(radio: Radio) -> LinkParameters:
    """The mission's radio as the numeric core wants it. Raises ValueError for one that has no budget."""
    return LinkParameters(**{f.name: getattr(radio, f.name) for f in fields(LinkParameters)})


def sector_pattern(radio: Radio) -> SectorPattern:
    """The mission's sector antenna as the numeric core wants it."""
    level = radio.beamwidth_deg, radio.front_to_back_db
    return SectorPattern(*level, radio.vertical_beamwidth_deg, radio.vertical_side_lobe_db, radio.downtilt_deg)
