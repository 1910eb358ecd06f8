"""What an atlas shows by itself, written beside it: the best place of each settlement, and ground that none serves."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.errors import OutputError
from siteplanner.outputs.gis.tiffs import write_percent
from siteplanner.outputs.map.map import empty_map
from siteplanner.outputs.map.opening import corners, show_at_once
from siteplanner.outputs.map.page import Page, Picture, Raw, Shapes, data_uri, file_text
from siteplanner.outputs.map.shapes import eastward, feature, geojson, picture_bounds, point
from siteplanner.outputs.map.styles import NIGHT, STYLES
from siteplanner.outputs.pictures.relief import class_picture, relief_picture
from siteplanner.outputs.switch import Switch
from siteplanner.outputs.words.palettes import CLASS_OPACITY, SERVICE_CLASSES, drawn
from siteplanner.outputs.words.text import clean, csv_text, named, shown
from siteplanner.planning.atlas.settlements import RegionService, Settlement
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.atlas import service_words, settlement_words
from siteplanner.planning.telling.units import Units

FOLDER = "region"
FILES = ("served.tif", "region.gpkg", "region.html", "settlements.csv")
UNSERVED = "not served from any place"


def write_region(atlas: Path, name: str, heights: Grid, service: RegionService, units: Units) -> list[Path]:
    """Write the map of a region in three forms, and the table of settlements. Raises OutputError."""
    folder = atlas / FOLDER
    try:
        with Switch(folder) as switch:
            write_percent(service.chance, switch.path / "served.tif", {"REGION": clean(name)})
            _write_layers(switch.path / "region.gpkg", service, units)
            (switch.path / "region.html").write_text(region_html(name, heights, service, units), encoding="utf-8")
            rows = [_row(one, units) for one in service.settlements]
            table = csv_text(list(_row_names(rows)), rows)
            (switch.path / "settlements.csv").write_text(table, encoding="utf-8-sig")
            return switch.now(FILES)
    except OSError as error:
        raise OutputError(
            f"The map of the region cannot be written ({error.strerror or error}).",
            remedy="Free space on the disk, then run the same command: what is finished is kept.",
            file=folder,
        ) from error


def _row_names(rows: list[dict[str, Any]]) -> tuple[str, ...]:
    names = "settlement", "latitude", "longitude", "served", "chance_pct", "place", "place_grid", "place_latitude"
    more = "place_longitude", "distance_m", "sector_true_deg", "mast_m", "drive_min", "words"
    return (*names, *more)


def _row(one: Settlement, units: Units) -> dict[str, Any]:
    spot = None if one.place is None else one.place.evaluation.spot
    known = lambda value, digits: None if not math.isfinite(value) else round(value, digits)  # noqa: E731
    return {
        "settlement": clean(one.town.name),
        "latitude": round(one.town.latitude, 6),
        "longitude": round(one.town.longitude, 6),
        "served": "yes" if one.served else "no",
        "chance_pct": math.floor(100 * one.chance),
        "place": None if one.place is None else one.place.name,
        "place_grid": None if spot is None else spot.grid_reference,
        "place_latitude": None if spot is None else round(spot.latitude, 6),
        "place_longitude": None if spot is None else round(spot.longitude, 6),
        "distance_m": known(one.distance_m, 0),
        "sector_true_deg": known(one.bearing_deg, 1),
        "mast_m": known(one.mast_height_m, 2),
        "drive_min": known(one.drive_s / 60, 1),
        "words": settlement_words(one, units),
    }


def _write_layers(path: Path, service: RegionService, units: Units) -> None:
    """Settlements, a line from each to its place, and the ground without service."""
    import geopandas as gpd
    from shapely.geometry import LineString, Point

    crs = service.chance.crs
    rows = [_row(one, units) for one in service.settlements]
    towns = gpd.GeoDataFrame(rows, geometry=[Point(o.town.x, o.town.y) for o in service.settlements], crs=crs)
    linked = [o for o in service.settlements if o.place is not None]
    links = gpd.GeoDataFrame(
        [
            {"settlement": clean(o.town.name), "place": o.place.name if o.place else "", "served": o.served}
            for o in linked
        ],
        geometry=[
            LineString([(o.place.evaluation.spot.x, o.place.evaluation.spot.y), (o.town.x, o.town.y)])
            for o in linked
            if o.place is not None
        ],
        crs=crs,
    )
    for layer, frame in (("settlements", towns), ("best_places", links), ("not_served", _unserved(service.chance))):
        if len(frame):
            frame.to_file(path, layer=layer, driver="GPKG")


def _unserved(chance: Grid) -> Any:
    """Polygons of known ground of the region that no place serves."""
    import geopandas as gpd
    from rasterio.features import shapes
    from shapely.geometry import shape

    low = (chance.values < SERVED).astype(np.uint8)
    found = [shape(s) for s, value in shapes(low, mask=low == 1, transform=chance.transform) if value == 1]
    return gpd.GeoDataFrame({"words": [UNSERVED] * len(found)}, geometry=found, crs=chance.crs)


def region_html(name: str, heights: Grid, service: RegionService, units: Units) -> str:
    """The map as one page that needs no network."""
    known = heights.with_values(np.where(np.isfinite(heights.values), heights.values, np.nan))
    relief, bounds = relief_picture(known)
    fmap = empty_map(data_uri(relief, "image/webp"), bounds)
    steps = [start for start, _, _ in SERVICE_CLASSES]
    classes = np.digitize(np.nan_to_num(service.chance.values, nan=0.0), steps).astype(np.uint8)
    colours = {n: (colour, CLASS_OPACITY) for n, (_, colour, _) in enumerate(SERVICE_CLASSES, 1)}
    picture, at = class_picture(service.chance.with_values(classes), colours)
    fmap.add_child(
        Picture(
            data_uri(picture, "image/webp"),
            picture_bounds(at, heights),
            name="Service from the best place",
            class_name="sp-classes",
            z_index=4,
        )
    )
    marks = [feature("outline", geojson(service.outline, heights), "area", t="Outline of the region")]
    for number, one in enumerate(service.settlements, 1):
        where = point(eastward([one.town.longitude], heights)[0], one.town.latitude)
        words = f"{named(one.town.name)}: {shown(settlement_words(one, units))}"
        missed = "" if one.served else " sp-missed"
        marks.append(
            feature(f"town:{number}", where, "must_serve", i=f'<span class="sp-must{missed}"></span>', t=words)
        )
        marks.append(
            feature(f"label:{number}", where, "label", i=f'<span class="sp-label">{named(one.town.name)}</span>')
        )
        if one.place is not None:
            spot = one.place.evaluation.spot
            there = point(eastward([spot.longitude], heights)[0], spot.latitude)
            line = {"type": "LineString", "coordinates": [there["coordinates"], where["coordinates"]]}
            marks.append(feature(f"link:{number}", line, "link" if one.served else "link_blocked", t=words))
    used = {f["properties"]["k"] for f in marks}
    styles, night = ({k: s for k, s in held.items() if k in used} for held in (STYLES, NIGHT))
    fmap.add_child(Shapes(marks, name="Settlements", styles=styles, night=night, order=60))
    rows, cols = service.chance.shape
    x, y = service.chance.xy(np.array([0, rows - 1]), np.array([0, cols - 1]))
    lon, lat = service.chance.lonlat(x, y)
    show_at_once(fmap, corners(lat, lon))
    root = Page(title=shown(f"{clean(name)}: who can be served"))
    figure: Any = fmap.get_root()
    own_css = figure.header._children["own_css"]
    root.add_child(fmap)
    root.header.add_child(own_css, name="own_css")
    root.header.add_child(Raw(f"<style>{file_text('own/page.css')}</style>"), name="page_css")
    root.html.add_child(Raw(_panel(name, service, units)), name="panel")
    return root.render()


def _panel(name: str, service: RegionService, units: Units) -> str:
    """The heading, what the colors mean, and the settlements as a list."""
    swatches = "".join(
        f'<li><i class="sp-box" style="--c:{day};--n:{night}"></i><span>{shown(words)}</span></li>'
        for (day, night), words in ((drawn(colour), words) for _, colour, words in SERVICE_CLASSES)
    )
    missed = [o for o in service.settlements if not o.served]
    others = [o for o in service.settlements if o.served]
    items = "".join(
        f"<li><b>{named(one.town.name)}</b>: {shown(settlement_words(one, units))}</li>" for one in (*missed, *others)
    )
    return (
        f'<main id="sp-panel"><h1>{named(name)}</h1><p>{shown(service_words(service, units))}</p>'
        f"<h2>Chance of service from the best place</h2>"
        f'<div id="sp-legend" style="position:static"><ul>{swatches}</ul></div>'
        f"<p>Ground without color inside the outline: no place serves it, or nothing is known of it.</p>"
        f'<h2>Settlements</h2><ul class="sp-notes">{items}</ul></main>'
    )
