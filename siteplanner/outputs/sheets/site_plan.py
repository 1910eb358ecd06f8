"""The drawing of the spot itself for the crew, true north up."""

from __future__ import annotations

import math
from typing import Any

import shapely
from shapely.affinity import rotate

from siteplanner.outputs.sheets.sheet_maps import View, furniture, path, svg
from siteplanner.outputs.sheets.site_marks import (
    LAMPS_M,
    LETTER_MM,
    SIDES,
    Labels,
    arrow,
    exhaust_mark,
    guy_bearings,
    guy_marks,
    lamp_bearings,
    lamp_mark,
    tow_vehicle_mark,
    toward,
    trailer_drawing,
)
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.keep_away import reached_from_ground
from siteplanner.planning.limits.overhead_lines import line_zones
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.timeline import Timeline
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.telling.aiming import true_label
from siteplanner.planning.telling.keep_clear import EXHAUST_M, antenna_label, exhaust_label, fall_label, guy_label
from siteplanner.planning.telling.map_labels import wifi_beyond_label, wifi_label
from siteplanner.planning.telling.units import Units, reader_units

SIDE_MM = 76.0
LEAST_HALF_M = 28.0
TOW_OUTSIDE_M = 4.0  # from the mast's fall circle to the middle of the tow vehicle


def site_svg(plan: Plan, ranked: RankedSpot, fall_m: float, radio_m: float | None, units: Units | None = None) -> str:
    """Trailer, outriggers, heading, tow vehicle, mast fall circle, guy anchors, exhaust, lamps, dish and sectors, reach
    of the Wi-Fi, roads and lines with what is kept from them; true north up.

    `radio_m`: what the public keeps from the front of the antennas; told where somebody can stand that near.
    """
    spot, mission = ranked.spot, plan.mission
    units = units or reader_units(mission)
    trailer, heading = mission.trailer, ranked.evaluation.ground.heading_deg
    half = max(LEAST_HALF_M, 1.55 * fall_m)
    view = View(spot.x - half, spot.y + half, 2 * half / SIDE_MM, SIDE_MM, SIDE_MM)
    per_mm = view.metres_per_mm
    turn = plan.scene.elevation.convergence_deg(spot.x, spot.y)

    def true_up(geometry: Any) -> Any:
        return rotate(geometry, -turn, origin=(spot.x, spot.y))

    body = _ground(plan, ranked, view, half, true_up)
    cx = cy = SIDE_MM / 2
    circle = fall_m / per_mm
    aims = _aims(ranked)
    reach = circle + 4
    # the scale bar and the north arrow have their places
    labels = Labels(SIDE_MM, [(0.0, SIDE_MM - 8.0, 24.0, SIDE_MM), (SIDE_MM - 11.0, 0.0, SIDE_MM, 17.0)])
    for bearing, _, _ in aims:
        labels.keep_free(*toward(cx, cy, bearing, reach), 1.6)
        labels.keep_line_free(toward(cx, cy, bearing, 0.44 * circle), toward(cx, cy, bearing, reach))
    body += (
        f'<circle cx="{cx}" cy="{cy}" r="{circle:.2f}" fill="none" stroke="#000" stroke-width="0.4" '
        'stroke-dasharray="2 1.2"/>'
    )
    taken = [bearing for bearing, _, _ in aims]
    words: list[tuple[float, float, str]] = []
    for bearing, what, width in aims:
        body += arrow(cx, cy, bearing, circle * 0.98, reach, width)
        east, north = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
        words.append(
            (cx + (reach + 2.5) * east, cy - (reach + 3.0) * north + 0.8, true_label(what, bearing, units.first))
        )
    if math.isfinite(heading):
        side = trailer.exhaust_side
        body += exhaust_mark(cx, cy, heading, side, trailer, EXHAUST_M, per_mm)
        if mission.guys:
            guys = guy_bearings(heading, mission.guys)
            body += guy_marks(cx, cy, guys, trailer.guy_anchors_m / per_mm)
            for bearing in guys:
                labels.keep_free(*toward(cx, cy, bearing, trailer.guy_anchors_m / per_mm), 1.2)
        body += trailer_drawing(cx, cy, heading, trailer, per_mm)
        labels.keep_free(cx, cy, trailer.length_m / 2 / per_mm)
        nose = trailer.length_m / 2 / per_mm + 5.0
        x, y = toward(cx, cy, heading, nose)
        words.insert(0, (x, y + 0.8, true_label("tongue", heading, units.first)))
        taken = [*taken, heading]
    way_out = _way_out(ranked, true_up)
    if way_out is not None:
        x, y = toward(cx, cy, way_out, (fall_m + TOW_OUTSIDE_M) / per_mm)
        body += tow_vehicle_mark(
            x, y, way_out, max(2.0, mission.rig.length_m - trailer.length_m) / per_mm, 2.4 / per_mm
        )
        labels.keep_free(x, y, 3.0)
        taken = [*taken, way_out]
    if lamps_wanted(ranked.on_site.timeline):
        for bearing in lamp_bearings(taken):
            x, y = toward(cx, cy, bearing, LAMPS_M / per_mm)
            body += lamp_mark(x, y)
            labels.keep_free(x, y, 1.7)
            taken = [*taken, bearing]
    body += _wifi(labels, plan, ranked, per_mm, units)
    for x, y, text in words:
        body += labels.put(x, y, text)
    body += _circle_labels(labels, plan, ranked, fall_m, radio_m, taken, per_mm, units)
    return svg(view, body + furniture(view, 0.0, units))


def _wifi(labels: Labels, plan: Plan, ranked: RankedSpot, per_mm: float, units: Units) -> str:
    """The reach of the second radio, if on: a ring, or a word on one that is wider than the drawing."""
    carries, middle = capacity_of(ranked.evaluation, plan.mission), SIDE_MM / 2
    if carries.wifi_radius_m is None:
        return ""
    radius = carries.wifi_radius_m / per_mm
    if radius > middle - LETTER_MM:
        return labels.put(middle, SIDE_MM - LETTER_MM, wifi_beyond_label(carries, units.first))
    return (
        f'<circle class="wifi" cx="{middle}" cy="{middle}" r="{radius:.2f}" fill="none" stroke="#000" '
        'stroke-width="0.3" stroke-dasharray="4 1.5"/>'
    ) + labels.put(middle, middle + radius, wifi_label(carries, units.first))


# what is in the drawing, by what draws it, and how its marks are told
MARKS = (
    ('stroke-dasharray="2 1.2"', "dashed circle mast fall"),
    ('class="guy', "dotted circle and squares guy anchors"),
    ('class="exhaust', "dots exhaust"),
    ('class="tow"', "T tow vehicle"),
    ('class="lamp"', "L lamps"),
    ('stroke="#eee"', "gray band road"),
    ('stroke-dasharray="1.4 1"', "short dashes last leg"),
    ('stroke-dasharray="3 1 0.6 1"', "dash-dot overhead line"),
    ('stroke-dasharray="1.4 0.8 0.3 0.8"', "fine dash-dot what is kept from it"),
    ("url(#danger)", "hatched hazard"),
    ("url(#keepout)", "dotted keep-out"),
    ('fill="#ddd"', "light gray water"),
    ('stroke-dasharray="0.4 0.8"', "dotted rim soft ground"),
    ('fill="#444"', "dark structures"),
)


def site_key(drawn: str) -> str:
    """The marks of a drawing made by `site_svg`, of those that are in it."""
    return f"Drawing: {'; '.join(words for mark, words in MARKS if mark in drawn)}."


def lamps_wanted(timeline: Timeline | None) -> bool:
    """Whether it may be dark while the crew works: always where nobody knows the hour."""
    if timeline is None or timeline.light is None:
        return True
    return {*timeline.light.arrival, *timeline.light.first_service} != {"day"}


def _aims(ranked: RankedSpot) -> list[tuple[float, str, float]]:
    """(bearing, what, width of its arrow) of dish, link and sectors."""
    e = ranked.evaluation
    aims: list[tuple[float, str, float]] = []
    if e.look is not None and e.aimed and e.dish_used:
        aims.append((e.look.azimuth_deg, "dish", 1.0))
    if e.donor is not None:
        aims.append((e.donor.bearing_deg, "link", 1.0))
    aims += [(b, f"sector {n}", 0.5) for n, b in enumerate(e.coverage.sector_bearings_deg if e.coverage else (), 1)]
    return aims


def _way_out(ranked: RankedSpot, true_up: Any) -> float | None:
    """Bearing from the spot along the last leg, toward the road; None without one."""
    access = ranked.evaluation.access
    if access is None:
        return None
    places = list(shapely.get_coordinates(true_up(access.last_leg)))
    far = max(places, key=lambda p: math.hypot(p[0] - ranked.spot.x, p[1] - ranked.spot.y))
    east, north = far[0] - ranked.spot.x, far[1] - ranked.spot.y
    return None if math.hypot(east, north) < 1 else math.degrees(math.atan2(east, north)) % 360


def _circle_labels(
    labels: Labels,
    plan: Plan,
    ranked: RankedSpot,
    fall_m: float,
    radio_m: float | None,
    taken: list[float],
    per_mm: float,
    units: Units,
) -> str:
    """The circles' words, each on its circle where nothing else goes."""
    mission, out = plan.mission, ""
    cx = cy = SIDE_MM / 2
    rings: list[tuple[float, str]] = []
    exhaust, heading = mission.trailer.exhaust_side, ranked.evaluation.ground.heading_deg
    if exhaust is not None and math.isfinite(heading):
        x, y = toward(cx, cy, heading + SIDES[exhaust], (EXHAUST_M + mission.trailer.width_m / 2) / per_mm)
        out += labels.put(x, y, exhaust_label(True, units.first))
    else:
        rings.append((EXHAUST_M + mission.trailer.length_m / 2, exhaust_label(False, units.first)))
    rings.append((fall_m, fall_label(fall_m, units.first)))
    if mission.guys:
        far = mission.trailer.guy_anchors_m
        rings.append((far, guy_label(mission.guys, far, units.first)))
    held = list(taken)
    for radius_m, text in rings:
        free = max(range(0, 360, 15), key=lambda b: min([abs((b - t + 180) % 360 - 180) for t in held], default=180))
        x, y = toward(cx, cy, free, radius_m / per_mm)
        out += labels.put(x, y, text)
        held.append(free)
    e = ranked.evaluation
    stop = e.coverage.mast_height_m if e.coverage else min(mission.trailer.mast_stops_m)
    if radio_m is not None and math.isfinite(radio_m) and reached_from_ground(stop, radio_m):
        out += labels.put(cx - 6, 3.4, antenna_label(radio_m, units.first))
    return out


def _ground(plan: Plan, ranked: RankedSpot, view: View, half: float, true_up: Any) -> str:
    """Roads, areas, lines with what is kept from them, and the last leg."""
    spot, body = ranked.spot, ""
    roads = plan.scene.roads
    window = shapely.box(spot.x - 2 * half, spot.y - 2 * half, spot.x + 2 * half, spot.y + 2 * half)
    for i in roads.lines_tree.query(window):
        if roads.tags.for_vehicles[i]:
            line = true_up(roads.geometry.line[i])
            body += path(line, view, f'fill="none" stroke="#999" stroke-width="{5 / view.metres_per_mm:.2f}"')
            body += path(line, view, f'fill="none" stroke="#eee" stroke-width="{4.2 / view.metres_per_mm:.2f}"')
    for role, style in (
        ("water", 'fill="#ddd" stroke="#555" stroke-width="0.4"'),
        ("soft_ground", 'fill="none" stroke="#555" stroke-width="0.4" stroke-dasharray="0.4 0.8"'),
        ("structures", 'fill="#444" stroke="#000" stroke-width="0.5"'),
        ("keep_out", 'fill="url(#keepout)" stroke="#000" stroke-width="0.25"'),
        ("hazards", 'fill="url(#danger)" stroke="#000" stroke-width="0.4"'),
        ("power_lines", 'fill="none" stroke="#000" stroke-width="0.6" stroke-dasharray="3 1 0.6 1"'),
    ):
        frame = plan.scene.overlays.get(role)
        for geometry in () if frame is None else frame.geometry:
            body += path(true_up(geometry), view, style)
    lines = plan.scene.overlays.get("power_lines")
    if lines is not None:
        near = lines[lines.geometry.distance(shapely.Point(spot.x, spot.y)) < 40 * half]
        for zone in line_zones(near, plan.mission):
            if zone.boundary.intersects(window):
                style = 'fill="none" stroke="#000" stroke-width="0.3" stroke-dasharray="1.4 0.8 0.3 0.8"'
                body += path(true_up(zone.boundary), view, style)
    access = ranked.evaluation.access
    if access is not None:
        style = 'fill="none" stroke="#444" stroke-width="0.6" stroke-dasharray="1.4 1"'
        body += path(true_up(access.last_leg), view, style)
    return body
