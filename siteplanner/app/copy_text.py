"""A text behind a button that copies it; it can be opened to be read over a radio.

The text reaches the screen by `textContent` only, so a name from a file is never more than text.
"""

from __future__ import annotations

import streamlit.components.v2 as components

CSS = """
:host { display: block; }
.row { display: flex; flex-wrap: wrap; gap: 6px 14px; align-items: center; }
button { font: 600 15px var(--st-font); min-height: 44px; padding: 0 16px; cursor: pointer; border-radius: 8px;
  color: var(--st-text-color); background: var(--st-background-color);
  border: 1px solid color-mix(in srgb, currentColor 45%, transparent); }
button:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: 2px; }
output { font: 600 15px var(--st-font); color: var(--st-text-color); }
pre { font: 14px/1.45 ui-monospace, monospace; white-space: pre-wrap; overflow-wrap: anywhere; margin: 8px 0 0;
  padding: 12px; color: var(--st-text-color); background: var(--st-secondary-background-color); border-radius: 8px; }
@media print { .row { display: none; } pre { display: none; } }
"""
JS = """
export default function (component) {
  const { data, parentElement } = component;
  const host = parentElement.querySelector("#host");
  const shown = host.querySelector("pre");
  const open = shown && !shown.hidden;
  host.replaceChildren();
  const row = host.appendChild(document.createElement("div"));
  row.className = "row";
  const text = host.appendChild(document.createElement("pre"));
  text.textContent = data.text;
  text.hidden = !open;
  const button = (words, press) => {
    const made = row.appendChild(document.createElement("button"));
    made.type = "button";
    made.textContent = words;
    made.onclick = press;
    return made;
  };
  button(data.words, async () => {
    try { await navigator.clipboard.writeText(data.text); said.textContent = "Copied"; }
    catch {  // a browser that gives no clipboard: the text is laid open and marked, to be copied by hand
      text.hidden = false;
      getSelection().selectAllChildren(text);
      said.textContent = "Marked: copy it with your keyboard or a long press";
    }
  });
  const turn = button(open ? "Hide the text" : "Show the text", () => {
    text.hidden = !text.hidden;
    turn.textContent = text.hidden ? "Show the text" : "Hide the text";
    turn.setAttribute("aria-expanded", String(!text.hidden));
  });
  turn.setAttribute("aria-expanded", String(Boolean(open)));
  const said = row.appendChild(document.createElement("output"));
}
"""
_copy = components.component("siteplanner_copy", html='<div id="host"></div>', css=CSS, js=JS)


def copy_text(words: str, text: str, key: str) -> None:
    """A button `words` that copies `text`, and one that shows it. `key`: its name on the page, once each."""
    _copy(key=f"copy_{key}", data={"words": words, "text": text})
