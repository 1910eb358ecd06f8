"""The ranking as a table whose whole rows can be clicked, tapped, or walked with the arrow keys.

Text reaches the screen by `textContent` only, so a name from a file is never more than text.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st
import streamlit.components.v2 as components

from siteplanner.app.session import spot_key
from siteplanner.mission.criteria import CRITERIA
from siteplanner.outputs.words.text import clean, percent_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.backhaul_rows import backhaul_cell
from siteplanner.planning.telling.score import place_text, score_text
from siteplanner.planning.telling.units import METRIC

KEY = "ranking"
CSS = """
:host { display: block; }
table { border-collapse: collapse; width: 100%; font: 15px/1.3 var(--st-font); color: var(--st-text-color);
  font-variant-numeric: tabular-nums; }
th { text-align: right; font-weight: 600; font-size: 13px; padding: 4px 5px; opacity: .75; vertical-align: bottom; }
td { text-align: right; padding: 0 5px; height: 40px; border-top: 1px solid var(--st-border-color);
  white-space: nowrap; }
th:nth-child(-n+2), td:nth-child(-n+2) { text-align: left; }
td.long { white-space: normal; min-width: 74px; font-size: 14px; line-height: 1.2; }
td:nth-child(1) { white-space: normal; overflow-wrap: anywhere; max-width: 130px; }
td:nth-child(2) { font-size: 14px; opacity: .8; }
tbody tr { cursor: pointer; }
tbody tr:hover { background: var(--st-secondary-background-color); }
tbody tr[aria-selected="true"] { background: color-mix(in srgb, var(--st-primary-color) 16%, transparent);
  box-shadow: inset 5px 0 0 var(--st-primary-color); }
tbody tr:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: -3px; }
.spot { display: inline-block; box-sizing: border-box; min-width: 26px; line-height: 26px; border-radius: 13px;
  padding: 0 7px; text-align: center; font-weight: 700; background: var(--st-text-color);
  color: var(--st-background-color); margin-left: 6px; }
tr[aria-selected="true"] .spot { background: var(--st-primary-color); color: var(--st-background-color); }
.score { font-weight: 700; }
.bar { display: flex; height: 5px; width: 76px; margin: 1px 0 0 auto;
  background: var(--st-secondary-background-color); }
.bar i { display: block; height: 5px; }
"""
JS = """
const HELD_MS = 5000;  // a press that a drawing under way knows nothing of is sent again, for no longer than this
let pressed = null;  // the last press: row, what was chosen before it, when
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const host = parentElement.querySelector("#host");
  const root = host.getRootNode();
  const held = root.activeElement && host.contains(root.activeElement) ? root.activeElement.dataset.key : null;
  const make = (tag, text, parent, name) => {
    const element = parent.appendChild(document.createElement(tag));
    if (text !== null) element.textContent = text;
    if (name) element.className = name;
    return element;
  };
  host.replaceChildren();
  const table = make("table", null, host);
  table.setAttribute("role", "grid");
  table.setAttribute("aria-label", "Ranked spots");
  const top = make("tr", null, make("thead", null, table));
  data.columns.forEach((words) => { make("th", words, top).scope = "col"; });
  const body = make("tbody", null, table);
  const rows = [];
  const choose = (row) => {
    rows.forEach((other) => other.setAttribute("aria-selected", String(other === row)));
    pressed = { key: row.dataset.key, before: data.chosen, at: Date.now() };
    setTriggerValue("chosen", row.dataset.key);
  };
  const lost = pressed && pressed.key !== data.chosen && pressed.before === data.chosen
    && Date.now() - pressed.at < HELD_MS;
  const chosen = lost ? pressed.key : data.chosen;
  if (lost) setTriggerValue("chosen", pressed.key);
  else pressed = null;
  data.rows.forEach((item) => {
    const row = make("tr", null, body);
    row.dataset.key = item.key;
    row.tabIndex = item.key === chosen ? 0 : -1;
    row.setAttribute("aria-selected", String(item.key === chosen));
    make("span", item.name, make("td", null, row), "spot");
    make("td", item.place, row);
    const score = make("td", null, row);
    make("span", item.score, score, "score");
    const bar = make("div", null, score, "bar");
    item.parts.forEach((part) => {
      const piece = make("i", null, bar);
      piece.style.width = part.share + "%";
      piece.style.background = part.colour;
      piece.title = part.words;
    });
    item.cells.forEach((text) => make("td", text, row, text.length > 10 ? "long" : ""));
    row.onclick = () => choose(row);
    row.onkeydown = (event) => {
      const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (step) {
        const next = rows[rows.indexOf(row) + step];
        if (next) { next.focus(); choose(next); }
      } else if (event.key === "Enter" || event.key === " ") choose(row);
      else return;
      event.preventDefault();
    };
    rows.push(row);
  });
  if (held) { const again = rows.find((row) => row.dataset.key === held); if (again) again.focus(); }
}
"""
_table = components.component("siteplanner_ranking", html='<div id="host"></div>', css=CSS, js=JS)


def ranking_rows(plan: Plan) -> tuple[list[str], list[dict[str, Any]]]:
    """Column heads and one row a spot, as plain data."""
    serve = any(r.evaluation.coverage and r.evaluation.coverage.must_serve for r in plan.spots)
    columns = [
        "Spot",
        "Place",
        "Score",
        "Area served",
        *(["Must-serve"] if serve else []),
        "Drive",
        CRITERIA["backhaul"].words_of(plan.mission).column,
        "Slope",
        "On air",
    ]
    return columns, [_row(ranked, serve, backhaul_cell(ranked.evaluation, METRIC)) for ranked in plan.spots]


def _row(ranked: RankedSpot, serve: bool, backhaul: str) -> dict[str, Any]:
    e = ranked.evaluation
    cells = [percent_text(e.coverage.share) if e.coverage else "not known"]
    if serve:
        points = e.coverage.must_serve if e.coverage else ()
        cells.append(percent_text(sum(p.probability for p in points) / len(points)) if points else "not known")
    cells += [
        METRIC.seconds(e.access.drive_time_s) if e.access else "not known",
        backhaul,
        METRIC.angle(e.ground.slope_deg),
        METRIC.figure(e.on_air.mean_min, "min") if e.on_air else "not known",
    ]
    parts = [
        {
            "share": round(c.contribution, 2),
            "colour": CRITERIA[c.name].colour,
            "words": f"{c.label}: {c.contribution:.1f} points",
        }
        for c in ranked.criteria
    ]
    return {
        "key": spot_key(ranked),
        "name": clean(ranked.spot.name),
        "place": place_text(ranked.rank),
        "score": score_text(ranked.criteria),
        "cells": cells,
        "parts": parts,
    }


def ranking_table(plan: Plan, chosen: str | None, on_choose: Callable[[str], None]) -> None:
    """Draw the table; `on_choose` gets the key of the spot that the user picks."""

    def picked() -> None:
        key = st.session_state[KEY].get("chosen")
        if key:
            on_choose(str(key))

    columns, rows = ranking_rows(plan)
    _table(key=KEY, data={"columns": columns, "rows": rows, "chosen": chosen}, on_chosen_change=picked)
