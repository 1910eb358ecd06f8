"""The map of an answer from an atlas: the heights that it keeps, the area, the staging points, and the places."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import folium
import numpy as np

from siteplanner.app.plan_map import CHOSEN_CSS, GroupShapes
from siteplanner.data.grid import Grid
from siteplanner.mission import Mission
from siteplanner.outputs.map.map import empty_map
from siteplanner.outputs.map.opening import corners, show_at_once, with_stagings
from siteplanner.outputs.map.page import Shapes
from siteplanner.outputs.map.shapes import (
    Feature,
    eastward,
    feature,
    in_one_piece,
    point,
    spot_mark,
    staging_mark,
    table_shapes,
)
from siteplanner.outputs.map.styles import NIGHT, STYLES
from siteplanner.outputs.pictures.relief import relief_picture
from siteplanner.outputs.words.text import sentence
from siteplanner.planning.atlas.answer import Atlas, Quick
from siteplanner.planning.atlas.served import cut, window_of
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.study.load import read_area
from siteplanner.planning.telling.places import served_tip
from siteplanner.planning.telling.units import reader_units

MARGIN_M = 500.0


@dataclass(frozen=True, eq=False)
class Around:
    """What lies under the places, and does not change with the weights."""

    heights: Grid
    area: Any
    mission: Mission
    view: list[list[float]]  # south-west and north-east of the area, the places, staging points that lie near


def around_of(atlas: Atlas, quick: Quick) -> Around:
    """The ground around the search ground of an answer. Raises InputError for an area that cannot be read."""
    place = read_area(quick.mission.model_copy(update={"crs": atlas.lattice.crs.to_wkt()})).value
    west, south, east, north = place.search.bounds
    box = west - MARGIN_M, south - MARGIN_M, east + MARGIN_M, north + MARGIN_M
    heights = cut(atlas.shared.heights, atlas.lattice, *window_of(atlas.lattice, box))
    west, south, east, north = place.whole_area.bounds
    lon, lat = (v.tolist() for v in heights.lonlat(np.array([west, west, east, east]), np.array([south, north] * 2)))
    places = [r.spot for r in quick.to_be_judged]
    lats, lons = [*lat, *(s.latitude for s in places)], eastward([*lon, *(s.longitude for s in places)], heights)
    seen = with_stagings(corners(lats, lons), quick.mission, heights)
    return Around(heights, place.area, quick.mission, seen)


def base_map(around: Around, picture_url: Callable[[bytes], str]) -> folium.Map:
    """Relief, area and staging points, opened on the area and all places."""
    relief, bounds = relief_picture(around.heights)
    fmap = empty_map(picture_url(relief), bounds, CHOSEN_CSS)
    features = [
        *table_shapes(around.area, around.heights, "area", "Incident area", reader_units(around.mission).first),
        *staging_mark(around.mission),
    ]
    _shapes(around, features, "Incident area", 30, Shapes).add_to(fmap)
    show_at_once(fmap, around.view)
    return fmap


def marks_of(around: Around, quick: Quick) -> folium.FeatureGroup:
    """The listed places and those of the sets, by their names, the first on top; named points, with what it gives."""
    group = folium.FeatureGroup(name="Spots", control=False)
    marks = point_marks(quick)
    for ranked in reversed(quick.to_be_judged):
        listed = ranked.rank <= quick.mission.search.listed_spots
        mark, words = spot_mark(ranked, " sp-best" if ranked.rank == 1 else "" if listed else " sp-minor")
        where = point(ranked.spot.longitude, ranked.spot.latitude)
        marks.append(feature(f"spot:{ranked.rank}", where, "spot", i=mark, t=words))
    _shapes(around, marks, "Spots", 62, GroupShapes).add_to(group)
    return group


def point_marks(quick: Quick) -> list[Feature]:
    """The named points, with the chance of service from the first place."""
    coverage = quick.ranked[0].evaluation.coverage if quick.ranked else None
    units, out = reader_units(quick.mission).first, []
    for number, at in enumerate(() if coverage is None else coverage.must_serve, 1):
        words = sentence(served_tip(at.name, at.probability, f"spot {quick.ranked[0].spot.name}", units), [at.name])
        missed = "" if at.probability >= SERVED else " sp-missed"
        where = point(at.longitude, at.latitude)
        mark = f'<span class="sp-must{missed}"></span>'
        out.append(feature(f"point:{number}", where, "must_serve", i=mark, t=words))
    return out


def _shapes(around: Around, features: list[Feature], name: str, order: int, kind: type[Shapes]) -> Shapes:
    features = in_one_piece(features, around.heights)
    used = {f["properties"]["k"] for f in features}
    day, night = ({k: s for k, s in styles.items() if k in used} for styles in (STYLES, NIGHT))
    return kind(features, name=name, styles=day, night=night, order=order)
