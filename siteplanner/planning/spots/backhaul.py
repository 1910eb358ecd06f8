"""Backhaul at one spot: each wanted way for the traffic judged, works or does not or not known, with the reason."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from siteplanner.core.dome import DomeShare, dome_share
from siteplanner.core.horizon import horizon_reach
from siteplanner.core.point_link import basic_loss_db, clearance, elevation_angle_deg
from siteplanner.errors import Finding
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.spots.lines import Backhaul, DonorPath, Look, Verdict
from siteplanner.planning.spots.skyline import BEARINGS_DEG, possible_horizon_deg
from siteplanner.planning.study.donors import Donor
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
            out.append(by_satellite(study, looks))
        elif kind == "open_sky":
            out.append(by_open_sky(study, spot, cell))
        else:
            out.append(by_donor(study, spot, cell, declination_deg, stops_from(study, coverage)))
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


def by_satellite(study: Study, looks: tuple[Look, ...]) -> Backhaul:
    """The dish's line, by the figures of `evaluate.judge_sky`."""
    sky = study.mission.sky
    clear = [look.clear for look in looks]
    known = [look for look in looks if math.isfinite(look.margin_deg)]
    best = max(known, key=lambda look: look.margin_deg, default=None)
    margin = best.margin_deg if best is not None else math.nan
    if any(clear) if sky.need == "any" else all(clear):
        shown = max((look for look in looks if look.clear), key=lambda look: look.margin_deg)
        text = f"{shown.satellite_name}, clear by {shown.margin_deg:.1f} deg"
        return Backhaul("geostationary", "works", text, margin, "deg")
    parts = []
    for look in looks:
        if not math.isfinite(look.margin_deg):
            parts.append(f"{look.satellite_name}: skyline not known")
        elif look.elevation_deg < sky.min_elevation_deg:
            parts.append(
                f"{look.satellite_name}: too low, {look.elevation_deg:.1f} deg up, {sky.min_elevation_deg:.1f} needed"
            )
        elif look.clear:
            parts.append(f"{look.satellite_name}: clear by {look.margin_deg:.1f} deg")
        else:
            parts.append(
                f"{look.satellite_name}: blocked, margin {look.margin_deg:.1f} deg, {sky.min_margin_deg:.1f} needed"
            )
    unknown = any(not math.isfinite(look.margin_deg) for look in looks)
    return Backhaul("geostationary", "unknown" if unknown else "fails", ", ".join(parts), margin, "deg")


def by_open_sky(study: Study, spot: Spot, cell: tuple[int, int]) -> Backhaul:
    """The share of the terminal's cone of sky that is clear; ground nobody knows gives a range."""
    want = study.mission.backhaul.open_sky
    share = sky_dome(study, spot, cell, want.terminal_height_m, want.min_elevation_deg)
    verdict: Verdict = (
        "works" if share.low >= want.min_clear_share else "fails" if share.high < want.min_clear_share else "unknown"
    )
    low, high = (_percent(v) for v in (share.low, share.high))
    clear = f"{low} % clear" if low == high else f"{low} to {high} % clear"
    text = f"{clear} above {want.min_elevation_deg:.0f} deg"
    if verdict != "works":
        text += f", {_percent(want.min_clear_share)} % needed"
        sector = share.worst if verdict == "fails" else share.unknown or share.worst
        if sector is not None:
            around = (
                "all round"
                if sector.to_deg - sector.from_deg >= 360
                else f"{round(sector.from_deg):03d} to {round(sector.to_deg):03d} deg true"
            )
            text += (
                f"; ground not known {around}"
                if sector is share.unknown
                else f"; worst {around}, ground up to {sector.highest_deg:.0f} deg"
            )
    return Backhaul("open_sky", verdict, text, share.low, "share", dome=share, min_elevation_deg=want.min_elevation_deg)


def _percent(share: float) -> str:
    """Whole percent, rounded down, so that 94.9 % never reads as the 95 % that is needed."""
    return f"{math.floor(100 * share + 1e-9):d}"


def sky_dome(study: Study, spot: Spot, cell: tuple[int, int], height_m: float, min_elevation_deg: float) -> DomeShare:
    """The cone of sky over a terminal at a spot; sectors are true bearings."""
    grid = study.elevation
    obstacles = None if study.obstacles is None else study.obstacles.values
    horizon, known_to = horizon_reach(
        grid.values,
        grid.cell_size_m,
        *cell,
        BEARINGS_DEG - grid.convergence_deg(spot.x, spot.y),
        height_m,
        obstacles_m=obstacles,
        known=study.blocks,
    )
    eye = float(grid.values[cell]) + height_m
    return dome_share(horizon, possible_horizon_deg(horizon, known_to, study.blocks.ceiling_m - eye), min_elevation_deg)


def by_donor(
    study: Study, spot: Spot, cell: tuple[int, int], declination_deg: float | None, stops_m: tuple[float, ...]
) -> Backhaul:
    """The best of the links to the nearest donor sites; each from the lowest of the rising mast stops where it works.

    A link that works at a lower stop goes before one that needs a higher mast.
    """
    link = study.mission.backhaul.donor_link
    nearest = sorted(study.donors, key=lambda d: (math.hypot(d.x - spot.x, d.y - spot.y), d.name))[:MOST_DONORS]
    if not nearest:
        return Backhaul(
            "donor_link", "fails", f"no donor site within {link.max_distance_m / 1000:g} km", math.nan, "dB"
        )
    paths = [lowest_path(study, spot, cell, donor, declination_deg, stops_m) for donor in nearest]
    paths.sort(key=_best_first)
    best = paths[0]
    return Backhaul("donor_link", best.verdict, best.reason, best.margin_db, "dB", donors=tuple(paths[:KEPT_DONORS]))


def lowest_path(
    study: Study,
    spot: Spot,
    cell: tuple[int, int],
    donor: Donor,
    declination_deg: float | None,
    stops_m: tuple[float, ...],
) -> DonorPath:
    """The path from the lowest mast stop at which it works; where it works at none, from the lowest one at which that
    is not known, else from the highest. The reason says which stop; an antenna of its own height has no stops.
    """
    if study.mission.backhaul.donor_link.antenna_height_m:
        stops_m = stops_m[-1:]
    tried: list[DonorPath] = []
    for stop in stops_m:
        tried.append(donor_path(study, spot, cell, donor, declination_deg, stop))
        if tried[-1].verdict == "works" or not _height_matters(tried[-1]):
            break
    best = min(tried, key=lambda p: (_ORDER[p.verdict], p.antenna_height_m * (-1 if p.verdict == "fails" else 1)))
    lower = tuple(p.antenna_height_m for p in tried if p.antenna_height_m < best.antenna_height_m)
    if not lower:
        return best
    at = f"at {best.antenna_height_m:g} m of mast, not at {lower[-1]:g} m"
    if best.verdict == "unknown":
        at = f"at {best.antenna_height_m:g} m of mast; {tried[0].reason} at {lower[0]:g} m"
    elif best.verdict == "fails":
        at = f"even at {best.antenna_height_m:g} m of mast"
    return replace(best, reason=f"{best.reason} ({at})", not_at_m=lower)


def _height_matters(path: DonorPath) -> bool:
    """Whether a higher mast could change the verdict: not where the donor is too far or too near, or off the map."""
    return math.isfinite(path.clearance_share)


def _best_first(path: DonorPath) -> tuple[int, float, float, float]:
    def known(value: float) -> float:
        return value if math.isfinite(value) else -1e9

    if path.verdict == "works":
        return 0, path.antenna_height_m, -known(path.margin_db), path.distance_m
    return _ORDER[path.verdict], -known(path.clearance_share), -known(path.margin_db), path.distance_m


def profile_to(study: Study, spot: Spot, cell: tuple[int, int], donor: Donor) -> tuple[np.ndarray, np.ndarray]:
    """Shares 0..1 of the way and what stands there in metres, about half a cell apart; the ends are bare ground.

    Samples lie on the straight line of the map; over 30 km it keeps within a metre or two of the shortest way
    (UTM's arc to chord). NaN where the ground is unknown.
    """
    grid = study.elevation
    count = max(3, math.ceil(2 * math.hypot(donor.x - spot.x, donor.y - spot.y) / grid.cell_size_m) + 1)
    share = np.linspace(0.0, 1.0, count)
    x, y = spot.x + share * (donor.x - spot.x), spot.y + share * (donor.y - spot.y)
    ground = grid.sample(x, y)
    heights = ground
    if study.obstacles is not None:
        heights = np.maximum(ground, study.obstacles.sample(x, y))
        heights[-1] = ground[-1]
    heights[0] = float(grid.values[cell])  # as the dish and the mast: on the cell that the spot stands in
    return share, heights


def donor_path(
    study: Study,
    spot: Spot,
    cell: tuple[int, int],
    donor: Donor,
    declination_deg: float | None,
    mast_m: float,
) -> DonorPath:
    """One path: distance and bearing on the ellipsoid, clearance over the profile, received level."""
    from pyproj import Geod

    link = study.mission.backhaul.donor_link
    antenna = link.antenna_height_m or mast_m
    bearing, _, distance = Geod(ellps="WGS84").inv(spot.longitude, spot.latitude, donor.longitude, donor.latitude)
    nan = math.nan
    share_, at, room, unknown_from, loss, level, up = nan, nan, nan, nan, nan, nan, nan
    complete = False
    if study.elevation.cell_size_m < distance <= link.max_distance_m:
        share, heights = profile_to(study, spot, cell, donor)
        along = share * distance
        found = clearance(along, heights, antenna, donor.height_m, donor.frequency_mhz, link.k_factor)
        share_, at, room, unknown_from = found.share, found.at_m, found.clearance_m, found.unknown_from_m
        complete = found.complete
        up = elevation_angle_deg(
            distance, float(heights[0]) + antenna, float(heights[-1]) + donor.height_m, link.k_factor
        )
        if complete:
            loss = basic_loss_db(along, heights, antenna, donor.height_m, donor.frequency_mhz, link.k_factor)
            level = link.tx_power_dbm + link.antenna_gain_dbi + link.donor_gain_dbi - link.losses_db - loss
    margin = level - link.min_level_dbm - link.fade_margin_db
    verdict, reason = _verdict(study, donor, distance, bearing % 360, share_, at, complete, unknown_from, margin)
    return DonorPath(
        name=donor.name,
        latitude=donor.latitude,
        longitude=donor.longitude,
        verdict=verdict,
        reason=reason,
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
    )


def _verdict(
    study: Study,
    donor: Donor,
    distance_m: float,
    bearing_deg: float,
    share: float,
    at_m: float,
    complete: bool,
    unknown_from_m: float,
    margin_db: float,
) -> tuple[Verdict, str]:
    """What known ground forbids is forbidden whatever is unknown; what it allows needs all of it known."""
    link = study.mission.backhaul.donor_link
    if distance_m > link.max_distance_m:
        return "fails", f"too far, {_km(distance_m)} away, the limit is {_km(link.max_distance_m)}"
    if distance_m <= study.elevation.cell_size_m:
        return "unknown", "it stands in the spot's own cell, finer than the elevation tells"
    if share < 0:
        return "fails", f"blocked at {_km(at_m)}"
    if share < link.min_clearance:
        return "fails", (
            f"too near the ground at {_km(at_m)}, {share:.2f} of the first Fresnel radius is clear, "
            f"{link.min_clearance:.2f} needed"
        )
    if not complete:
        if not math.isfinite(study.elevation.sample(donor.x, donor.y)):
            return "unknown", "the donor stands outside the known elevation"
        return "unknown", f"the ground is not known from {_km(unknown_from_m)} on"
    if margin_db < 0:
        return "fails", f"{-margin_db:.0f} dB too weak over {_km(distance_m)}"
    return (
        "works",
        f"clear over {_km(distance_m)} at {round(bearing_deg) % 360:03d} deg true, {margin_db:.0f} dB to spare",
    )


def _km(distance_m: float) -> str:
    """`0.35 km`, `3.2 km`, `18 km`."""
    km = distance_m / 1000
    return f"{km:.2f} km" if km < 0.995 else f"{km:.1f} km" if km < 99.95 else f"{km:.0f} km"


def clause(backhaul: Backhaul) -> str:
    """`satellite slot 103 W, clear by 8.4 deg`, `donor link to Ridge tower: blocked at 3.2 km`, for one backhaul."""
    if backhaul.kind == "geostationary":
        return f"satellite {backhaul.reason}"
    if backhaul.kind == "open_sky":
        return f"open sky {backhaul.reason}"
    if not backhaul.donors:
        return f"donor link: {backhaul.reason}"
    return f"donor link to {backhaul.donors[0].name}: {backhaul.reason}"


def backhaul_sentence(evaluation: Evaluation) -> str:
    """`Backhaul: satellite slot 103 W, clear by 8.4 deg; donor link to Ridge tower: blocked at 3.2 km.`"""
    if not evaluation.backhauls:
        return ""
    used = evaluation.backhaul
    rest = [clause(b) for b in evaluation.backhauls if b is not used]
    first = clause(used) if used is not None else "none is known to work"
    return f"Backhaul: {'; '.join([first, *rest])}."


def broken_backhaul(backhauls: tuple[Backhaul, ...]) -> list[tuple[str, str]]:
    """The limit where none works, as one sentence; empty where one does."""
    if any(b.verdict == "works" for b in backhauls):
        return []
    if all(b.verdict == "fails" for b in backhauls):
        return [("no_backhaul", f"No backhaul works here: {'; '.join(clause(b) for b in backhauls)}.")]
    return [("no_backhaul", f"No backhaul is known to work here: {'; '.join(clause(b) for b in backhauls)}.")]


def backhaul_findings(study: Study, backhauls: tuple[Backhaul, ...]) -> list[Finding]:
    """A less preferred backhaul in use is said, and what nobody checked about it."""
    used = next((b for b in backhauls if b.verdict == "works"), None)
    if used is None:
        return []
    out = []
    passed_over = backhauls[: backhauls.index(used)]
    if passed_over:
        out.append(
            Finding(
                "backhaul_not_first_choice",
                "warning",
                f"The backhaul here is the {_used_words(used)}, not the preferred one: "
                f"{'; '.join(clause(b) for b in passed_over)}.",
                "The unit must carry what this backhaul needs.",
            )
        )
    if used.kind == "donor_link":
        out += _higher_mast(used.donors[0])
        out.append(
            Finding(
                "donor_agreement",
                "caution",
                f"The link to {used.donors[0].name} was worked out from places and heights: the donor's radio, "
                "licence, free capacity and power are not checked.",
                "Its owner has to agree before the unit leaves.",
            )
        )
    if used.kind == "open_sky" and study.obstacles is None:
        out.append(
            Finding(
                "open_sky_bare_ground",
                "caution",
                f"The open sky of {_percent(used.margin)} % counts bare ground only: trees and roofs are not in the "
                "data.",
                "Look all round on arrival: nothing may stand in the terminal's cone.",
            )
        )
    return out


def _higher_mast(path: DonorPath) -> list[Finding]:
    """Where the link, not the coverage, sets the mast."""
    if not path.not_at_m:
        return []
    return [
        Finding(
            "mast_raised_for_link",
            "note",
            f"The link to {path.name} works with the mast at {path.antenna_height_m:g} m, not at "
            f"{path.not_at_m[-1]:g} m. For coverage alone {path.not_at_m[0]:g} m would be enough.",
            "Raise the mast to the stop that the sheet names; the predicted service is that of this stop.",
        )
    ]


def _used_words(used: Backhaul) -> str:
    if used.kind == "donor_link":
        return f"donor link to {used.donors[0].name}"
    return {"geostationary": "geostationary satellite", "open_sky": "open-sky terminal"}[used.kind]
