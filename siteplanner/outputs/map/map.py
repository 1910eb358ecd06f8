"""The ranked map: one folium map from a plan, for the app and for the saved page that needs no network."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import folium

from siteplanner.outputs.map.page import (
    Page,
    Picture,
    Piece,
    Raw,
    Shapes,
    data_uri,
    file_text,
    parent_name,
    script_json,
)
from siteplanner.outputs.map.panel import panel_html
from siteplanner.outputs.map.road_shapes import closure_shapes, road_shapes
from siteplanner.outputs.map.shapes import (
    Feature,
    aim_shapes,
    decision_shapes,
    donor_marks,
    drive_shapes,
    eastward,
    in_one_piece,
    must_serve_marks,
    overlay_shapes,
    picture_bounds,
    spot_marks,
    staging_mark,
    table_shapes,
)
from siteplanner.outputs.pictures.layers import (
    readable_ruling,
    ruling_picture,
    service_picture,
    sky_picture,
    slope_picture,
)
from siteplanner.outputs.pictures.relief import relief_picture
from siteplanner.outputs.words.map_legend import SKY_TITLE, SLOPE_TITLE
from siteplanner.outputs.words.palettes import BLUE, DARK_GREEN, DARK_VERMILION, INK, ORANGE, RULING_COLOURS, SKY_BLUE
from siteplanner.outputs.words.text import clean, shown
from siteplanner.planning.limits.ruling import BITS, OUTSIDE
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.score import place_text

SERVICE_LAYERS = 5  # spots that get a picture of predicted service; each adds to the size of the page
GROUND_PICTURES = ("slope", "sky", "ruling")  # of the whole ground, one switch each
PictureUrl = Callable[[bytes], str]
"""Where a picture (WebP bytes) is fetched from; the saved page writes it into itself."""

STYLES: dict[str, dict[str, Any]] = {
    "area": {"color": "#000000", "weight": 3, "fill": False},
    "route_edge": {"color": "#FFFFFF", "weight": 9, "opacity": 0.9, "interactive": False},
    "route": {"color": BLUE, "weight": 5, "opacity": 1},
    "other_way": {"color": BLUE, "weight": 4, "opacity": 0.8, "dashArray": "10 8"},
    "leg": {"color": BLUE, "weight": 5, "opacity": 1, "dashArray": "1 8", "lineCap": "round"},
    "sector": {"color": INK, "weight": 1, "opacity": 0.6, "fillColor": INK, "fillOpacity": 0.10},
    "bearing": {"color": INK, "weight": 3},
    "dish": {"color": DARK_GREEN, "weight": 3, "dashArray": "8 6"},
    "dish_blocked": {"color": "#5A6472", "weight": 2, "dashArray": "2 7"},
    "link": {"color": DARK_GREEN, "weight": 3},
    "link_blocked": {"color": "#5A6472", "weight": 2, "dashArray": "2 7"},
    "hazard": {"color": DARK_VERMILION, "weight": 2, "fillColor": DARK_VERMILION, "fillOpacity": 0.12},
    "keep_out": {
        "color": RULING_COLOURS["keep_out"],
        "weight": 2,
        "fillColor": RULING_COLOURS["keep_out"],
        "fillOpacity": 0.18,
    },
    "power_line": {"color": RULING_COLOURS["power_line"], "weight": 3, "dashArray": "10 5"},
    "structure": {"color": "#3B3B3B", "weight": 2, "fillColor": "#3B3B3B", "fillOpacity": 0.5, "radius": 4},
    "water": {"color": "#1F5F8B", "weight": 1.5, "fillColor": "#1F5F8B", "fillOpacity": 0.25},
    "soft_ground": {"color": "#6B5B1E", "weight": 2, "dashArray": "1 5", "fillColor": "#6B5B1E", "fillOpacity": 0.15},
    "open": {"color": "#4D5561", "weight": 2, "opacity": 0.95},
    "unsure": {"color": "#75603A", "weight": 2, "dashArray": "7 4"},
    "shut": {"color": "#A3123F", "weight": 2.5, "dashArray": "2 5"},
    "closed": {"color": "#A3123F", "weight": 6},
    "closure": {"color": "#A3123F", "weight": 3, "fillColor": "#A3123F", "fillOpacity": 0.12},
    "other": {"color": INK, "weight": 2, "dashArray": "6 3", "fillOpacity": 0.08, "radius": 5},
    "must_serve": {"color": INK, "fillColor": ORANGE, "fillOpacity": 1, "radius": 7, "weight": 2},
}
NIGHT: dict[str, dict[str, Any]] = {  # what the night view changes: bright lines on dark ground
    "area": {"color": "#F2E9D4"},
    "route_edge": {"color": "#000000"},
    "route": {"color": SKY_BLUE},
    "other_way": {"color": SKY_BLUE},
    "leg": {"color": SKY_BLUE},
    "sector": {"color": "#F2E9D4", "fillColor": "#F2E9D4"},
    "bearing": {"color": "#F2E9D4"},
    "dish": {"color": "#2FCFA0"},
    "dish_blocked": {"color": "#A89F92"},
    "link": {"color": "#2FCFA0"},
    "link_blocked": {"color": "#A89F92"},
    "hazard": {"color": "#FF8A3D", "fillColor": "#FF8A3D"},
    "keep_out": {"color": "#E3A6C6", "fillColor": "#E3A6C6"},
    "power_line": {"color": "#A99CF0"},
    "structure": {"color": "#D0C8BC", "fillColor": "#D0C8BC"},
    "water": {"color": "#6FC3DF", "fillColor": "#6FC3DF"},
    "soft_ground": {"color": "#C9B458", "fillColor": "#C9B458"},
    "open": {"color": "#B4BBC5"},
    "unsure": {"color": "#CBB27A"},
    "shut": {"color": "#FF7A9A"},
    "closed": {"color": "#FF7A9A"},
    "closure": {"color": "#FF7A9A", "fillColor": "#FF7A9A"},
    "other": {"color": "#F2E9D4"},
}


class _Behaviour(Piece):
    """The page's own script, handed the layers by their names."""

    def __init__(self, config: dict[str, Any], layers: dict[str, Any], spots: list[dict[str, Any]], page: bool) -> None:
        super().__init__("", name="behaviour")
        self.config, self.layers, self.spots, self.page = config, layers, spots, page
        service = [spot["service"] for spot in spots]
        ground = [layers.get(key) for key in GROUND_PICTURES]
        self.pictures = [p for p in (*ground, *service) if p is not None]

    def script(self) -> str:
        """The browser file and the calls that start it."""
        parent = parent_name(self)

        def names(layers: dict[str, Any]) -> str:
            return ", ".join(
                f"{key}: {layer.get_name() if hasattr(layer, 'get_name') else script_json(layer)}"
                for key, layer in layers.items()
                if layer is not None
            )

        text = file_text("own/map.js") + (
            f"\nsitePlannerMap({parent}, {script_json(self.config)}, "
            f"[{', '.join(p.get_name() for p in self.pictures)}]);\n"
        )
        if self.page:
            spots = ", ".join(f"{{{names(spot)}}}" for spot in self.spots)
            text += f"sitePlannerPage({parent}, {{layers: {{{names(self.layers)}}}, spots: [{spots}]}});\n"
        return text


def build_map(plan: Plan, *, picture_url: PictureUrl | None = None, page: bool = False) -> folium.Map:
    """The map of a plan with its layer control.

    `picture_url` says where the app's own server gives a picture; None writes it into the map. `page` adds the
    behaviour of the saved page, which needs `panel.panel_html` beside the map.
    """
    url = picture_url or (lambda content: data_uri(content, "image/webp"))
    relief, bounds = relief_picture(plan.scene.elevation)
    fmap = empty_map(url(relief), bounds)
    layers: dict[str, Any] = {}

    def classes(key: str, made: tuple[bytes, Any] | None, name: str, show: bool, z_index: int) -> Picture | None:
        if made is None:
            return None
        at = picture_bounds(made[1], plan.scene.elevation)
        layer = Picture(url(made[0]), at, name=name, show=show, class_name="sp-classes", z_index=z_index)
        fmap.add_child(layer, name=key)
        return layer

    def shapes(
        key: str, features: list[Feature], name: str, order: int, show: bool = True, control: bool = True
    ) -> Shapes | None:
        if not features:
            return None
        layer = styled(plan, features, name, order, show=show, control=control)
        fmap.add_child(layer, name=key)
        return layer

    words = spot_words(plan)
    layers["slope"] = classes("slope", slope_picture(plan), SLOPE_TITLE, False, 2)
    layers["sky"] = classes("sky", sky_picture(plan), SKY_TITLE, False, 2)
    layers["ruling"] = classes("ruling", ruling_picture(plan), "Ground ruled out", False, 3)
    service = [
        classes(
            f"service_{ranked.rank}",
            service_picture(ranked, plan),
            f"Predicted service from {words[ranked.rank]}",
            ranked.rank == 1,
            4,
        )
        for ranked in plan.spots[:SERVICE_LAYERS]
    ]
    for name, features, order in sorted([*ground_shapes(plan), must_serve(plan)], key=lambda layer: layer[2]):
        shapes(f"vectors_{order}", features, name, order)
    layers["spots"] = shapes("spots", spot_marks(plan), "Spots", 62)
    spots: list[dict[str, Any]] = []
    for index, ranked in enumerate(plan.spots):
        first = ranked.rank == 1
        spots.append(
            {
                "id": f"spot:{ranked.rank}",
                "at": [
                    round(ranked.spot.latitude, 6),
                    round(eastward([ranked.spot.longitude], plan.scene.elevation)[0], 6),
                ],
                "aim": shapes(
                    f"aim_{ranked.rank}",
                    aim_shapes(ranked, plan),
                    f"Sectors and dish at {words[ranked.rank]}",
                    40,
                    first,
                ),
                "drive": shapes(
                    f"drive_{ranked.rank}", drive_shapes(ranked, plan), f"Drive to {words[ranked.rank]}", 50, first
                ),
                "decisions": shapes(
                    f"decisions_{ranked.rank}",
                    decision_shapes(ranked, plan),
                    f"Decision points to {words[ranked.rank]}",
                    55,
                    first,
                    control=False,
                ),
                "service": service[index] if index < len(service) else None,
            }
        )
    folium.LayerControl(collapsed=True).add_to(fmap)
    show_at_once(fmap, view(plan))
    fmap.add_child(_Behaviour(readout(plan), layers, spots, page), name="behaviour")
    return fmap


def spot_words(plan: Plan) -> dict[int, str]:
    """Rank -> the spot's name for the names of layers, as HTML; names that occur twice get their place beside them."""
    held = [ranked.spot.name for ranked in plan.spots]
    return {
        r.rank: shown(f"spot {r.spot.name}" + (f", {place_text(r.rank)} place" if held.count(r.spot.name) > 1 else ""))
        for r in plan.spots
    }


def view(plan: Plan) -> list[list[float]]:
    """South-west and north-east of what must be seen at once: incident area, staging points, best spot."""
    places = [(s.latitude, s.longitude) for s in plan.mission.stagings]
    return bounds_of(plan, [*places, *((r.spot.latitude, r.spot.longitude) for r in plan.spots[:1])])


def bounds_of(plan: Plan, places: list[tuple[float, float]]) -> list[list[float]]:
    """South-west and north-east of the incident area and of places (latitude, longitude)."""
    west, south, east, north = plan.scene.area.total_bounds
    lon, lat = plan.scene.elevation.lonlat([west, west, east, east], [south, north, south, north])
    lats, lons = [*lat, *(p[0] for p in places)], eastward([*lon, *(p[1] for p in places)], plan.scene.elevation)
    return [[float(min(lats)), float(min(lons))], [float(max(lats)), float(max(lons))]]


def show_at_once(fmap: folium.Map, bounds: list[list[float]]) -> None:
    """Open the map on these bounds, beside its buttons."""
    fmap.fit_bounds(bounds, padding_top_left=(64, 24), padding_bottom_right=(24, 24), max_zoom=15)


def empty_map(relief: str, bounds: Any, css: str = "") -> folium.Map:
    """A map with the relief (its address) and the looks that all layers share; `css` is put behind them."""
    fmap = folium.Map(
        location=[(bounds[0][0] + bounds[1][0]) / 2, (bounds[0][1] + bounds[1][1]) / 2],
        tiles=None,
        control_scale=True,
        attribution_control=False,
        zoom_snap=0.5,
        prefer_canvas=True,
        max_zoom=18,
        zoom_start=12,
    )
    figure: Any = fmap.get_root()
    figure.header.add_child(Raw(f"<style>{file_text('own/map.css')}{css}</style>"), name="own_css")
    fmap.add_child(Piece("MAP.options.renderer = L.canvas({tolerance: 6, padding: 0.3});", show=False))
    fmap.add_child(Picture(relief, bounds, name="Relief", control=False, class_name="sp-relief", z_index=1))
    return fmap


Layer = tuple[str, list[Feature], int]
"""Name, shapes, and place in the order from the ground up."""


def ground_shapes(plan: Plan) -> list[Layer]:
    """What neither weights nor the chosen spot touch: layers of the mission, roads, area, donors, staging points."""
    scene = plan.scene
    return [
        *overlay_shapes(plan),
        ("Roads and what the rig can use", road_shapes(plan), 20),
        ("Road closures", closure_shapes(plan), 21),
        ("Incident area", table_shapes(scene.area, scene.elevation, "area", "Incident area"), 30),
        ("Donor sites", donor_marks(plan), 59),
        ("Staging point", staging_mark(plan), 61),
    ]


def must_serve(plan: Plan) -> Layer:
    """The must-serve points, with what the best spot gives each."""
    return "Must-serve points", must_serve_marks(plan), 60


def styled(
    plan: Plan,
    features: list[Feature],
    name: str,
    order: int,
    *,
    kind: type[Shapes] = Shapes,
    show: bool = True,
    control: bool = True,
) -> Shapes:
    """Shapes as a layer of the map, with the day and night styles that they use."""
    features = in_one_piece(features, plan.scene.elevation)
    used = {f["properties"]["k"] for f in features}
    day, night = ({k: s for k, s in styles.items() if k in used} for styles in (STYLES, NIGHT))
    return kind(features, name=name, styles=day, night=night, order=order, show=show, control=control)


def readout(plan: Plan) -> dict[str, Any]:
    """What the readout under the pointer needs: the ruling as a picture and the words of each limit."""
    content, bounds = readable_ruling(plan)
    return {
        "ruling": {
            "url": data_uri(content, "image/png"),
            "bounds": [list(corner) for corner in bounds],
            "outside": OUTSIDE,
            "limits": [[BITS[r.code], clean(r.label)] for r in plan.rulings if r.code in BITS],
            "passWords": "Passes every limit",
            "otherWords": "Ruled out",
            "outsideWords": "Outside the search ground: not checked",
        }
    }


def map_html(plan: Plan) -> str:
    """The map as one HTML file: headline, list of spots, legend, and everything it shows. No network needed."""
    fmap = build_map(plan, page=True)
    root = Page(title=shown(f"{clean(plan.mission.name)}: ranked spots"))
    figure: Any = fmap.get_root()
    own_css = figure.header._children["own_css"]
    root.add_child(fmap)
    root.header.add_child(own_css, name="own_css")
    root.header.add_child(Raw(f"<style>{file_text('own/page.css')}</style>"), name="page_css")
    root.html.add_child(Raw(panel_html(plan)), name="panel")
    return root.render()
