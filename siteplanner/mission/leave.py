"""Who is asked before the trailer stands and sends: owners, who flies, who else is on the air, the license."""

from __future__ import annotations

from pydantic import Field

from siteplanner.mission.parts import Part


class Leave(Part):
    """What is asked of the layers `parcels`, `landing_zones`, `known_cells` and `license_area`."""

    owners_on_sheets: bool = Field(
        True,
        description="Whether names and phones of the layer parcels are read, for the printed sheets of commander and "
        "crew; no other file, map or page has them. false: they are not read at all.",
    )
    landing_slope: float = Field(
        8.0,
        ge=1,
        le=100,
        description="The mast stays this many times its height above a landing zone away from it, on every side. 8: "
        "the approach of a heliport (14 CFR 77.23(b), from memory); on every side: common practice, no source.",
    )
    known_cells_within_m: float = Field(
        30_000.0,
        ge=0,
        le=200_000,
        description="Known cells on our channel this near are named. Common practice, no source.",
    )
    border_field_dbuv_m: float = Field(
        40.0,
        ge=0,
        le=120,
        description="Median field at the border of the license area, above which it is reported. 40 dB over 1 "
        "microvolt a meter: 47 CFR 27.55(a)(2), 600 MHz, 698 to 758 and 775 to 787 MHz bands; the license's own "
        "overrides it.",
    )
