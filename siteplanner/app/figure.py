"""Drawings of the sheets on the page: the same SVG, in the page's own colours by day and by night.

The page's HTML takes no SVG, so a small component draws it. It is read as XML, so that text in it stays text, and
whatever could run is left out.
"""

from __future__ import annotations

import re
from typing import Any

import streamlit as st
import streamlit.components.v2 as components

from siteplanner.app import style
from siteplanner.outputs.words.palettes import NIGHT_INK, NIGHT_PAPER, PAPER, rgb

CSS = """
:host { display: block; }
figure { margin: 0; }
svg { display: block; width: 100%; height: auto; }
figure { overflow-x: auto; }
svg:not(.narrow) { min-width: 620px; }  /* on a telephone the letters stay legible, the drawing scrolls */
svg.narrow { max-width: 520px; margin: 0 auto; }
text { font-family: var(--st-font, sans-serif); }
text:not([fill]), path:not([fill]):not([stroke]) { fill: light-dark(#000, #D9CFC0); }
"""
JS = """
export default function (component) {
  const { data, parentElement } = component;
  const host = parentElement.querySelector("figure");
  const held = new DOMParser().parseFromString(data.svg, "image/svg+xml").documentElement;
  held.querySelectorAll("script, foreignObject, a").forEach((element) => element.remove());
  [held, ...held.querySelectorAll("*")].forEach((element) => [...element.attributes].forEach((one) => {
    if (/^on/i.test(one.name)) element.removeAttribute(one.name);
  }));
  held.removeAttribute("width");
  held.removeAttribute("height");
  if (data.narrow) held.classList.add("narrow");
  host.replaceChildren(document.importNode(held, true));
}
"""
_drawing = components.component("siteplanner_drawing", html="<figure></figure>", css=CSS, js=JS)
_GREY = re.compile(r'(fill|stroke)="#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})"')
_PAGE, _TEXT = rgb(NIGHT_PAPER), rgb(NIGHT_INK)


def put(text: str, where: Any = st) -> None:
    """HTML into the page or a part of it; nothing, which Streamlit refuses, only empties a slot."""
    if text.strip():
        where.html(text)
    elif hasattr(where, "empty") and where is not st:
        where.empty()


def drawing(svg: str | None, title: str, key: str, *, narrow: bool = False) -> bool:
    """Draw a whole SVG below its heading; whether there was one. `key`: its name on the page, once each."""
    if not svg:
        return False
    st.html(style.head(title))
    _drawing(key=f"drawing_{key}", data={"svg": by_day_and_night(svg), "narrow": narrow})
    return True


def by_day_and_night(svg: str) -> str:
    """White becomes the page, and greys are turned over for the night; other colours stay."""
    return _GREY.sub(_turned, svg)


def _turned(match: re.Match[str]) -> str:
    digits = match[2] if len(match[2]) == 6 else "".join(2 * c for c in match[2])
    values = rgb(f"#{digits}")
    if max(values) - min(values) > 8:
        return match[0]
    share = values[0] / 255
    night = "".join(f"{round(a * share + b * (1 - share)):02X}" for a, b in zip(_PAGE, _TEXT, strict=True))
    day = PAPER if digits.lower() == "ffffff" else f"#{digits}"
    return f'{match[1]}="light-dark({day},#{night})"'
