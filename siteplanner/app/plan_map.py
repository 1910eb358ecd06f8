"""The plan's map inside the app: a base that stays, and what changes with the chosen spot laid over it.

A changed base makes the browser build a new frame and lose the view, so the base holds only what neither weights nor
the chosen spot touch.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import folium

from siteplanner.app import style
from siteplanner.app.session import Work, spot_key
from siteplanner.app.trailers import shown_set
from siteplanner.outputs.map.aim_shapes import aim_shapes
from siteplanner.outputs.map.legend import marks
from siteplanner.outputs.map.map import (
    empty_map,
    ground_shapes,
    readout,
    styled,
)
from siteplanner.outputs.map.opening import bounds_of, show_at_once, view
from siteplanner.outputs.map.page import (
    Picture,
    Piece,
    Shapes,
    file_text,
    parent_name,
    script_json,
)
from siteplanner.outputs.map.shapes import (
    SPOTS_FROM,
    Feature,
    decision_shapes,
    drive_shapes,
    feature,
    from_zoom,
    must_serve_marks,
    picture_bounds,
    places_of,
    point,
    spot_mark,
    stands_out,
    trailer_marks,
)
from siteplanner.outputs.map.styles import legend_lines
from siteplanner.outputs.pictures.layers import (
    ruling_picture,
    service_picture,
    sky_picture,
    slope_picture,
)
from siteplanner.outputs.words.map_legend import (
    FIRST_LIMIT,
    RULED_TITLE,
    SERVICE_TITLE,
    SKY_TITLE,
    SLOPE_TITLE,
    sky_rows,
    sky_shown,
    sky_words,
    slope_rows,
)
from siteplanner.outputs.words.palettes import (
    INK,
    PASSES_COLOUR,
    SERVICE_CLASSES,
    ruling_colours,
)
from siteplanner.outputs.words.text import named, percent_text, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.sets import TrailerSet
from siteplanner.planning.limits.ruling import BITS
from siteplanner.planning.plan.explain import Explanation
from siteplanner.planning.plan.model import Plan

SERVICE, RULED_OUT, SKY, SLOPE, RELIEF = SERVICE_TITLE, RULED_TITLE, SKY_TITLE, SLOPE_TITLE, "Terrain only"
CHOSEN_CSS = """
.sp-icon .sp-chosen { min-width: 36px; height: 36px; border-radius: 18px; font-size: 18px; line-height: 28px;
  background: #fff; color: #0B4F82; border: 4px solid #0B4F82; }
.sp-icon .sp-asked { width: 22px; height: 22px; border-radius: 11px; background: rgba(255,255,255,.85);
  border: 3px solid #1C2430; color: #1C2430; font: 700 13px/16px system-ui, sans-serif; text-align: center; }
.leaflet-container { font-size: 14px; }
"""


class GroupShapes(Shapes):
    """Shapes inside a feature group, which has no size of its own as a map has; nothing here opens a popup."""

    def script(self) -> str:
        return super().script().replace(f"{parent_name(self)}.getSize()", "L.point(400, 400)")


def ground_pictures(work: Work) -> list[str]:
    """Which pictures of the ground this plan can show."""
    plan = work.planned
    assert plan is not None
    sky = [SKY] if sky_shown(plan) else []  # worked out when it is first shown, not before
    return [*([SERVICE] if plan.spots else []), RULED_OUT, *sky, SLOPE, RELIEF]


def base_map(work: Work, picture_url: Any, around: RankedSpot | None = None) -> folium.Map:
    """Relief, roads, areas, lines and the staging point, with the readout under the pointer.

    It opens on the area, the options and a staging point that lies near, or on the area with the spot `around` which
    the map is drawn.
    """
    plan = work.planned
    assert plan is not None
    parts = work.once("base", partial(_base_parts, plan, picture_url))
    fmap = empty_map(parts["relief"], parts["bounds"], CHOSEN_CSS)
    for name, features, order in parts["layers"]:
        styled(plan, features, name, order).add_to(fmap)
    folium.LayerControl(collapsed=True).add_to(fmap)
    show_at_once(
        fmap, view(plan) if around is None else bounds_of(plan, [(around.spot.latitude, around.spot.longitude)])
    )
    fmap.add_child(Piece(parts["behaviour"]))
    return fmap


def _base_parts(plan: Plan, picture_url: Any) -> dict[str, Any]:
    from siteplanner.outputs.pictures.relief import relief_picture

    relief, bounds = relief_picture(plan.scene.elevation)
    config = {"around": ".stApp", **readout(plan)}
    return {
        "relief": picture_url(relief),
        "bounds": bounds,
        "layers": sorted((item for item in ground_shapes(plan) if item[1]), key=lambda item: item[2]),
        "behaviour": f"{file_text('own/map.js')}\nsitePlannerMap(MAP, {script_json(config)}, []);",
    }


def changing(work: Work, ground: str, picture_url: Any, *, alone: bool = False) -> folium.FeatureGroup:
    """The chosen spot's picture of the ground, drive and aim, all spots as marks, and the point asked about; `alone`:
    no other spot and no question."""
    plan, chosen = work.plan, work.spot()
    assert plan is not None
    group = folium.FeatureGroup(name="Spots", control=False)
    picture = _ground_picture(work, ground, chosen, picture_url)
    if picture is not None:
        at = picture_bounds(picture[1], plan.scene.elevation)
        Picture(picture[0], at, control=False, class_name="sp-classes", z_index=4).add_to(group)
    if chosen is not None:
        key = spot_key(chosen)
        for kind, make, order in (("aim", aim_shapes, 40), ("drive", drive_shapes, 50), ("steps", decision_shapes, 55)):
            features = work.once(f"{kind} {key}", partial(_drawn, make, chosen, plan))
            if features:
                styled(plan, features, kind, order, kind=GroupShapes).add_to(group)
    served = must_serve_marks(plan if chosen else replace(plan, spots=()), chosen)
    if served:
        styled(plan, served, "Must-serve points", 60, kind=GroupShapes).add_to(group)
    shown_plan = replace(plan, spots=(chosen,), rejected=()) if alone and chosen is not None else plan
    spots = spot_features(shown_plan, chosen, None if alone else work.asked, None if alone else shown_set(work))
    if spots:
        styled(plan, spots, "Spots", 62, kind=GroupShapes).add_to(group)
    return group


def _drawn(make: Callable[[RankedSpot, Plan], list[Feature]], chosen: RankedSpot, plan: Plan) -> list[Feature]:
    return _labels_let_clicks_through(make(chosen, plan))


def _labels_let_clicks_through(features: list[Feature]) -> list[Feature]:
    """Labels of bearings lie over the ground that a user wants to ask about; without a tooltip they are not hit."""
    for item in features:
        if item["properties"]["k"] == "label":
            item["properties"].pop("t", None)
    return features


def spot_features(
    plan: Plan, chosen: RankedSpot | None, asked: Explanation | None, several: TrailerSet | None = None
) -> list[Feature]:
    """Marks that a click tells apart: `spot:<key>`; the chosen one last, so that it lies on top. The places of
    `several` trailers have a ring; what is no option is drawn from near by only."""
    ringed = places_of(several)
    seen, marks = stands_out(plan, ringed), []
    for ranked in plan.spots:
        key = ranked.spot.key
        held = key in seen or ranked is chosen
        style = " sp-chosen" if ranked is chosen else " sp-best" if ranked.rank == 1 else "" if held else " sp-minor"
        style += " sp-pair" if key in ringed else ""
        mark, words = spot_mark(ranked, style, 0 if held else SPOTS_FROM)
        words += f"; {shown(ringed[key])}" if key in ringed else ""
        marks.append(
            feature(
                f"spot:{spot_key(ranked)}",
                point(ranked.spot.longitude, ranked.spot.latitude),
                "spot",
                i=mark,
                t=words,
            )
        )
    marks += trailer_marks(several, {r.spot.key for r in plan.spots})
    marks.sort(key=lambda f: "sp-chosen" in f["properties"]["i"])
    for number, evaluation in enumerate(plan.rejected, 1):
        spot = evaluation.spot
        marks.insert(
            0,
            feature(
                f"rejected:{number}",
                point(spot.longitude, spot.latitude),
                "spot",
                i=f'<span class="sp-mark sp-out"{from_zoom(SPOTS_FROM)}>{shown("×")}</span>',
                t=f"Spot {named(spot.name)}: ruled out",
            ),
        )
    if asked is not None:
        spot = asked.evaluation.spot
        marks.append(
            feature(
                "asked:1",
                point(spot.longitude, spot.latitude),
                "asked",
                i=f'<span class="sp-asked">{shown("?")}</span>',
            )
        )
    return marks


def _ground_picture(work: Work, ground: str, chosen: RankedSpot | None, picture_url: Any) -> Any:
    plan = work.planned
    assert plan is not None
    made: Any = None
    if ground == SERVICE and chosen is not None:
        made = work.once(f"service {spot_key(chosen)}", lambda: _stored(service_picture(chosen, plan), picture_url))
    elif ground == RULED_OUT:
        made = work.once("ruling", lambda: _stored(ruling_picture(plan), picture_url))
    elif ground == SKY:
        made = work.once("sky", lambda: _stored(sky_picture(plan), picture_url))
    elif ground == SLOPE:
        made = work.once("slope", lambda: _stored(slope_picture(plan), picture_url))
    return made


def _stored(made: Any, picture_url: Any) -> Any:
    return None if made is None else (picture_url(made[0]), made[1])


def legend(plan: Plan, ground: str) -> str:
    """What the colours of the picture shown mean, as HTML."""
    word, rows = "", list[tuple[str, str]]()
    if ground == SERVICE:
        word = f"{SERVICE_TITLE}; no color: below 50 %"
        rows = [(colour, words) for _, colour, words in SERVICE_CLASSES]
    elif ground == RULED_OUT:
        word = f"{FIRST_LIMIT} No color: outside the search ground"
        colours = ruling_colours([r.code for r in plan.rulings])
        rows = [(PASSES_COLOUR, "Passes every limit")]
        rows += [(colours[r.code], f"{r.label} ({percent_text(r.share)})") for r in plan.rulings if r.share > 0]
        if any(r.code not in BITS for r in plan.rulings):
            rows.append((INK, "Another limit"))
    elif ground == SKY:
        word, rows = sky_words(plan), sky_rows(plan)
    elif ground == SLOPE:
        word, rows = SLOPE_TITLE, slope_rows(plan)
    return style.legend(rows, word) if rows else style.legend([], "No picture over the relief")


def lines_legend(plan: Plan) -> str:
    """Lines and marks on the map with their words, as HTML; what the plan does not hold is left out."""
    return style.line_legend(legend_lines(plan), marks(plan))
