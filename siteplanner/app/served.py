"""Code and pictures of the map from our own server.

A Streamlit component is first of all a folder that the server gives out, so two of them carry the vendored map code
and the pictures made for a plan. Imported inside a script run: outside of one nothing is registered.
"""

from __future__ import annotations

import atexit
from hashlib import sha256
from pathlib import Path
from typing import Any

import streamlit.components.v1 as components

from siteplanner.app.private import PassingFolder
from siteplanner.outputs.map.page import FILES, HELD, UNUSED

_FOLDER = PassingFolder()
atexit.register(_FOLDER.cleanup)
PICTURES = Path(_FOLDER.name)
_code = components.declare_component("map_code", path=str(FILES))
_pictures = components.declare_component("map_pictures", path=str(PICTURES))


def picture_url(content: bytes) -> str:
    """Where the map's frame fetches a WebP picture. The name is its fingerprint, so that a browser may keep it."""
    file = PICTURES / f"{sha256(content).hexdigest()[:32]}.webp"
    if not file.exists():
        staged = file.with_suffix(f".{id(content)}.part")
        staged.write_bytes(content)
        staged.replace(file)
    return f"../{_pictures.name}/{file.name}"


def localise(element: Any) -> None:
    """Point every link of a map and what hangs on it at our own server. Raises KeyError: not vendored."""
    for kind in ("default_js", "default_css"):
        if hasattr(element, kind):
            links = [name for name, _ in getattr(element, kind) if name not in UNUSED]
            setattr(element, kind, [(name, f"../{_code.name}/{HELD[name]}") for name in links])
    for child in element._children.values():
        localise(child)
