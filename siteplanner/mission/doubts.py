"""How far the figures that are scored may be off: from spot to spot, and in what all spots share."""

from __future__ import annotations

from pydantic import Field

from siteplanner.mission.parts import Part


class Doubts(Part):
    """One standard deviation each, independent from spot to spot but for `season_db`, `handset_db`, `weights`. What the
    elevation's error does to slope, grades and service is worked out at each spot instead, for the service on top of
    what is said here; the radio model's own error is `radio.model_sigma_db`, what hour and crew share
    `times.parts_alike`."""

    share: float = Field(
        0.05,
        ge=0,
        le=0.5,
        description="Of the served share of the area where half of it is served (0.05: 5 points), less toward none and "
        "all: clutter, and the model where it differs from spot to spot. Common practice, no source.",
    )
    must_serve: float = Field(
        0.10,
        ge=0,
        le=0.5,
        description="Of the mean probability at must-serve points that stand at a half each, less toward none and all: "
        "few places, so less averages out. Common practice, no source.",
    )
    drive_share: float = Field(
        0.15,
        ge=0,
        le=1,
        description="Of the drive time, as a share of it: what differs from road to road. Common practice, no source.",
    )
    sky_margin_deg: float = Field(
        1.0,
        ge=0,
        le=20,
        description="Of the sky margin: 0.8 m of height are 0.5 deg at 100 m and 1.5 deg at 30 m. Closed form for the "
        "distance at which a near skyline stands; the distance is common practice.",
    )
    link_margin_db: float = Field(
        4.0, ge=0, le=30, description="Of a donor link's margin: diffraction near its edge. Common practice, no source."
    )
    season_db: float = Field(
        2.0,
        ge=0,
        le=20,
        description="Of the path loss, the same for all spots: leaves, crops, wet, what the ground cover hides on the "
        "whole. Drawn with radio.model_sigma_db, which must be above 0 for it. Common practice, no source.",
    )
    handset_db: float = Field(
        2.1,
        ge=0,
        le=20,
        description="Of what hand, body, height and the handset's turn against the wave do beside radio.body_loss_db "
        "and radio.handset_height_m, the same for all spots. Hand and body: typically 0 to 6 dB at 776 and 2,300 MHz "
        "(J. O. Nielsen et al., EuCAP 2012), evenly 1.7. Turn: up to 2.2 dB on average over all turns where the other "
        "polarization is 7 dB weaker (from memory), evenly 0.6. Height: held at 1 to 2 m, evenly 1.7 over flat open "
        "ground, where the field grows with it (closed form), 0.2 to 0.7 over hills and among houses (measured on the "
        "samples); 1.0. Drawn with radio.model_sigma_db, which must be above 0 for it.",
    )
    sector_aim_deg: float = Field(
        3.0,
        ge=0,
        le=45,
        description="Of the turn of the mast with its sectors from the bearings planned: compass, declination, twist. "
        "Common practice, no source.",
    )
    mast_lean_deg: float = Field(
        0.7,
        ge=0,
        le=10,
        description="Of the mast's lean along each of two axes: bubble level, play of the sections, wind. Common "
        "practice, no source.",
    )
    readings_alike_m: float = Field(
        120.0,
        gt=0,
        le=5000,
        description="Distance over which the shadow of hills and trees, and with it measured levels, stay alike: the "
        "correlation of two readings d apart is exp(-d / this) (M. Gudmundson, Electronics Letters 27, 1991, "
        "2145-2146). 120 m: 3GPP TR 38.901 Table 7.5-6, rural macro cell without line of sight.",
    )
    readings_device_db: float = Field(
        3.0,
        ge=0,
        le=20,
        description="How far one phone reads high or low everywhere: half of the 6 dB that 3GPP TS 36.133 section "
        "9.1.2.1 (from memory) allows its absolute level, so that the limit is two standard "
        "deviations. Common practice.",
    )
    weights: float = Field(
        0.2,
        ge=0,
        le=1,
        description="How far each weight is drawn up or down, as a share of it: two commanders weigh no call-out "
        "alike. Evenly between the ends. Common practice, no source.",
    )
