"""A second radio for people beside the trailer whose handsets cannot use the cell; and what a backhaul carries."""

from __future__ import annotations

from pydantic import Field

from siteplanner.mission.parts import Part


class Wifi(Part):
    """An access point on the trailer. Defaults: common practice unless a source is named."""

    on: bool = Field(False, description="Whether the trailer carries one.")
    power_dbm: float = Field(
        20.0,
        ge=-10,
        le=40,
        description="Of the access point, with its antenna's gain the power sent; 47 CFR 15.247(b) allows 30 dBm into "
        "6 dBi at 2.4 GHz (from memory).",
    )
    frequency_mhz: float = Field(2437.0, ge=900, le=7125, description="Channel 6 of IEEE 802.11 (from memory).")
    gain_dbi: float = Field(5.0, ge=-10, le=30, description="Of the access point's antenna. Common practice.")
    height_m: float = Field(
        4.0, gt=0, le=60, description="Of that antenna above the handsets: the path is longer than the ring is wide."
    )
    handset_power_dbm: float = Field(
        15.0, ge=-10, le=30, description="Of a telephone or tablet, its antenna in it. Common practice, no source."
    )
    needed_dbm: float = Field(
        -70.0,
        ge=-100,
        le=-20,
        description="Received level that carries pages and talk in both directions. Common practice, no source.",
    )
    clutter_margin_db: float = Field(
        15.0,
        ge=0,
        le=60,
        description="Taken off free space for bodies, vehicles, tents and fading. Common practice, no source.",
    )


class Rated(Part):
    """What a backhaul carries, whatever its kind."""

    down_mbit_s: float | None = Field(
        None,
        gt=0,
        le=100_000,
        description="Toward the trailer, by the contract or the data sheet; all handsets share it. None: not known.",
    )
    up_mbit_s: float | None = Field(None, gt=0, le=100_000, description="From the trailer. None: not known.")
    processing_ms: float = Field(
        30.0,
        ge=0,
        le=5000,
        description="Delay one way beside the flight of the signal: coding, framing, queues. Common practice, no "
        "source; satellite links that share their channel by demand take longer.",
    )
    call_kbit_s: float = Field(
        40.0,
        ge=4,
        le=1000,
        description="What one talk takes of it in each direction: 24 kbit/s as over the cell, with tunnel and cipher "
        "around each packet. Common practice, no source.",
    )
