"""Backhaul at one spot: each wanted way for the traffic judged, works or does not or not known, with the reason."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from siteplanner.core.dome import DomeShare, dome_share
from siteplanner.core.link_fading import low_k_factor, multipath_faded_pct
from siteplanner.core.point_link import basic_loss_db, clearance, elevation_angle_deg
from siteplanner.errors import Finding
from siteplanner.mission import DonorLink, Sky
from siteplanner.mission.criteria import deciding
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.toward import horizon_to
from siteplanner.planning.spots.evaluation import Coverage
from siteplanner.planning.spots.lines import Backhaul, DonorPath, DonorWhy, Look, Verdict
from siteplanner.planning.spots.skyline import BEARINGS_DEG, highest_possible_deg
from siteplanner.planning.study.beyond import Beyond
from siteplanner.planning.study.donors import Donor
from siteplanner.planning.study.inputs import DonorInputs, OpenSkyInputs, donor_inputs, open_sky_inputs
from siteplanner.planning.study.leave import KnownCell
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

MOST_DONORS = 10  # the nearest ones are judged; with more of them a plan would only get longer
KEPT_DONORS = 5  # paths that stay with a spot, best first
_ORDER: dict[Verdict, int] = {"works": 0, "unknown": 1, "fails": 2}


def judge_backhauls(
    study: Study,
    spot: Spot,
    cell: tuple[int, int],
    looks: tuple[Look, ...],
    coverage: Coverage | None,
    declination_deg: float | None,
) -> tuple[Backhaul, ...]:
    """Every wanted backhaul at one spot, in the mission's order of preference.

    `declination_deg`: true minus magnetic bearing at the spot, None where it is not known.
    """
    out = []
    for kind in study.mission.backhaul.wanted:
        if kind == "geostationary":
            out.append(by_satellite(study.mission.sky, looks))
        elif kind == "open_sky":
            out.append(by_open_sky(open_sky_inputs(study), spot, cell))
        else:
            out.append(by_donor(donor_inputs(study), spot, cell, declination_deg, stops_from(study, coverage)))
    return tuple(out)


def stops_from(study: Study, coverage: Coverage | None) -> tuple[float, ...]:
    """Mast stops that a donor link is asked at, lowest first: the one chosen for the coverage and all above it."""
    stops = study.mission.trailer.mast_stops_m
    least = coverage.mast_height_m if coverage is not None else max(stops)
    return tuple(s for s in stops if s >= least)


def stop_for_link(study: Study, coverage: Coverage | None, backhauls: tuple[Backhaul, ...]) -> float | None:
    """The higher mast stop that the link in use needs; None where the stop of the coverage does."""
    used = next((b for b in backhauls if b.verdict == "works"), None)
    if coverage is None or used is None or not used.donors or study.mission.backhaul.donor_link.antenna_height_m:
        return None
    need = used.donors[0].antenna_height_m
    return need if need > coverage.mast_height_m else None


def by_satellite(sky: Sky, looks: tuple[Look, ...]) -> Backhaul:
    """The dish's line, by the figures of `evaluate.judge_sky`."""
    clear = [look.clear for look in looks]
    shown = deciding(looks, sky.need)
    verdict: Verdict = "works"
    if not (any(clear) if sky.need == "any" else all(clear)):
        states = {look.state for look in looks}
        verdict = "unknown" if "unknown" in states and (sky.need == "any" or "blocked" not in states) else "fails"
    return Backhaul(
        "geostationary",
        verdict,
        math.nan if shown is None else shown.margin_deg,
        "deg",
        looks=looks,
        need=sky.need,
        least_margin_deg=sky.min_margin_deg,
        least_elevation_deg=sky.min_elevation_deg,
    )


def by_open_sky(inputs: OpenSkyInputs, spot: Spot, cell: tuple[int, int]) -> Backhaul:
    """The share of the terminal's cone of sky that is clear; ground nobody knows gives a range."""
    want = inputs.terminal
    share = sky_dome(inputs.relief, inputs.beyond, spot, cell, want.terminal_height_m, want.min_elevation_deg)
    verdict: Verdict = (
        "works" if share.low >= want.min_clear_share else "fails" if share.high < want.min_clear_share else "unknown"
    )
    return Backhaul(
        "open_sky",
        verdict,
        share.low,
        "share",
        dome=share,
        min_elevation_deg=want.min_elevation_deg,
        least_share=want.min_clear_share,
    )


def sky_dome(
    relief: Relief, beyond: Beyond, spot: Spot, cell: tuple[int, int], height_m: float, min_elevation_deg: float
) -> DomeShare:
    """The cone of sky over a terminal at a spot; sectors are true bearings."""
    bearings = relief.elevation.grid_bearing_deg(BEARINGS_DEG, spot.x, spot.y)
    horizon, known_to = horizon_to(relief, beyond, cell, bearings, height_m)
    possible = highest_possible_deg(relief, beyond, cell, bearings, height_m, horizon, known_to)
    return dome_share(horizon, possible, min_elevation_deg)


def by_donor(
    inputs: DonorInputs, spot: Spot, cell: tuple[int, int], declination_deg: float | None, stops_m: tuple[float, ...]
) -> Backhaul:
    """The best of the links to the nearest donor sites; each from the lowest of the rising mast stops where it works.

    A link that works at a lower stop goes before one that needs a higher mast.
    """
    link = inputs.link
    nearest = sorted(inputs.donors, key=lambda d: (math.hypot(d.x - spot.x, d.y - spot.y), d.name))[:MOST_DONORS]
    if not nearest:
        return Backhaul("donor_link", "fails", math.nan, "dB", max_distance_m=link.max_distance_m)
    paths = [lowest_path(inputs, spot, cell, donor, declination_deg, stops_m) for donor in nearest]
    paths.sort(key=_best_first)
    best = paths[0]
    return Backhaul(
        "donor_link",
        best.verdict,
        best.margin_db,
        "dB",
        donors=tuple(paths[:KEPT_DONORS]),
        max_distance_m=link.max_distance_m,
    )


def lowest_path(
    inputs: DonorInputs,
    spot: Spot,
    cell: tuple[int, int],
    donor: Donor,
    declination_deg: float | None,
    stops_m: tuple[float, ...],
) -> DonorPath:
    """The path from the lowest mast stop at which it works; where it works at none, from the lowest one at which that
    is not known, else from the highest, with the lower stops asked; an antenna of its own height has no stops.
    """
    if inputs.link.antenna_height_m:
        stops_m = stops_m[-1:]
    tried: list[DonorPath] = []
    for stop in stops_m:
        tried.append(donor_path(inputs, spot, cell, donor, declination_deg, stop))
        if tried[-1].verdict == "works" or not _height_matters(tried[-1]):
            break
    best = min(tried, key=lambda p: (_ORDER[p.verdict], p.antenna_height_m * (-1 if p.verdict == "fails" else 1)))
    lower = tuple(p.antenna_height_m for p in tried if p.antenna_height_m < best.antenna_height_m)
    if not lower:
        return best
    return replace(best, not_at_m=lower, at_lowest=tried[0])


def _height_matters(path: DonorPath) -> bool:
    """Whether a higher mast could change the verdict: not where the donor is too far or too near, or off the map."""
    return math.isfinite(path.clearance_share)


def _best_first(path: DonorPath) -> tuple[int, float, float, float]:
    def known(value: float) -> float:
        return value if math.isfinite(value) else -1e9

    if path.verdict == "works":
        return 0, path.antenna_height_m, -known(path.margin_db), path.distance_m
    return _ORDER[path.verdict], -known(path.clearance_share), -known(path.margin_db), path.distance_m


def profile_to(
    relief: Relief, spot: Spot, cell: tuple[int, int], donor: Donor | KnownCell
) -> tuple[np.ndarray, np.ndarray]:
    """Shares 0..1 of the way and what stands there in metres, about half a cell apart; the ends are bare ground.

    Samples lie on the straight line of the map; over 30 km it keeps within a metre or two of the shortest way
    (UTM's arc to chord). NaN where the ground is unknown.
    """
    grid = relief.elevation
    count = max(3, math.ceil(2 * math.hypot(donor.x - spot.x, donor.y - spot.y) / grid.cell_size_m) + 1)
    share = np.linspace(0.0, 1.0, count)
    x, y = spot.x + share * (donor.x - spot.x), spot.y + share * (donor.y - spot.y)
    ground = grid.sample(x, y)
    heights = ground
    if relief.obstacles is not None:
        heights = np.maximum(ground, relief.obstacles.sample(x, y))
        heights[-1] = ground[-1]
    heights[0] = float(grid.values[cell])  # as the dish and the mast: on the cell that the spot stands in
    return share, heights


def donor_path(
    inputs: DonorInputs,
    spot: Spot,
    cell: tuple[int, int],
    donor: Donor,
    declination_deg: float | None,
    mast_m: float,
) -> DonorPath:
    """One path: distance and bearing on the ellipsoid, clearance over the profile, received level."""
    from pyproj import Geod

    link, relief = inputs.link, inputs.relief
    antenna = link.antenna_height_m or mast_m
    bearing, _, distance = Geod(ellps="WGS84").inv(spot.longitude, spot.latitude, donor.longitude, donor.latitude)
    nan = math.nan
    share_, at, room, unknown_from, loss, level, up = nan, nan, nan, nan, nan, nan, nan
    low_k, low_share, faded = float(low_k_factor(distance)), nan, nan
    complete = False
    if relief.elevation.cell_size_m < distance <= link.max_distance_m:
        share, heights = profile_to(relief, spot, cell, donor)
        along = share * distance
        found = clearance(along, heights, antenna, donor.height_m, donor.frequency_mhz, link.k_factor)
        share_, at, room, unknown_from = found.share, found.at_m, found.clearance_m, found.unknown_from_m
        complete = found.complete
        low = clearance(along, heights, antenna, donor.height_m, donor.frequency_mhz, min(low_k, link.k_factor))
        low_share = low.share
        if share_ >= link.min_clearance and low_share < link.min_clearance_low_k:
            at, room = low.at_m, low.clearance_m
        up = elevation_angle_deg(
            distance, float(heights[0]) + antenna, float(heights[-1]) + donor.height_m, link.k_factor
        )
        if complete:
            loss = basic_loss_db(along, heights, antenna, donor.height_m, donor.frequency_mhz, link.k_factor)
            level = link.tx_power_dbm + link.antenna_gain_dbi + link.donor_gain_dbi - link.losses_db - loss
            ends = float(heights[0]) + antenna, float(heights[-1]) + donor.height_m
            spare = level - link.min_level_dbm
            faded = multipath_faded_pct(distance, *ends, donor.frequency_mhz, spare, link.gradient_n_km)
    margin = level - link.min_level_dbm - link.fade_margin_db
    verdict, why, needed = _verdict(relief, link, donor, distance, share_, low_share, complete, margin)
    return DonorPath(
        name=donor.name,
        latitude=donor.latitude,
        longitude=donor.longitude,
        verdict=verdict,
        why=why,
        needed=needed,
        distance_m=float(distance),
        bearing_deg=float(bearing % 360),
        bearing_magnetic_deg=None if declination_deg is None else float((bearing - declination_deg) % 360),
        elevation_deg=up,
        antenna_height_m=antenna,
        donor_height_m=donor.height_m,
        donor_height_stated=donor.height_stated,
        frequency_mhz=donor.frequency_mhz,
        clearance_share=share_,
        tightest_at_m=at,
        clearance_m=room,
        unknown_from_m=unknown_from,
        loss_db=loss,
        level_dbm=level,
        margin_db=margin,
        low_k_factor=low_k,
        low_k_share=low_share,
        faded_pct=faded,
    )


def _verdict(
    relief: Relief,
    link: DonorLink,
    donor: Donor,
    distance_m: float,
    share: float,
    low_k_share: float,
    complete: bool,
    margin_db: float,
) -> tuple[Verdict, DonorWhy, float]:
    """What known ground forbids is forbidden whatever is unknown; what it allows needs all of it known."""
    nan = math.nan
    if distance_m > link.max_distance_m:
        return "fails", "too_far", link.max_distance_m
    if distance_m <= relief.elevation.cell_size_m:
        return "unknown", "own_cell", nan
    if share < 0:
        return "fails", "blocked", nan
    if share < link.min_clearance:
        return "fails", "near_ground", link.min_clearance
    if low_k_share < link.min_clearance_low_k:
        return "fails", "near_ground_low_k", link.min_clearance_low_k
    if not complete:
        known = math.isfinite(relief.elevation.sample(donor.x, donor.y))
        return "unknown", "ground_unknown" if known else "donor_unknown", nan
    return ("fails", "too_weak", nan) if margin_db < 0 else ("works", "clear", nan)


def broken_backhaul(backhauls: tuple[Backhaul, ...]) -> list[Breach]:
    """The limit where none works; empty where one does."""
    if any(b.verdict == "works" for b in backhauls):
        return []
    verdict = "fails" if all(b.verdict == "fails" for b in backhauls) else "unknown"
    return [Breach("no_backhaul", verdict, about=backhauls)]


def backhaul_findings(study: Study, backhauls: tuple[Backhaul, ...]) -> list[Finding]:
    """A less preferred backhaul in use is said, and what nobody checked about it."""
    used = next((b for b in backhauls if b.verdict == "works"), None)
    if used is None:
        return []
    out = []
    facts: dict[str, Any]
    passed_over = backhauls[: backhauls.index(used)]
    if passed_over:
        facts = {"used": used, "passed_over": passed_over}
        out.append(Finding("backhaul_not_first_choice", "check", facts=facts))
    if used.kind == "donor_link":
        path = used.donors[0]
        if path.not_at_m:
            facts = {"name": path.name, "mast_height_m": path.antenna_height_m, "not_at_m": path.not_at_m}
            out.append(Finding("mast_raised_for_link", "note", facts=facts))
        out.append(Finding("donor_agreement", "check", facts={"name": path.name, "frequency_mhz": path.frequency_mhz}))
    if used.kind == "open_sky" and study.obstacles is None:
        out.append(Finding("open_sky_bare_ground", "unknown", facts={"share": used.margin}))
    return out
