"""A folium map as one file that asks for nothing: code, style and pictures are written into the page.

folium's own page loads ten remote files. `Page` writes the vendored Leaflet in their place and adds a
content security policy, so that a browser refuses every other load and every script that is not ours.

folium and branca compile what they have rendered as a template once more. The elements here (`Raw`, `Piece`,
`Picture`, `Shapes`) hand over finished text instead, so braces in data stay braces; names still pass through
`text.shown`, because the page is HTML and JavaScript too.
"""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64encode
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from mimetypes import guess_type
from typing import Any

from branca.element import Element, Figure, Link
from folium import Map
from folium.elements import ElementAddToElement
from folium.map import Layer
from folium.raster_layers import ImageOverlay
from folium.template import Template

FILES = files(__package__) / "browser_files"
HELD = {  # folium's own names for its links -> what is vendored
    "leaflet": "leaflet/leaflet.js",
    "leaflet_css": "leaflet/leaflet.css",
    "leaflet_draw_js": "leaflet_draw/leaflet.draw.js",
    "leaflet_draw_css": "leaflet_draw/leaflet.draw.css",
}
UNUSED = {name for name, _ in Map.default_js + Map.default_css} - HELD.keys()
"""Links of a stock map that nothing drawn here needs: jQuery, Bootstrap, icon fonts."""


def file_text(path: str) -> str:
    """One of the browser files as text."""
    return (FILES / path).read_text("utf-8")


def data_uri(content: bytes, kind: str) -> str:
    """Bytes as an address that needs no request."""
    return f"data:{kind};base64,{b64encode(content).decode('ascii')}"


def _picture(path: str) -> str:
    return data_uri((FILES / path).read_bytes(), guess_type(path)[0] or "application/octet-stream")


def script_json(value: Any) -> str:
    """JSON that may stand inside a script element (no tag can start in it)."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@cache
def inline(name: str) -> str:
    """A vendored file as a script or style element that stands alone. Raises KeyError: not vendored."""
    path = HELD[name]
    body = re.sub(r"/[/*]# sourceMappingURL=\S+(?: \*/)?", "", file_text(path))
    if name.endswith("_css"):
        folder = path.rsplit("/", 1)[0]

        def held(match: re.Match[str]) -> str:
            return f'url("{_picture(f"{folder}/{match[1]}")}")'

        body = re.sub(r"""url\(['"]?(?!#|data:)([^'")]+)['"]?\)""", held, body)
        return f"<style>{body}</style>"
    if name == "leaflet":  # its stock marker seeks its pictures beside the style sheet, which is nowhere now
        icon = {f"{kind}Url": _picture(f"leaflet/images/marker-{kind}.png") for kind in ("icon", "shadow")}
        icon["iconRetinaUrl"] = icon["iconUrl"]
        body += f'\nL.Icon.Default.imagePath = ""; L.Icon.Default.mergeOptions({script_json(icon)});'
    return "<script>" + re.sub(r"<(?=/script|!--)", r"\\x3c", body, flags=re.IGNORECASE) + "</script>"


class Raw(Element):
    """Finished text: what it holds is never a template."""

    _template = Template("{{this.text}}")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text


class Page(Figure):
    """The root of a map that is saved as one file. `title` must have passed through `text.shown`."""

    def __init__(self, title: str) -> None:
        super().__init__(title=title)

    def render(self, **kwargs: Any) -> str:
        """The page. Raises KeyError if an element wants a file that is not vendored."""
        for child in self._children.values():
            child.render(**kwargs)
        held = self.header._children
        for name in [name for name, item in held.items() if isinstance(item, Link)]:
            if name in UNUSED:
                del held[name]
            else:
                held[name] = Raw(inline(name))
        html = _numbered(self._template.render(this=self, kwargs=kwargs), self)
        nonce = hashlib.sha256(html.encode("utf-8", "replace")).hexdigest()[:24]  # nothing inside can foretell it
        rule = (
            "default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
            f"script-src 'nonce-{nonce}'; base-uri 'none'; form-action 'none'"
        )
        html = html.replace("<script>", f'<script nonce="{nonce}">')
        policy = f'<meta http-equiv="Content-Security-Policy" content="{rule}">'
        # by itself a phone makes numbers to call of grid references
        policy += '<meta name="format-detection" content="telephone=no,date=no,address=no,email=no">'
        return html.replace("<html>", '<html lang="en">', 1).replace("<head>", f"<head>{policy}", 1)


def _numbered(html: str, root: Element) -> str:
    """The page with numbers for the elements' random names, so that the same map makes the same bytes."""
    seen: dict[str, None] = {}
    waiting = [root]
    while waiting:
        element = waiting.pop(0)
        if element._id in seen:
            continue
        seen[element._id] = None
        parts = (getattr(element, name, None) for name in ("header", "html", "script"))
        waiting += [*element._children.values(), *(part for part in parts if isinstance(part, Element))]
    numbers = {name: f"{n:04d}" for n, name in enumerate(seen)}
    return re.sub(r"(?<=_)[0-9a-f]{32}(?![0-9a-f])", lambda found: numbers.get(found[0], found[0]), html)


_FINISHED = Template("{% macro script(this, kwargs) %}{{ this.script() }}{% endmacro %}")


class Piece(Layer):
    """A control or a part of the page's behaviour: finished JavaScript beside the map.

    `script` may use the words MAP and ME; they become the map's and this element's variable names.
    """

    _template = _FINISHED

    def __init__(self, script: str, *, name: str | None = None, control: bool = False, show: bool = False) -> None:
        super().__init__(name=name, overlay=True, control=control, show=show)
        self._name = "Piece"
        self._script = script

    def script(self) -> str:
        """The JavaScript with the names put in."""
        names = {"MAP": parent_name(self), "ME": self.get_name()}
        return re.sub(r"\b(MAP|ME)\b", lambda match: names[match[0]], self._script)

    def render(self, **kwargs: Any) -> str:
        return _render_finished(self)


class Shapes(Layer):
    """Vector features as one `L.geoJSON` layer.

    Each feature's properties may hold: `k` (key into `styles`, path options of Leaflet), `t` (tooltip HTML),
    `p` (popup HTML), `i` (marker HTML, points only), `z` (a marker below 0 lies under the others).
    HTML parts are made with `text.shown`.
    `night`: what replaces parts of a style in the night view.
    `order`: layers with a higher number are drawn above, however they are switched on and off.
    """

    _template = _FINISHED

    def __init__(
        self,
        features: Sequence[dict[str, Any]],
        *,
        name: str,
        styles: dict[str, dict[str, Any]],
        night: dict[str, dict[str, Any]] | None = None,
        order: int = 0,
        control: bool = True,
        show: bool = True,
        popup_width: int = 430,
    ) -> None:
        super().__init__(name=name, overlay=True, control=control, show=show)
        self._name = "Shapes"
        self.features = list(features)
        self.styles = styles
        self.night = night or {}
        self.order = order
        self.popup_width = popup_width

    def script(self) -> str:
        """The JavaScript that makes the layer."""
        data = script_json({"type": "FeatureCollection", "features": self.features})
        styles = script_json(self.styles)
        return f"""
        var {self.get_name()} = (function () {{
          var room = {parent_name(self)}.getSize();
          var styles = {styles}, night = {script_json(self.night)};
          var layer = L.geoJSON({data}, {{
            style: function (f) {{ return styles[f.properties.k] || {{}}; }},
            pointToLayer: function (f, at) {{
              if (f.properties.i === undefined)
                return L.circleMarker(at, styles[f.properties.k] || {{}});
              return L.marker(at, {{icon: L.divIcon({{className: "sp-icon", html: f.properties.i,
                iconSize: null}}), riseOnHover: true,
                zIndexOffset: f.properties.z || 0, keyboard: Boolean(f.properties.p),
                interactive: Boolean(f.properties.p || f.properties.t)}});
            }},
            onEachFeature: function (f, one) {{
              if (f.properties.t) one.bindTooltip(f.properties.t, {{sticky: true, className: "sp-tip"}});
              if (f.properties.p) one.bindPopup(f.properties.p, {{className: "sp-popup",
                maxWidth: Math.min({self.popup_width}, room.x - 60),
                maxHeight: Math.max(240, Math.min(520, room.y - 190)), autoPanPaddingTopLeft: [10, 60]}});
            }}
          }});
          layer.order = {self.order};
          layer.light = function (dark) {{
            layer.setStyle(function (f) {{
              return L.extend({{}}, styles[f.properties.k], dark ? night[f.properties.k] : {{}});
            }});
          }};
          ({parent_name(self)}.spShapes = {parent_name(self)}.spShapes || []).push(layer);
          return layer;
        }})();
        """

    def render(self, **kwargs: Any) -> str:
        return _render_finished(self)

    def _get_self_bounds(self) -> list[list[float | None]]:
        return [[None, None], [None, None]]


class Picture(ImageOverlay):
    """An image between two corners (south-west, north-east), at a data URI or a path on our own server.

    Leaflet stretches it linearly in web mercator: see `basemap`. Its text skips the second template round.
    """

    def __init__(self, url: str, bounds: Sequence[Sequence[float]], **options: Any) -> None:
        super().__init__("data:,", [list(corner) for corner in bounds], pixelated=False, **options)
        self.url = url

    def render(self, **kwargs: Any) -> str:
        return _render_finished(self)


def _render_finished(element: Layer) -> str:
    """Put the element's script into its figure as finished text, then show it if it shows from the start."""
    script = element._template.module.script(element, {})
    root: Any = element.get_root()
    root.script.add_child(Raw(script), name=element.get_name())
    if element.show:
        ElementAddToElement(element.get_name(), parent_name(element)).add_to(element, name="add")
    for child in list(element._children.values()):
        child.render()
    return script


def parent_name(element: Element) -> str:
    """The JavaScript variable of what an element was added to."""
    parent: Any = element._parent
    return parent.get_name()
