from __future__ import annotations

import hashlib
import json
import re

import folium
import pytest

from siteplanner.outputs.map import page


def _render(*elements, title="x") -> str:
    fmap = folium.Map(location=[39.6, -105.9], tiles=None)
    for element in elements:
        fmap.add_child(element)
    root = page.Page(title=title)
    root.add_child(fmap)
    return root.render()


def test_vendored_files_are_unchanged_and_all_named():
    listed = json.loads((page.FILES / "vendored.json").read_text("utf-8"))
    for item in listed:
        content = (page.FILES / item["file"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == item["sha256"], item["file"]
    folders = {"leaflet": "1.9.4", "leaflet_draw": "1.0.4"}
    there = {
        f"{folder}/{path.relative_to(root).as_posix()}"
        for folder in folders
        for root in [page.FILES / folder]
        for path in root.rglob("*")
        if path.is_file()
    }
    assert {item["file"] for item in listed} == there
    assert {(item["file"].split("/")[0], item["version"]) for item in listed} == set(folders.items())


@pytest.mark.parametrize(("folder", "words"), [("leaflet", "BSD 2-Clause"), ("leaflet_draw", "free of charge")])
def test_vendored_code_carries_its_licence(folder, words):
    assert words in page.file_text(f"{folder}/LICENSE")


@pytest.mark.parametrize("name", page.HELD)
def test_inlined_files_point_nowhere(name):
    text = page.inline(name)
    assert not re.search(r"url\(['\"]?(?!#|data:|\"data:)[^'\")]", text)
    assert "sourceMappingURL" not in text
    assert text.count("</script") == (0 if name.endswith("css") else 1)


def test_the_page_loads_nothing():
    html = _render()
    assert not re.search(r"<(script|link|img)[^>]+(src|href)\s*=", html)
    assert not re.search(r"@import|importScripts|XMLHttpRequest\(", html.replace("new XMLHttpRequest", ""))


def test_the_policy_names_every_script():
    html = _render()
    nonce = re.search(r"script-src 'nonce-([\w-]+)'", html)
    assert nonce
    assert "default-src 'none'" in html
    assert html.index("Content-Security-Policy") < html.index("<script")
    scripts = re.findall(r"<script[^>]*>", html)
    assert scripts
    assert all(f'nonce="{nonce[1]}"' in tag for tag in scripts)
    # of the whole page: nothing in it can foretell it, and the same page has the same bytes
    assert nonce[1] not in _render(title="another")
    assert _render() == html


def test_a_plugin_that_is_not_vendored_fails_here_and_not_in_the_field():
    from folium.plugins import MiniMap

    with pytest.raises(KeyError):
        _render(MiniMap())


def test_draw_is_vendored():
    from folium.plugins import Draw

    html = _render(Draw(show_geometry_on_click=False))
    assert "L.Control.Draw" in html
    assert not re.search(r"<(script|link)[^>]+(src|href)\s*=", html)


def test_braces_in_finished_parts_stay_braces():
    shapes = page.Shapes(
        [
            {
                "type": "Feature",
                "id": "a",
                "geometry": {"type": "Point", "coordinates": [0, 0]},
                "properties": {"k": "{{7*7}}", "t": "{% if %}"},
            }
        ],
        name="x",
        styles={},
    )
    html = _render(shapes, page.Piece("MAP.x = '{{8*8}}'; ME;"))
    assert '"{{7*7}}"' in html
    assert "{% if %}" in html
    assert "'{{8*8}}'" in html


def test_json_in_a_script_cannot_end_it():
    text = page.script_json({"a": "</script><!--", "b": "\u2028"})
    assert "<" not in text
    assert text.isascii()
    assert json.loads(text) == {"a": "</script><!--", "b": "\u2028"}
    with pytest.raises(ValueError, match="JSON"):
        page.script_json(float("nan"))


def test_stock_links_of_the_process_are_left_alone():
    before = list(folium.Map.default_js)
    _render()
    assert folium.Map.default_js == before
