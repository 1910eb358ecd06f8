"""The ranked map: one folium map from a plan, for the app and for the saved page that needs no network."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import folium

from siteplanner.outputs.map.aim_shapes import aim_shapes
from siteplanner.outputs.map.legend import legend_html
from siteplanner.outputs.map.opening import BUTTONS_PX, RIM_PX, SNAP, show_at_once, view
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
from siteplanner.outputs.map.styles import NIGHT, STYLES
from siteplanner.outputs.pictures.layers import (
    readable_ruling,
    ruling_picture,
    service_picture,
    sky_picture,
    slope_picture,
)
from siteplanner.outputs.pictures.relief import relief_picture
from siteplanner.outputs.words.map_legend import RULED_TITLE, SKY_TITLE, SLOPE_TITLE
from siteplanner.outputs.words.text import clean, shown
from siteplanner.planning.limits.ruling import BITS, OUTSIDE
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.as_built import MARK
from siteplanner.planning.telling.score import rank_text
from siteplanner.planning.telling.units import reader_units

SERVICE_LAYERS = 5  # spots that get a picture of predicted service; each adds to the size of the page
GROUND_PICTURES = ("slope", "sky", "ruling")  # of the whole ground, one switch each
PictureUrl = Callable[[bytes], str]
"""Where a picture (WebP bytes) is fetched from; the saved page writes it into itself."""


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

    def classes(
        key: str, made: tuple[bytes, Any] | None, name: str, show: bool, z_index: int, control: bool = True
    ) -> Picture | None:
        if made is None:
            return None
        at = picture_bounds(made[1], plan.scene.elevation)
        layer = Picture(
            url(made[0]), at, name=name, show=show, control=control, class_name="sp-classes", z_index=z_index
        )
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

    words, pictured = spot_words(plan), with_service(plan)
    layers["slope"] = classes("slope", slope_picture(plan), SLOPE_TITLE, False, 2)
    layers["sky"] = classes("sky", sky_picture(plan), SKY_TITLE, False, 2)
    layers["ruling"] = classes("ruling", ruling_picture(plan), RULED_TITLE, False, 3)
    service = [
        classes(
            f"service_{ranked.rank}",
            service_picture(ranked, plan),
            f"Predicted service from {words[ranked.rank]}",
            ranked.rank == 1,
            4,
            control=False,
        )
        if ranked.rank in pictured
        else None
        for ranked in plan.spots
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
                    control=False,
                ),
                "drive": shapes(
                    f"drive_{ranked.rank}",
                    drive_shapes(ranked, plan),
                    f"Drive to {words[ranked.rank]}",
                    50,
                    first,
                    control=False,
                ),
                "decisions": shapes(
                    f"decisions_{ranked.rank}",
                    decision_shapes(ranked, plan),
                    f"Decision points to {words[ranked.rank]}",
                    55,
                    first,
                    control=False,
                ),
                "service": service[index],
            }
        )
    folium.LayerControl(collapsed=True).add_to(fmap)
    show_at_once(fmap, view(plan), BUTTONS_PX if page else RIM_PX)
    fmap.add_child(_Behaviour(readout(plan), layers, spots, page), name="behaviour")
    return fmap


def with_service(plan: Plan) -> set[int]:
    """Ranks of the spots that get a picture of their service: the options, then the next best."""
    order = [*(o.ranked.rank for o in plan.options), *(r.rank for r in plan.spots)]
    return set(list(dict.fromkeys(order))[:SERVICE_LAYERS])


def spot_words(plan: Plan) -> dict[int, str]:
    """Rank -> the spot's name for the names of layers, as HTML; names that occur twice get their place beside them."""
    held = [ranked.spot.name for ranked in plan.spots]
    return {
        r.rank: shown(f"spot {r.spot.name}" + (f", {rank_text(r.rank)}" if held.count(r.spot.name) > 1 else ""))
        for r in plan.spots
    }


def empty_map(relief: str, bounds: Any, css: str = "") -> folium.Map:
    """A map with the relief (its address) and the looks that all layers share; `css` is put behind them."""
    fmap = folium.Map(
        location=[(bounds[0][0] + bounds[1][0]) / 2, (bounds[0][1] + bounds[1][1]) / 2],
        tiles=None,
        control_scale=True,
        attribution_control=False,
        zoom_snap=SNAP,
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
    scene, units = plan.scene, reader_units(plan.mission).first
    return [
        *overlay_shapes(plan),
        ("Roads and what the rig can use", road_shapes(plan), 20),
        ("Road closures", closure_shapes(plan), 21),
        ("Incident area", table_shapes(scene.area, scene.elevation, "area", "Incident area", units), 30),
        ("Donor sites", donor_marks(plan), 59),
        ("Staging point", staging_mark(plan.mission), 61),
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
    root = Page(title=shown(f"{clean(plan.mission.name)}: {'ranked spots' if plan.as_built is None else MARK}"))
    figure: Any = fmap.get_root()
    own_css = figure.header._children["own_css"]
    root.add_child(fmap)
    root.header.add_child(own_css, name="own_css")
    root.header.add_child(Raw(f"<style>{file_text('own/page.css')}</style>"), name="page_css")
    root.html.add_child(Raw(panel_html(plan) + legend_html(plan)), name="panel")
    return root.render()
