"""What the lists of spots share in the browser: making elements from plain text, one choice that is never lost."""

from __future__ import annotations

JS = """
const HELD_MS = 60000;  // a press that a drawing under way knows nothing of is sent again, for no longer than this
let pressed = null;  // the last press: row, what was chosen before it, when
let send = null;  // as the last drawing may answer: a row may be older
const make = (tag, text, parent, name) => {  // text reaches the screen by textContent only
  const element = parent.appendChild(document.createElement(tag));
  if (text !== null) element.textContent = text;
  if (name) element.className = name;
  return element;
};
function heldKey(host) {
  const active = host.getRootNode().activeElement;
  return active && host.contains(active) ? active.dataset.key : null;
}
// what is chosen: by the last press, which goes out again where this drawing does not know of it
function nowChosen(data) {
  const lost = pressed && pressed.key !== data.chosen && pressed.before === data.chosen
    && Date.now() - pressed.at < HELD_MS;
  if (lost) send("chosen", pressed.key);
  else pressed = null;
  return lost ? pressed.key : data.chosen;
}
// the same drawn once more leaves its rows: with a row that is taken away goes the press that is on it
function drawnAlready(host, data, setTriggerValue) {
  const text = JSON.stringify(data), again = host.drawn === text;
  host.drawn = text;
  send = setTriggerValue;
  if (again) {
    const chosen = nowChosen(data);
    host.querySelectorAll("[data-key]").forEach((row) => {
      row.setAttribute("aria-selected", String(row.dataset.key === chosen));
    });
  }
  return again;
}
// the rows as one choice: press, Enter, arrow keys; returns what makes a row part of it. A row that is
// drawn anew while the button of the mouse is down on it hears no click: the list knows what was pressed
function choice(data, host) {
  const rows = [], chosen = nowChosen(data);
  const choose = (row) => {
    rows.forEach((other) => other.setAttribute("aria-selected", String(other === row)));
    pressed = { key: row.dataset.key, before: data.chosen, at: Date.now() };
    send("chosen", row.dataset.key);
  };
  host.onpointerdown = (event) => { host.down = event.target.closest("[data-key]"); };
  host.onpointerup = () => {
    const gone = host.down && !host.down.isConnected ? host.down.dataset.key : null;
    const row = rows.find((one) => one.dataset.key === gone);
    host.down = null;
    if (row) choose(row);
  };
  return (row, key) => {
    row.dataset.key = key;
    row.tabIndex = key === chosen || rows.length === 0 ? 0 : -1;
    row.setAttribute("aria-selected", String(key === chosen));
    row.onclick = () => choose(row);
    row.onkeydown = (event) => {
      const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (step) {
        const seen = rows.filter((other) => other.offsetParent !== null || other === row);
        const next = seen[seen.indexOf(row) + step];
        if (next) { next.focus(); choose(next); }
      } else if (event.key === "Enter" || event.key === " ") choose(row);
      else return;
      event.preventDefault();
    };
    rows.push(row);
    return row;
  };
}
"""
SPOT_CSS = """
.spot { display: inline-block; box-sizing: border-box; min-width: 26px; line-height: 26px; border-radius: 13px;
  padding: 0 7px; text-align: center; font-weight: 700; background: var(--st-text-color);
  color: var(--st-background-color); }
[aria-selected="true"] .spot { background: var(--st-primary-color); color: var(--st-background-color); }
"""
