"""Styles inside a GeoPackage: the table `layer_styles`, which GIS programs read when they open a layer.

Each style stands there twice: as an OGC Styled Layer Descriptor 1.0 (02-070), and as the open desktop GIS writes it
itself (`qml`), for it takes up only the latter unasked. Colours are those of the map (`palettes`).
"""

from __future__ import annotations

import sqlite3
from xml.sax.saxutils import escape

from siteplanner.outputs.gis.qml import qml
from siteplanner.outputs.gis.symbol import Style
from siteplanner.outputs.words.palettes import (
    BLUE,
    DARK_GREEN,
    DARK_VERMILION,
    INK,
    PASSES_COLOUR,
    RULING_COLOURS,
    SERVER_COLOURS,
    SERVICE_CLASSES,
)
from siteplanner.planning.limits.ruling import LIMITS

SERVICE = Style(
    "polygon",
    "#777777",
    0.2,
    "#777777",
    0.6,
    by="probability_from",
    classes=tuple((f"{start:g}", label, colour) for start, colour, label in SERVICE_CLASSES),
)
STYLES: dict[str, Style] = {
    "spots": Style("point", "#ffffff", 12.0, BLUE),
    "judged_spots": Style("point", INK, 5.0, BLUE, 0.6),
    "rejected_spots": Style("point", INK, 8.0, "#ffffff"),
    "staging": Style("point", "#ffffff", 10.0, INK),
    "must_serve": Style("point", INK, 8.0, "#ffd24d"),
    "routes": Style("line", BLUE, 3.0),
    "donor_sites": Style("point", "#ffffff", 10.0, DARK_GREEN),
    "donor_links": Style(
        "line",
        INK,
        1.6,
        by="verdict",
        classes=(
            ("works", "Works", DARK_GREEN),
            ("fails", "Does not work", DARK_VERMILION),
            ("unknown", "Not known", "#777777"),
        ),
    ),
    "last_legs": Style("line", BLUE, 2.0, dashed=True),
    "alternatives": Style("line", BLUE, 2.0, dashed=True),
    "cut_segments": Style("line", DARK_VERMILION, 5.0),
    "decision_points": Style("point", "#ffffff", 6.0, BLUE),
    "hazards_on_drives": Style("point", INK, 7.0, DARK_VERMILION),
    "turning_places": Style("point", INK, 9.0, "#ffffff"),
    "roads": Style(
        "line",
        INK,
        1.2,
        by="for_rig",
        classes=(("1", "For the rig", "#444444"), ("0", "Not for the rig", DARK_VERMILION)),
        boolean=True,
    ),
    "road_hazards": Style("point", INK, 4.0, DARK_VERMILION, 0.6),
    "ruling": Style(
        "polygon",
        "#777777",
        0.3,
        "#777777",
        0.5,
        by="code",
        classes=(
            ("passes", "Passes every limit", PASSES_COLOUR),
            *((code, label, RULING_COLOURS[code]) for code, label in LIMITS.items()),
        ),
    ),
    "service": SERVICE,
    "set_service": SERVICE,
    "set_server": Style(
        "polygon",
        "#777777",
        0.2,
        "#777777",
        0.5,
        by="trailer",
        classes=tuple((str(n), f"Trailer {n}", colour) for n, colour in enumerate(SERVER_COLOURS[:2], 1)),
    ),
    "set_trailers": Style("point", INK, 11.0, SERVER_COLOURS[1]),
    "power_lines": Style("line", RULING_COLOURS["power_line"], 1.6, dashed=True),
    "extra_tracks": Style("line", INK, 1.6, dashed=True),
    "structures": Style("polygon", "#3B3B3B", 1.2, "#3B3B3B", 0.6),
    "structure_lines": Style("line", "#3B3B3B", 1.6),
    "structure_points": Style("point", "#ffffff", 6.0, "#3B3B3B"),
    "water": Style("polygon", "#1F5F8B", 1.0, "#1F5F8B", 0.3),
    "water_lines": Style("line", "#1F5F8B", 1.4),
    "soft_ground": Style("polygon", "#6B5B1E", 1.4, "#6B5B1E", 0.2),
    "incident_area": Style("polygon", INK, 2.2),
    "footprints": Style("polygon", INK, 1.0, "#ffffff", 0.6),
    "hazards": Style("polygon", RULING_COLOURS["hazard"], 1.4, RULING_COLOURS["hazard"], 0.25),
    "landing_zones": Style("polygon", INK, 1.6, INK, 0.1),
    "landing_zone_lines": Style("line", INK, 2.4),
    "landing_zone_points": Style("point", "#ffffff", 9.0, INK),
    "known_cells": Style("point", "#ffffff", 8.0, DARK_VERMILION),
    "license_area": Style("polygon", INK, 1.4),
    "parcels": Style("polygon", "#777777", 0.6),
    "keep_out": Style("polygon", RULING_COLOURS["keep_out"], 1.4, RULING_COLOURS["keep_out"], 0.25),
}


LABELS = {"spots": "name", "set_trailers": "spot", "rejected_spots": "name", "staging": "name"}
"""Layer -> the column that names each shape on the map."""


def add_styles(base: sqlite3.Connection, names: list[str], made: str) -> None:
    """Add the table with one default style a layer, registered as attributes so that readers know it. `made`: when,
    as the standard writes it."""
    base.execute(
        "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), "
        "f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), "
        "styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), "
        "update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))"
    )
    base.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers')"
    )
    columns = dict(base.execute("SELECT table_name, column_name FROM gpkg_geometry_columns"))
    for name in names:
        style = STYLES[name]
        base.execute(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, "
            "styleQML, styleSLD, useAsDefault, description, update_time) VALUES ('', '', ?, ?, ?, ?, ?, 1, '', ?)",
            (name, columns[name], name, qml(style, LABELS.get(name, "")), sld(name, style), made),
        )


def sld(name: str, style: Style) -> str:
    """The style as a Styled Layer Descriptor 1.0 document."""
    if style.by:
        rules = "".join(
            f"<Rule><Name>{escape(label)}</Name><ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>{style.by}"
            f"</ogc:PropertyName><ogc:Literal>{value}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
            f"{_symbolizer(style.coloured(colour))}</Rule>"
            for value, label, colour in style.classes
        )
    else:
        rules = f"<Rule>{_symbolizer(style)}</Rule>"
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld" '
        'xmlns:ogc="http://www.opengis.net/ogc"><NamedLayer>'
        f"<Name>{name}</Name><UserStyle><FeatureTypeStyle>{rules}</FeatureTypeStyle></UserStyle>"
        "</NamedLayer></StyledLayerDescriptor>\n"
    )


def _symbolizer(style: Style) -> str:
    dash = _css("stroke-dasharray", "6 4") if style.dashed else ""
    stroke = f"<Stroke>{_css('stroke', style.colour)}{_css('stroke-width', f'{style.width_px:g}')}{dash}</Stroke>"
    fill = f"<Fill>{_css('fill', style.fill)}{_css('fill-opacity', f'{style.opacity:g}')}</Fill>" if style.fill else ""
    if style.kind == "line":
        return f"<LineSymbolizer>{stroke}</LineSymbolizer>"
    if style.kind == "polygon":
        return f"<PolygonSymbolizer>{fill}{stroke}</PolygonSymbolizer>"
    outline = f"<Stroke>{_css('stroke', style.colour)}{_css('stroke-width', '1.5')}</Stroke>"
    return (
        f"<PointSymbolizer><Graphic><Mark><WellKnownName>circle</WellKnownName>{fill}{outline}</Mark>"
        f"<Size>{style.width_px:g}</Size></Graphic></PointSymbolizer>"
    )


def _css(name: str, value: str) -> str:
    return f'<CssParameter name="{name}">{value}</CssParameter>'
