"""Draw on the map: areas, closures, must-serve points and tracks, over the elevation and roads at hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely
import streamlit as st

from siteplanner.app import coordinates, drawing, intake
from siteplanner.app.drawing import Drawn
from siteplanner.app.frame import say_error
from siteplanner.app.labels import plain
from siteplanner.app.roles import roles_of_layers
from siteplanner.app.session import Work
from siteplanner.errors import SiteplannerError
from siteplanner.outputs.words.text import clean

HEIGHT, PIXELS = 430, 1400
TOOLS = {
    "polygon": {"allowIntersection": False},
    "rectangle": True,
    "polyline": True,
    "marker": True,
    "circle": False,
    "circlemarker": False,
}
SHAPES = {"point": "Point", "line": "Line", "polygon": "Area"}
SPRITE = "leaflet_draw/images/spritesheet.png"


def section(work: Work) -> None:
    """The map with its tools, the list of shapes, and the button that makes them layers."""
    ground = background(work)
    if ground is None:
        st.caption("The map appears when the elevation has been read.")
        return
    st.caption(
        "Draw with the tools at the map's left edge: an area, a box, a line or a point. Then say below what "
        "each shape is for. The pencil and the bin reshape and delete. No mouse? Type coordinates instead."
    )
    fmap = draw_map(work, ground)
    from streamlit_folium import st_folium

    from siteplanner.app.served import localise

    localise(fmap.get_root())
    back = st_folium(
        fmap,
        key=f"draw_{work.edition}_{work.drawn_edition}",
        height=HEIGHT,
        use_container_width=True,
        returned_objects=["all_drawings"],
    )
    seen = (back or {}).get("all_drawings")
    if seen is not None:
        work.pending = drawing.after_drawing(work.pending, seen)
    type_places(work)
    shapes = listing(work)
    changed = shapes != work.drawn
    if not shapes and not work.drawn:
        return
    if st.button("Use these shapes", type="primary", disabled=not changed):
        use(work, shapes)
        st.rerun()
    if changed:
        st.caption("Not yet part of the mission.")


def type_places(work: Work) -> None:
    """For the keyboard: the same shapes from coordinates."""
    with st.expander("Type places instead"), st.form(f"typed_{work.drawn_edition}", clear_on_submit=True, border=False):
        kind: Any = st.selectbox("Shape", list(SHAPES), format_func=lambda k: SHAPES[k])
        text = st.text_area("Places, one a line", placeholder=coordinates.EXAMPLES)
        if st.form_submit_button("Add the shape"):
            made = drawing.typed(kind or "point", text)
            work.drawn_edition += 1
            work.pending = [*work.pending, made]
            st.rerun()


def listing(work: Work) -> list[Drawn]:
    """One line a shape: what it is for, its name, and a button that removes it."""
    out, words = [], {role: held.words for role, held in roles_of_layers().items()}
    for number, item in enumerate(work.pending, 1):
        what, name, bin_ = st.columns([4, 5, 2], vertical_alignment="bottom")
        roles = list(drawing.roles_of_shape(item.kind))
        kind = SHAPES[item.kind]
        role: Any = what.selectbox(
            f"{kind} {number} is for",
            roles,
            index=roles.index(item.role),
            key=f"for_{item.key}",
            format_func=lambda r: words[r],
        )
        called = name.text_input(
            f"Name of {kind.lower()} {number}",
            item.name,
            key=f"named_{item.key}",
            max_chars=100,
            placeholder="e.g. Bridge out, Camp 2",
        )
        if bin_.button(f"Remove {kind.lower()} {number}", key=f"bin_{item.key}", width="stretch"):
            work.pending = [d for d in work.pending if d.key != item.key]
            work.drawn_edition += 1
            st.rerun()
        out.append(Drawn(role or item.role, called.strip(), item.geometry))
    work.pending = list(out)
    return out


def use(work: Work, shapes: list[Drawn]) -> None:
    """Write the shapes down, make them layers, and check again. Raises InputError."""
    files = drawing.save(work.files, shapes)
    own = {f"{drawing.PREFIX}{role}.geojson" for role in roles_of_layers()}
    if work.brought:
        held = [b for b in work.brought if b.path not in own]
        for role, name in files.items():
            if not roles_of_layers()[role].several:  # the drawn one goes before a file of the same role
                held = [b if b.role != role else _unused(b) for b in held]
            held += [_as(b, role) for b in intake.look_at(work.files / name)]
        work.brought = held
    if work.draft is not None:
        layers = work.draft.get("layers", {})
        if work.base != work.files:
            layers = drawing.absolute(layers, work.base)
        work.draft = {**work.draft, "layers": drawing.with_drawn(layers, files, work.replaced)}
        work.base = work.files
    work.drawn, work.pending = list(shapes), list(shapes)
    work.drawn_edition += 1
    work.revision += 1
    if work.draft is not None and work.draft.get("staging"):
        work.begin_check()


def _as(item: Any, role: str) -> Any:
    from dataclasses import replace

    return replace(item, role=role)


def _unused(item: Any) -> Any:
    return _as(item, intake.UNUSED)


def background(work: Work) -> dict[str, Any] | None:
    """Relief and roads as far as they are known; made once for each set of elevation files. None: no elevation yet."""
    run = work.check
    study = run.result.study if run is not None and run.state == "done" and run.result is not None else None
    rasters = [b.path for b in work.brought if b.role == "elevation" and b.usable]
    if study is not None:
        key: tuple[Any, ...] = ("study", id(study))
    elif rasters and work.draft is None:
        key = ("files", *rasters)
    else:
        return work.ground[1] if work.ground is not None else None
    if work.ground is not None and work.ground[0] == key:
        return work.ground[1]
    from siteplanner.app.served import picture_url
    from siteplanner.app.uploads import free_memory
    from siteplanner.outputs.pictures.relief import relief_picture

    with st.spinner("Drawing the ground"):
        grid = study.elevation if study is not None else _coarse(work, rasters)
        relief, bounds = relief_picture(grid, max_pixels=PIXELS)
        made: dict[str, Any] = {"relief": picture_url(relief), "bounds": bounds, "layers": []}
        if study is not None:
            made["layers"] = _layers(study)
            west, south, east, north = study.area.total_bounds
            lon, lat = grid.lonlat(np.array([west, east]), np.array([south, north]))
            made["view"] = [[float(lat[0]), float(lon[0])], [float(lat[1]), float(lon[1])]]
    del grid
    free_memory()  # half the memory that reading a large raster took stayed with the program
    work.ground = (key, made)
    return made


def _layers(study: Any) -> list[tuple[str, list[dict[str, Any]], int]]:
    from siteplanner.outputs.map.shapes import feature, geojson, table_shapes
    from siteplanner.planning.telling.units import reader_units

    grid, network = study.elevation, study.network
    lines = [s for s, ok in zip(network.geometry.line, network.tags.for_vehicles, strict=True) if ok]
    roads = [feature("road:all", geojson(shapely.multilinestrings(lines), grid), "open")] if lines else []
    area = table_shapes(study.area, grid, "area", "Incident area", reader_units(study.mission).first)
    return [("Roads", roads, 20), ("Incident area", area, 30)]


def _coarse(work: Work, names: list[str]) -> Any:
    """The brought elevation at about a thousand cells a side. Raises InputError."""
    from shapely.geometry import box

    from siteplanner.data.projections import metric_crs
    from siteplanner.data.rasters import read_elevation

    boxes = [b.record.extent_lonlat for b in work.brought if b.path in names and b.record is not None]
    west, south = min(b[0] for b in boxes), min(b[1] for b in boxes)
    east, north = max(b[2] for b in boxes), max(b[3] for b in boxes)
    cell_m = max((north - south) * 111_000 / 1000, 5.0)
    return read_elevation(
        [work.files / n for n in names],
        near=box(west, south, east, north),
        cell_size_m=cell_m,
        target_crs=metric_crs((west + east) / 2, (south + north) / 2),
    ).grid


def draw_map(work: Work, ground: dict[str, Any]) -> Any:
    """The same script for the same shapes: a changed one would forget what is being drawn."""
    import folium
    from folium.plugins import Draw

    from siteplanner.outputs.map.page import FILES, Picture, Raw, Shapes, data_uri, file_text
    from siteplanner.outputs.map.styles import STYLES

    (south, west), (north, east) = ground["bounds"]
    fmap = folium.Map(
        location=[(south + north) / 2, (west + east) / 2],
        tiles=None,
        control_scale=True,
        attribution_control=False,
        zoom_snap=0.5,
        max_zoom=18,
        zoom_start=12,
    )
    figure: Any = fmap.get_root()
    # our own map style paints the buttons' ground, so the tools' pictures are set again after it; light, they are seen
    sprite = data_uri((FILES / SPRITE).read_bytes(), "image/png")
    tools = (
        f"html .leaflet-draw-toolbar a {{ background-image: url({sprite}); background-color: #FBFAF7;"
        " background-repeat: no-repeat; background-size: 300px 30px; } .leaflet-container { font-size: 14px; }"
    )
    figure.header.add_child(Raw(f"<style>{file_text('own/map.css')}{tools}</style>"), name="own_css")
    fmap.add_child(
        Picture(ground["relief"], ground["bounds"], name="Relief", control=False, class_name="sp-relief", z_index=1)
    )
    for name, features, order in ground["layers"]:
        Shapes(
            features,
            name=name,
            order=order,
            styles={f["properties"]["k"]: STYLES[f["properties"]["k"]] for f in features},
        ).add_to(fmap)
    group = folium.FeatureGroup(name="Drawn", control=False).add_to(fmap)
    for item in work.starting_shapes():
        _leaflet(item, folium).add_to(group)
    Draw(feature_group=group, show_geometry_on_click=False, draw_options=TOOLS).add_to(fmap)
    fmap.fit_bounds(ground.get("view") or [[south, west], [north, east]], padding=(24, 24), max_zoom=15)
    return fmap


def _leaflet(item: Drawn, folium: Any) -> Any:
    held = item.geometry["coordinates"]
    if item.kind == "point":
        return folium.Marker([held[1], held[0]])
    if item.kind == "line":
        return folium.PolyLine([[y, x] for x, y in held])
    return folium.Polygon([[[y, x] for x, y in ring] for ring in held])


def downloads(work: Work) -> None:
    """The drawn shapes as files, for whoever saves the mission file."""
    for name in sorted({f"{drawing.PREFIX}{d.role}.geojson" for d in work.drawn}):
        path = Path(work.files) / name
        if path.is_file():
            st.download_button(
                plain(f"Save {name}"), path.read_bytes(), clean(name), "application/geo+json", on_click="ignore"
            )


def expander(work: Work) -> None:
    """The section in its fold; an error in it leaves the page standing."""

    with st.expander("Draw on the map: areas, closures, must-serve points, tracks"):
        try:
            section(work)
            downloads(work)
        except SiteplannerError as error:
            say_error(error)
