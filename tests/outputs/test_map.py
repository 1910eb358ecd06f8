from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image
from pyproj import Geod

from siteplanner.outputs.map import aim_shapes as map_aim
from siteplanner.outputs.map import legend as map_key
from siteplanner.outputs.map import map as planmap
from siteplanner.outputs.map import opening, panel
from siteplanner.outputs.map import shapes as map_shapes
from siteplanner.outputs.map.page import file_text
from siteplanner.outputs.map.road_shapes import road_shapes
from siteplanner.outputs.map.styles import legend_lines
from siteplanner.outputs.pictures import layers as map_pictures
from siteplanner.outputs.words import map_legend
from siteplanner.outputs.words.text import percent_text
from siteplanner.planning.choose.options import Option, Trigger
from siteplanner.planning.choose.price import Price
from siteplanner.planning.choose.sets import TrailerAt, TrailerSet
from siteplanner.planning.limits.ruling import BITS, LIMITS, OUTSIDE
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.answer import worst_words
from siteplanner.planning.telling.units import BOTH
from tests.outputs.factory import make_plan


class _Words(HTMLParser):
    """Text of each table cell of a fragment, row by row."""

    def __init__(self, fragment: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.feed(fragment)

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        elif tag in {"td", "th"}:
            self.rows[-1].append("")

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


@pytest.fixture(scope="module")
def html(plan: Plan) -> str:
    return planmap.map_html(plan)


def test_the_page_is_one_file_without_links(html):
    assert html.startswith("<!DOCTYPE html>")
    assert not re.search(r"<(script|link|img|iframe)[^>]+(src|href)\s*=", html)
    assert "default-src 'none'" in html
    assert len(html) < 2_000_000


def test_the_map_makes_the_same_page_twice_but_for_names(plan, html):
    def still(text: str) -> str:
        return re.sub(r"[0-9a-f]{32}|nonce-[\w-]+|nonce=\"[\w-]+\"", "", text)

    assert still(planmap.map_html(plan)) == still(html)


def test_points_shown_add_up_to_the_score_shown(plan):
    for ranked in plan.spots:
        rows = _Words(panel.score_table(ranked, BOTH)).rows
        points = [round(10 * float(row[-1])) for row in rows[1:-1]]
        assert len(points) == len(ranked.criteria)
        assert sum(points) == round(10 * float(rows[-1][-1]))
        assert rows[-1][-1] == panel.score_text(ranked.criteria)
        assert abs(float(rows[-1][-1]) - ranked.score) <= 0.05 + 1e-9


def test_the_headline_says_what_to_do_and_defers_to_local_codes(plan):
    words = re.sub("<[^>]+>", "", panel.headline_html(plan))
    assert words.index("Park at spot A") < words.index("Check.")
    assert "local codes" in words
    assert "close call" in words
    assert re.search(r"sectors at 035.{1,8} true", words)


def test_the_legend_gives_each_limit_its_share(plan):
    legend = map_key.legend_html(plan)
    for ruling in plan.rulings:
        assert ruling.label.replace("'", "&#39;") in legend
        assert percent_text(ruling.share).replace("%", "&#37;") in legend
    assert len(set(re.findall(r"--c:(#\w{6})", legend))) >= len(plan.rulings) + 1


def test_popup_tells_sky_drive_coverage_and_findings(plan):
    popup = re.sub("<[^>]+>", " ", panel.spot_popup(plan.spots[0], BOTH))
    for words in (
        "satellite at 103&#176; W",
        "176&#176;",
        "168&#176;",
        "not clear",
        "Must-serve",
        "Way in from staging",
        "Way out of the area",
        "A tree about 18 m tall",
        "35&#176; true (027&#176; magnetic)",
        "climb",
        "On air",
        "Not known from the road data",
    ):
        assert words in popup, words


def test_magnetic_is_said_to_be_unknown_when_it_is(plan):
    best = plan.spots[0].evaluation
    blind = replace(best, sky=tuple(replace(look, azimuth_magnetic_deg=None) for look in best.sky))
    popup = panel.spot_popup(replace(plan.spots[0], evaluation=blind), BOTH)
    assert "magnetic not known" in popup


def test_layers_are_switched_in_plain_words(plan):
    control = next(c for c in planmap.build_map(plan)._children.values() if c._name == "LayerControl")
    control._parent.get_root().render()
    names = list(control.overlays)
    assert names == [
        "Slope",
        "Sky margin",
        "Ruled out",
        "License area",
        "Parcels",
        "Water",
        "Soft ground",
        "Hazard areas",
        "Keep-out areas",
        "Structures",
        "Roads and what the rig can use",
        "Road closures",
        "Incident area",
        "Overhead lines",
        "Landing zones",
        "Known cells",
        "Donor sites",
        "Must-serve points",
        "Staging point",
        "Spots",
    ]  # what belongs to one spot follows the list, not this control


def test_sector_lines_point_along_true_bearings(plan):
    geod = Geod(ellps="WGS84")
    for ranked in plan.spots:
        shapes = {f["id"]: f for f in map_aim.aim_shapes(ranked, plan)}
        for number, bearing in enumerate(ranked.evaluation.coverage.sector_bearings_deg, 1):
            start, end = shapes[f"bearing:{ranked.rank}:{number}"]["geometry"]["coordinates"]
            azimuth, _, _ = geod.inv(*start, *end)
            assert azimuth % 360 == pytest.approx(bearing, abs=0.02)  # degrees; 1e-6 deg of rounding at 1.7 km
            wedge = shapes[f"sector:{ranked.rank}:{number}"]["geometry"]["coordinates"][0]
            edges = [geod.inv(*start, *corner)[0] for corner in (wedge[1], wedge[-2])]
            assert (edges[1] - edges[0]) % 360 == pytest.approx(plan.mission.radio.beamwidth_deg, abs=0.05)


def test_routes_on_the_map_lie_where_the_plan_has_them(plan):
    grid = plan.scene.elevation
    for ranked in plan.spots:
        shapes = {f["id"]: f for f in map_shapes.drive_shapes(ranked, plan)}
        line = shapes[f"drive:{ranked.rank}"]["geometry"]["coordinates"]
        x, y = grid.from_lonlat(*line[-1])
        end = ranked.evaluation.access.route.line.coords[-1]
        assert np.hypot(x - end[0], y - end[1]) < 0.2  # metres
        leg = shapes[f"leg:{ranked.rank}"]["geometry"]["coordinates"]
        x, y = grid.from_lonlat(*leg[-1])
        assert np.hypot(x - ranked.spot.x, y - ranked.spot.y) < 0.2


def test_roads_say_why_they_are_out_and_what_is_not_stated(plan):
    shapes = road_shapes(plan)
    kinds = {f["properties"]["k"]: f["properties"].get("t", "") for f in shapes}
    assert set(kinds) == {"open", "unsure", "shut", "shut_gap"}
    # a road not for the rig is drawn in two colours: its gaps lie over it, line for line
    lines = {k: [f["geometry"] for f in shapes if f["properties"]["k"] == k] for k in ("shut", "shut_gap")}
    assert lines["shut"] == lines["shut_gap"]
    assert "height limit 3 m is below the rig&#39;s 3.2 m" in kinds["shut"]
    assert "not stated" in kinds["unsure"]
    assert "weight limit" in kinds["unsure"]


def test_every_feature_has_its_own_id(plan):
    ids = [f["id"] for r in plan.spots for f in (*map_aim.aim_shapes(r, plan), *map_shapes.drive_shapes(r, plan))]
    ids += [f["id"] for f in (*map_shapes.spot_marks(plan), *road_shapes(plan), *map_shapes.must_serve_marks(plan))]
    assert len(ids) == len(set(ids))
    assert {"spot:1", "spot:6", "rejected:1", "road:0"} <= set(ids)


def test_a_cell_has_the_colour_of_its_first_limit(plan):
    classes, rulings = map_pictures.main_limit(plan)
    order = {code: n for n, code in enumerate(LIMITS)}
    values = plan.scene.ruling.values
    for row, col in ((110, 70), (160, 160), (110, 120), (0, 0), (30, 100), (100, 118)):
        value, found = int(values[row, col]), int(classes.values[row, col])
        hit = sorted((c for c, bit in BITS.items() if value & bit and value != OUTSIDE), key=order.__getitem__)
        meant = 0 if value == OUTSIDE else 1 if value == 0 else 2 + [r.code for r in rulings].index(hit[0])
        assert found == meant


def test_a_limit_without_a_name_never_looks_as_if_the_ground_passed(plan):
    bare = replace(plan, rulings=plan.rulings[:1])
    classes, _ = map_pictures.main_limit(bare)
    assert set(np.unique(classes.values[(plan.scene.ruling.values & (OUTSIDE - 1 - BITS["steep"])) != 0])) <= {0, 2, 3}
    passing = classes.values == 1
    assert (plan.scene.ruling.values[passing] == 0).all()


def test_the_readable_ruling_reads_back(plan):
    content, ((south, west), (north, east)) = map_pictures.readable_ruling(plan)
    pixels = np.asarray(Image.open(io.BytesIO(content))).astype(int)
    values = pixels[..., 0] + 256 * pixels[..., 1]
    assert values[0, 0] == OUTSIDE
    grid = plan.scene.ruling
    meant = np.unique(grid.values)
    assert set(np.unique(values)) <= set(meant.tolist())
    # the middle of the large hazard block, by the page's own arithmetic
    lon, lat = grid.lonlat(*grid.xy(115, 75))

    def mercator(latitude):
        return np.log(np.tan(np.pi / 4 + np.radians(latitude) / 2))

    col = int((lon - west) / (east - west) * pixels.shape[1])
    row = int((mercator(north) - mercator(lat)) / (mercator(north) - mercator(south)) * pixels.shape[0])
    assert values[row, col] == grid.values[115, 75]
    assert values[row, col] & BITS["hazard"]


@pytest.mark.parametrize("step", [1, 3])
def test_area_cells_are_put_where_they_stand(plan, step):
    scene = plan.scene
    rows, cols = scene.area_rows, scene.area_cols
    keep = (rows % step == step // 2) & (cols % step == step // 2)
    coarse = replace(plan, scene=replace(scene, area_rows=rows[keep], area_cols=cols[keep], area_step=step))
    values = np.arange(keep.sum(), dtype=float)
    grid = map_pictures.area_values(coarse, values)
    x, y = scene.elevation.xy(rows[keep], cols[keep])
    r, c = grid.rowcol(x, y)
    assert r == pytest.approx(np.round(r), abs=1e-6)  # each coarse cell is centred on its sample
    assert grid.values[np.round(r).astype(int), np.round(c).astype(int)] == pytest.approx(values)
    assert np.isfinite(grid.values).sum() == keep.sum()


def test_service_below_half_is_clear_and_classes_match_the_legend(plan):
    content, _ = map_pictures.service_picture(plan.spots[0], plan)
    colours = {tuple(c) for c in np.asarray(Image.open(io.BytesIO(content)).convert("RGBA")).reshape(-1, 4).tolist()}
    solid = {f"#{r:02X}{g:02X}{b:02X}" for r, g, b, a in colours if a}
    assert solid == {colour for _, colour, _ in map_pictures.SERVICE_CLASSES}


def _solid(content: bytes) -> set[str]:
    colours = np.unique(np.asarray(Image.open(io.BytesIO(content)).convert("RGBA")).reshape(-1, 4), axis=0).tolist()
    return {f"#{r:02X}{g:02X}{b:02X}" for r, g, b, a in colours if a}


def test_the_sky_margin_has_the_classes_that_its_legend_names(plan):
    content, bounds = map_pictures.sky_picture(plan)
    rows = map_legend.sky_rows(plan)
    assert [words for _, words in rows] == [
        "behind it",
        "up to 2°, too little",
        "up to 10°",
        "up to 20°",
        "above 20°",
        "not known",
    ]
    assert _solid(content) == {colour for colour, _ in rows}
    assert len(content) < 20_000  # the whole page stays small
    # cells of one row: 1 deg short of the limit, just above it, and the one place that nobody knows
    pixels = np.asarray(Image.open(io.BytesIO(content)).convert("RGBA"))
    grid = plan.scene.elevation
    for (row, col), meant in (
        ((110, 55), 0),
        ((110, 68), 1),
        ((110, 76), 2),
        ((110, 112), 3),
        ((110, 180), 4),
        ((45, 95), 5),
        ((2, 2), None),
    ):
        lon, lat = (float(v) for v in grid.lonlat(*grid.xy(row, col)))
        (south, west), (north, east) = bounds
        top, here, low = (np.log(np.tan(np.pi / 4 + np.radians(v) / 2)) for v in (north, lat, south))
        pixel = pixels[
            int((top - here) / (top - low) * pixels.shape[0]), int((lon - west) / (east - west) * pixels.shape[1])
        ]
        found = "#" + "".join(f"{v:02X}" for v in pixel[:3].tolist()) if pixel[3] else None
        assert found == (None if meant is None else rows[meant][0]), (row, col)


def test_the_class_of_too_little_is_left_out_where_no_margin_is_asked_for(plan):
    sky = plan.mission.sky.model_copy(update={"min_margin_deg": 0.0})
    free = replace(plan, mission=plan.mission.model_copy(update={"sky": sky}))
    assert [words for _, words in map_legend.sky_rows(free)][:2] == ["behind it", "up to 10°"]
    assert _solid(map_pictures.sky_picture(free)[0]) == {colour for colour, _ in map_legend.sky_rows(free)}


def test_the_sky_margin_says_which_satellite_and_is_left_out_where_no_dish_is_wanted(plan):
    assert map_legend.sky_words(plan).startswith("Satellite above the skyline")
    two = (*plan.mission.sky.satellites, plan.mission.sky.satellites[0])
    for need, which in (("any", "The clearest satellite"), ("all", "The satellite with the least margin")):
        sky = plan.mission.sky.model_copy(update={"satellites": two, "need": need})
        mission = plan.mission.model_copy(update={"sky": sky})
        assert map_legend.sky_words(replace(plan, mission=mission)).startswith(which)
    backhaul = plan.mission.backhaul.model_copy(update={"wanted": ("open_sky",)})
    none = replace(plan, mission=plan.mission.model_copy(update={"backhaul": backhaul}))
    assert map_pictures.sky_picture(none) is None
    assert 'data-layer="sky"' not in map_key.legend_html(none)
    assert 'data-layer="sky"' in map_key.legend_html(plan)


@pytest.mark.parametrize("made", [make_plan(0), make_plan(1, coverage=False, rejected=0)], ids=["no spot", "bare spot"])
def test_plans_with_little_to_say_still_make_a_page(made):
    html = planmap.map_html(made)
    assert ("No spot passes every limit" in html) == (not made.spots)


def test_hostile_names_leave_no_markup_and_no_template(hostile_plan):
    html = planmap.map_html(hostile_plan)
    own = html.split("<body>", 1)[1]  # behind the vendored code
    assert "<img" not in own
    for mark in ("onerror=", "{{", "{%", "`", "${"):
        assert mark not in own.replace(file_text("own/map.js"), ""), mark
    html.encode("utf-8")


def test_features_survive_the_trip_through_json(plan):
    made = planmap.build_map(plan)
    made.get_root().render()
    script = made._children["spots"].script()
    data = json.loads(re.search(r"L\.geoJSON\((\{.*\}), \{\s+style", script, re.S)[1])
    assert [f["id"] for f in data["features"]][:2] == ["spot:1", "spot:2"]


def decided(made: Plan) -> Plan:
    """The plan with two options, its first and its fourth spot, and a second trailer at the fourth."""
    none = Price((), (), ())
    options = tuple(
        Option(made.spots[k], 1.0, (), None, (), none, Trigger((), (), None, None, None, np.nan, np.nan) if k else None)
        for k in (0, 3)
    )
    e = made.spots[0].evaluation
    trailers = tuple(
        TrailerAt("", made.spots[k], "yard", 0.0, 9.0, 60.0, 70.0, 80.0, 0.5, 0.5, None, ()) for k in (0, 3)
    )
    served = e.coverage.share
    pair = TrailerSet(trailers, served, served, "area", None, None, (), (), served, served, True, False, served, np.nan)
    return replace(made, options=options, beside_first=pair, sets={2: pair})


def test_the_map_shows_options_and_the_second_trailer_first_and_other_spots_from_near_by(plan):
    made = decided(plan)
    marks = {f["id"]: f["properties"]["i"] for f in map_shapes.spot_marks(made)}
    near = {name for name, mark in marks.items() if "data-from" in mark}
    assert near == {"spot:2", "spot:3", "spot:5", "spot:6", "rejected:1"}
    assert [name for name, mark in marks.items() if "sp-pair" in mark] == [
        "spot:4"
    ]  # the second's place, not the first's
    (south, west), (north, east) = opening.view(made)
    for ranked in (made.spots[0], made.spots[3]):
        assert south <= ranked.spot.latitude <= north
        assert west <= ranked.spot.longitude <= east


def test_only_steps_of_the_drive_are_numbers(plan):
    labels = [
        re.sub("<[^>]+>", "", f["properties"]["i"])
        for f in (*map_aim.aim_shapes(plan.best, plan), *map_shapes.must_serve_marks(plan))
        if f["properties"]["k"] == "label"
    ]
    assert any(re.fullmatch(r"sector 1 \d{3}&#176;", label) for label in labels)
    assert not [label for label in labels if re.match(r"\d", label)]
    assert {"Command post", "Drop point 4"} <= set(labels)
    steps = [f["properties"]["i"] for f in map_shapes.decision_shapes(plan.best, plan)]
    assert all(re.sub("<[^>]+>", "", step).isdigit() for step in steps)


def test_rings_of_guys_and_wifi_stand_where_the_mission_gives_them(plan):
    def names(made):
        return {f["id"] for f in map_aim.aim_shapes(made.best, made) if f["properties"]["k"] == "ring"}

    assert names(plan) == set()
    trailer = plan.mission.trailer.model_copy(update={"guys": 4, "guy_radius_m": 9.0})
    wifi = plan.mission.wifi.model_copy(update={"on": True})
    given = replace(plan, mission=plan.mission.model_copy(update={"trailer": trailer, "wifi": wifi}))
    assert names(given) == {"guys:1", "wifi:1"}
    geod = Geod(ellps="WGS84")
    spot = plan.best.spot
    for f in map_aim.aim_shapes(given.best, given):
        if f["id"] == "guys:1":
            far = [geod.inv(spot.longitude, spot.latitude, *end)[2] for end in f["geometry"]["coordinates"]]
            assert far == pytest.approx([9.0] * len(far), abs=0.15)  # metres; 1e-6 deg of rounding
    assert "Room for guys" in map_key.legend_html(given)
    assert "Room for guys" not in map_key.legend_html(plan)


def test_the_panel_tells_the_worst_and_the_dangers_before_anything_else(plan):
    made = decided(plan)
    words, worst = re.sub("<[^>]+>", " ", panel.panel_html(made)), worst_words(made, made.best)
    parts = ("Park at spot A", worst.partition(" (")[0], "Named points", "Dangers", "Options", "Findings")
    order = [words.index(part) for part in parts]
    assert order == sorted(order)
    assert words.index("Before anyone acts on this") < words.index("Options")


def test_each_danger_in_the_panel_has_its_signal_word(plan):
    """As on the sheets: ANSI Z535.4-2007 section 4.14, WARNING for what could kill or badly injure."""
    told = re.findall(r'<li class="sp-warning">(.*?)</li>', panel.dangers_html(plan))
    assert told
    assert all(item.startswith("<b>WARNING.</b> ") for item in told)


def test_page_and_app_name_lines_and_marks_alike(plan):
    from siteplanner.app import plan_map

    app, page = plan_map.lines_legend(plan), map_key.legend_html(plan)
    for _, words in legend_lines(plan):
        assert words.replace("'", "&#39;") in app
        assert words.replace("'", "&#39;") in page
