"""Who is asked before the trailer stands on one spot and sends, as facts: owners, who flies, who sends, the license.

Nothing here rules a spot out: leave may be had by a call. Bearings true, lengths metres; NaN is not known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.air_notice import NoticeSurface, Verdict
from siteplanner.planning.study.leave import Kind, Parcel


@dataclass(frozen=True)
class LandingNear:
    """A landing zone that the mast may concern. `distance_m`: to what the layer draws; `runway_from_m`: how near a
    runway may come (`air_notice.nearest_runway_m`). `low_antenna`: no notice for so low a mast (14 CFR 77.9(e)(4)).
    """

    name: str
    kind: Kind
    distance_m: float
    bearing_deg: float
    runway_from_m: float
    runway_m: float
    elevation_m: float
    elevation_from: Literal["layer", "ground", ""]
    mast_above_m: float  # top of the mast above the landing zone
    surface: NoticeSurface
    verdict: Verdict
    low_antenna: bool
    keep_m: float  # the mast's distance that keeps an approach clear
    in_approach: bool | None  # None: not known

    @property
    def certain(self) -> bool:
        """Whether everything that the verdict hangs on is stated."""
        stated = self.kind in ("heliport", "helispot") or not math.isnan(self.runway_m)
        return bool(self.kind) and stated and self.verdict != "unknown"

    @property
    def notice(self) -> Literal["file", "ask", "none"]:
        """What the rule asks for: notice; a question where it is not known; nothing. Helispots of an incident are not
        among the places of 14 CFR 77.9(d) (from memory): those who fly there are asked, whatever the mast's height
        (common practice, no source)."""
        if self.verdict == "beyond":
            return "none"
        if self.kind == "helispot":
            return "ask"
        if self.low_antenna:
            return "none"
        if self.verdict == "above":
            return "file"
        return "none" if self.certain else "ask"


@dataclass(frozen=True)
class CellNear:
    """A known cell whose channel overlaps ours. Levels are those of its whole channel at the handset's height over
    the spot."""

    name: str
    distance_m: float
    bearing_deg: float
    way: Literal["downlink", "uplink"]  # which of our channels it sends on
    overlap_mhz: float
    width_assumed: bool  # the layer does not say how wide the cell's channel is
    level_dbm: float  # predicted median; NaN: power, height or ground not known
    at_most_dbm: float  # over free space; NaN: power not known
    noise_dbm: float  # of a handset in our channel


@dataclass(frozen=True)
class LicenseFact:
    """The license area and one spot. `field_dbuv_m`: the strongest predicted median field at the border; NaN: none of
    the border lies on known ground, or the spot stands outside."""

    inside: bool
    border_m: float  # from the spot to the nearest border; inf: no license area near
    limit_dbuv_m: float
    field_dbuv_m: float = math.nan
    field_at_m: float = math.nan  # that place's distance from the spot
    field_bearing_deg: float = math.nan
    part_known: float = 0.0  # share of the border's length that is worked out

    @property
    def spills(self) -> bool:
        """Whether the field at the border is above the limit."""
        return self.field_dbuv_m > self.limit_dbuv_m


@dataclass(frozen=True)
class Leave:
    """None: the layer was not given. Lists hold what concerns the spot, what matters most first."""

    parcels: tuple[Parcel, ...] | None  # the spot's own first, then those under footprint and last leg
    parcel_known: bool  # the first one holds the spot
    landing: tuple[LandingNear, ...] | None
    cells: tuple[CellNear, ...] | None
    license: LicenseFact | None
    mast_top_m: float  # above ground
    tall: bool  # 14 CFR 77.9(a)
    left_out: int = 0  # more of them than are named
