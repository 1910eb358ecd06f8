"""Where a spot's antennas and dish point, its donor links, and the circles that it needs or serves, as features."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from siteplanner.outputs.map.shapes import BEARINGS_FROM, ROOM_FROM, WIFI_FROM, Feature, feature, from_zoom, point
from siteplanner.outputs.words.text import sentence, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.aiming import both_bearings, look_tip
from siteplanner.planning.telling.backhaul_rows import donor_tip
from siteplanner.planning.telling.keep_clear import guy_label
from siteplanner.planning.telling.map_labels import dish_label, sector_label, wifi_label
from siteplanner.planning.telling.units import Units, reader_units

SECTOR_LENGTH_M = 1500.0  # how far wedges are drawn; says nothing about range


def _ray(evaluation: Evaluation, bearings_deg: Iterable[float], length_m: float) -> list[list[float]]:
    """Ends of lines from the spot along true bearings, as longitude and latitude (geodesics on WGS 84)."""
    from pyproj import Geod

    bearings = list(bearings_deg)
    spot, n = evaluation.spot, len(bearings)
    lon, lat, _ = Geod(ellps="WGS84").fwd([spot.longitude] * n, [spot.latitude] * n, bearings, [length_m] * n)
    return [[round(a, 6), round(b, 6)] for a, b in zip(lon, lat, strict=True)]


def aim_shapes(ranked: RankedSpot, plan: Plan) -> list[Feature]:
    """Sector bearings as wedges one beamwidth wide with a middle line, the dish's azimuths, and donor links."""
    units = reader_units(plan.mission)
    evaluation = ranked.evaluation
    start = [round(ranked.spot.longitude, 6), round(ranked.spot.latitude, 6)]
    out = []
    width = min(plan.mission.radio.beamwidth_deg, 360.0)
    bearings = evaluation.coverage.sector_bearings_deg if evaluation.coverage else ()
    for number, bearing in enumerate(bearings, 1):
        words = shown(f"Sector {number}: {both_bearings(bearing, evaluation, units.first)}")
        steps = np.linspace(bearing - width / 2, bearing + width / 2, max(2, int(width / 4)))
        rim = _ray(evaluation, steps, SECTOR_LENGTH_M)
        out.append(
            feature(
                f"sector:{ranked.rank}:{number}",
                {"type": "Polygon", "coordinates": [[start, *rim, start]]},
                "sector",
                t=words,
            )
        )
        end = _ray(evaluation, [bearing], 1.12 * SECTOR_LENGTH_M)[0]
        out.append(
            feature(
                f"bearing:{ranked.rank}:{number}",
                {"type": "LineString", "coordinates": [start, end]},
                "bearing",
                t=words,
            )
        )
        out.append(
            feature(
                f"bearing_label:{ranked.rank}:{number}",
                {"type": "Point", "coordinates": end},
                "label",
                i=f'<span class="sp-label"{from_zoom(BEARINGS_FROM)}>{shown(sector_label(number, bearing))}</span>',
                t=words,
            )
        )
    for number, look in enumerate(evaluation.sky if evaluation.dish_wanted else (), 1):
        reach = (0.45 + 0.2 * number) * SECTOR_LENGTH_M  # satellites lie close together: labels must not
        end = _ray(evaluation, [look.azimuth_deg], reach)[0]
        words = sentence(look_tip(look, evaluation, units.first), [look.satellite_name])
        line = {"type": "LineString", "coordinates": [start, end]}
        out.append(feature(f"dish:{ranked.rank}:{number}", line, "dish" if look.clear else "dish_blocked", t=words))
        if look.clear:
            label = f'<span class="sp-label"{from_zoom(BEARINGS_FROM)}>{shown(dish_label(look.azimuth_deg))}</span>'
            out.append(
                feature(
                    f"dish_label:{ranked.rank}:{number}",
                    {"type": "Point", "coordinates": end},
                    "label",
                    i=label,
                    t=words,
                )
            )
    return out + link_shapes(ranked, units) + rings(ranked, plan)


def rings(ranked: RankedSpot, plan: Plan) -> list[Feature]:
    """Circles about the spot: the anchors of the guys, where the mast has them, and the reach of the Wi-Fi, if on."""
    mission, units = plan.mission, reader_units(plan.mission).first
    carries = capacity_of(ranked.evaluation, mission)
    far = mission.trailer.guy_anchors_m if mission.guys else 0.0
    found = [("guys", far, guy_label(mission.guys, far, units), ROOM_FROM)] if far else []
    if carries.wifi_radius_m:
        found.append(("wifi", carries.wifi_radius_m, wifi_label(carries, units), WIFI_FROM))
    out = []
    for name, radius_m, words, near in found:
        line = _ray(ranked.evaluation, np.linspace(0, 360, 49), radius_m)
        shape = {"type": "LineString", "coordinates": line}
        out.append(feature(f"{name}:{ranked.rank}", shape, "ring", t=shown(words)))
        label = f'<span class="sp-label"{from_zoom(near)}>{shown(words)}</span>'
        out.append(feature(f"{name}_label:{ranked.rank}", point(*line[0]), "label", i=label, t=shown(words)))
    return out


def link_shapes(ranked: RankedSpot, units: Units) -> list[Feature]:
    """Lines from the spot to the donor sites it was judged for, with the reason; where one is too near the ground, a
    mark at the place."""
    evaluation = ranked.evaluation
    start = [round(ranked.spot.longitude, 6), round(ranked.spot.latitude, 6)]
    out = []
    for number, path in enumerate((d for b in evaluation.backhauls for d in b.donors), 1):
        end = [round(path.longitude, 6), round(path.latitude, 6)]
        words = sentence(donor_tip(path, evaluation, units), [path.name])
        works = path.verdict == "works"
        line = {"type": "LineString", "coordinates": [start, end]}
        out.append(feature(f"link:{ranked.rank}:{number}", line, "link" if works else "link_blocked", t=words))
        if path.verdict == "fails" and path.tightest_at_m == path.tightest_at_m:
            place = _ray(evaluation, [path.bearing_deg], path.tightest_at_m)[0]
            out.append(
                feature(
                    f"link_block:{ranked.rank}:{number}",
                    point(*place),
                    "label",
                    i=f'<span class="sp-label">{shown("×")}</span>',
                    t=words,
                )
            )
    return out
