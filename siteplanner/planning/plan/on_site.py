"""What waits on a ranked spot: times, wind and distances. No weights in it, nothing that ranks."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.keep_away import KeepAway, keep_away
from siteplanner.planning.site.site_wind import SiteWind, site_wind
from siteplanner.planning.site.timeline import Timeline, timeline


@dataclass(frozen=True)
class OnSite:
    """None where it cannot be told: no way in, no elevation around."""

    timeline: Timeline | None
    wind: SiteWind | None
    keep_away: tuple[KeepAway, ...]


def on_site(plan: Plan, ranked: RankedSpot) -> OnSite:
    """Timeline, wind and keep-away distances of one spot, always from the same plan's figures."""
    evaluation, spot = ranked.evaluation, ranked.spot
    mast = evaluation.coverage.mast_height_m if evaluation.coverage else max(plan.mission.trailer.mast_stops_m)
    access = evaluation.access
    times = None
    if access is not None:
        place = spot.latitude, spot.longitude, spot.elevation_m
        times = timeline(plan.mission, access.route.time_s, access.last_leg_s, *place)
    return OnSite(
        times,
        site_wind(plan.mission, plan.scene.elevation, spot, mast, plan.forecast),
        keep_away(plan.mission, mast),
    )
