"""Styles as the open desktop GIS writes them itself (QML), so that it takes them up when a layer is opened.

Each symbol stands twice, as `Option` and as `prop`: the first is read since 3.20, the second before.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

from siteplanner.outputs.gis.symbol import Style
from siteplanner.outputs.words.palettes import rgb

ROOT = "q" + "gis"  # the element that the format is named after
LABEL_PX = 12


def qml(style: Style, label: str = "") -> str:
    """A style as a QML document. `label`: the column that names each shape on the map, '' for none."""
    if style.by:
        symbols = [_symbol(str(n), style.coloured(colour)) for n, (_, _, colour) in enumerate(style.classes)]
        rows = "".join(
            f'<category value="{_attribute(_value(style, value))}" symbol="{n}" label="{_attribute(words)}" '
            'render="true"/>'
            for n, (value, words, _) in enumerate(style.classes)
        )
        head = f'<renderer-v2 type="categorizedSymbol" attr="{style.by}" symbollevels="0" enableorderby="0">'
        renderer = f"{head}<categories>{rows}</categories><symbols>{''.join(symbols)}</symbols></renderer-v2>"
    else:
        head = '<renderer-v2 type="singleSymbol" symbollevels="0" enableorderby="0">'
        renderer = f"{head}<symbols>{_symbol('0', style)}</symbols></renderer-v2>"
    return (
        f'<!DOCTYPE {ROOT}>\n<{ROOT} version="3.22.0" styleCategories="Symbology|Labeling" '
        f'labelsEnabled="{int(bool(label))}">{renderer}{_labels(label)}</{ROOT}>\n'
    )


def _value(style: Style, value: str) -> str:
    """Yes and no are written as words there."""
    return {"1": "true", "0": "false"}.get(value, value) if style.boolean else value


def _symbol(name: str, style: Style) -> str:
    width, kind = f"{style.width_px:g}", {"point": "marker", "line": "line", "polygon": "fill"}[style.kind]
    if style.kind == "line":
        layer, held = "SimpleLine", {
            "line_color": _colour(style.colour),
            "line_width": width,
            "line_width_unit": "Pixel",
            "line_style": "dash" if style.dashed else "solid",
            "capstyle": "round",
            "joinstyle": "round",
        }  # fmt: skip
    elif style.kind == "polygon":
        layer, held = "SimpleFill", {
            "color": _colour(style.fill or "#ffffff", style.opacity),
            "style": "solid" if style.fill else "no",
            "outline_color": _colour(style.colour),
            "outline_style": "solid",
            "outline_width": width,
            "outline_width_unit": "Pixel",
        }  # fmt: skip
    else:
        layer, held = "SimpleMarker", {
            "name": "circle",
            "color": _colour(style.fill, style.opacity),
            "outline_color": _colour(style.colour),
            "outline_style": "solid",
            "outline_width": "1.5",
            "outline_width_unit": "Pixel",
            "size": width,
            "size_unit": "Pixel",
        }  # fmt: skip
    options = "".join(f'<Option type="QString" name="{k}" value="{v}"/>' for k, v in held.items())
    props = "".join(f'<prop k="{k}" v="{v}"/>' for k, v in held.items())
    return (
        f'<symbol type="{kind}" name="{name}" alpha="1" clip_to_extent="1" force_rhr="0">'
        f'<layer class="{layer}" enabled="1" locked="0" pass="0">'
        f'<Option type="Map">{options}</Option>{props}</layer></symbol>'
    )


def _labels(column: str) -> str:
    if not column:
        return ""
    return (
        f'<labeling type="simple"><settings><text-style fieldName="{column}" isExpression="0" fontSize="{LABEL_PX}" '
        'fontSizeUnit="Pixel" textColor="28,36,48,255" namedStyle="Bold"><text-buffer bufferDraw="1" bufferSize="2" '
        'bufferSizeUnits="Pixel" bufferColor="255,255,255,255" bufferOpacity="1"/></text-style>'
        '<placement placement="6" dist="2" distUnits="Pixel"/><rendering drawLabels="1"/></settings></labeling>'
    )


def _colour(colour: str, opacity: float = 1.0) -> str:
    red, green, blue = rgb(colour)
    return f"{red},{green},{blue},{round(255 * opacity)}"


def _attribute(text: str) -> str:
    return escape(text, {'"': "&quot;"})
