"""Every judged spot as a table that can be narrowed down; whole rows can be pressed, or walked with the arrow keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit.components.v2 as components

from siteplanner.app.choosing import JS as CHOOSING
from siteplanner.app.choosing import SPOT_CSS
from siteplanner.app.pressing import event_of
from siteplanner.app.session import spot_key
from siteplanner.mission.criteria import CRITERIA
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.answer import points_served
from siteplanner.planning.telling.backhaul_rows import backhaul_cell
from siteplanner.planning.telling.clock import minutes_range
from siteplanner.planning.telling.ground import slope_cell
from siteplanner.planning.telling.score import score_text
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

KEY = "ranking"
CSS = (
    SPOT_CSS
    + """
:host { display: block; }
.bar-of-filters { display: flex; flex-wrap: wrap; gap: 6px; align-items: center; margin: 0 0 8px;
  font: 14px/1.3 var(--st-font); color: var(--st-text-color); }
.bar-of-filters button { min-height: 36px; padding: 2px 12px; font: inherit; cursor: pointer; border-radius: 18px;
  color: inherit; background: none; border: 1px solid var(--st-border-color); }
.bar-of-filters button[aria-pressed="true"] { background: var(--st-primary-color); color: var(--st-background-color);
  border-color: var(--st-primary-color); }
.scroll { max-height: 460px; overflow: auto; }
table { border-collapse: collapse; width: 100%; font: 15px/1.3 var(--st-font); color: var(--st-text-color);
  font-variant-numeric: tabular-nums; }
th { text-align: right; font-weight: 600; font-size: 13px; padding: 4px 6px; vertical-align: bottom; position: sticky;
  top: 0; background: var(--st-background-color); }
td { text-align: right; padding: 0 6px; height: 36px; border-top: 1px solid var(--st-border-color);
  white-space: nowrap; }
th:nth-child(-n+2), td:nth-child(-n+2) { text-align: left; }
td.long { white-space: normal; min-width: 74px; font-size: 14px; line-height: 1.2; }
td:nth-child(1) { white-space: normal; overflow-wrap: anywhere; max-width: 130px; }
tbody tr { cursor: pointer; }
tr[hidden] { display: none; }
tbody tr:hover { background: var(--st-secondary-background-color); }
tbody tr[aria-selected="true"] { background: color-mix(in srgb, var(--st-primary-color) 16%, transparent);
  box-shadow: inset 5px 0 0 var(--st-primary-color); }
tbody tr:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: -3px; }
.spot { margin-left: 6px; }
.score { font-weight: 700; }
.bar { display: flex; height: 5px; width: 76px; margin: 1px 0 0 auto;
  background: var(--st-secondary-background-color); }
.bar i { display: block; height: 5px; }
"""
)
JS = (
    CHOOSING
    + """
const pressedFilters = new Set();  // what the reader has pressed stays through every drawing
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const host = parentElement.querySelector("#host"), held = heldKey(host);
  const old = host.querySelector(".scroll"), top = old ? old.scrollTop : 0;
  if (drawnAlready(host, data, setTriggerValue)) return;
  host.replaceChildren();
  const bar = make("div", null, host, "bar-of-filters");
  const scroll = make("div", null, host, "scroll"), table = make("table", null, scroll);
  table.setAttribute("role", "grid");
  table.setAttribute("aria-label", "Judged spots");
  const head = make("tr", null, make("thead", null, table));
  data.columns.forEach((words) => { make("th", words, head).scope = "col"; });
  const body = make("tbody", null, table), rows = [];
  const join = choice(data, host);
  data.rows.forEach((item) => {
    const row = join(make("tr", null, body), item.key);
    make("span", item.name, make("td", null, row), "spot");
    make("td", item.rank, row);
    const score = make("td", null, row);
    make("span", item.score, score, "score");
    const parts = make("div", null, score, "bar");
    item.parts.forEach((part) => {
      const piece = make("i", null, parts);
      piece.style.width = part.share + "%";
      piece.style.background = part.colour;
      piece.title = part.words;
    });
    item.cells.forEach((text) => make("td", text, row, text.length > 14 ? "long" : ""));
    rows.push([row, item.tags]);
  });
  const count = document.createElement("span");
  count.setAttribute("role", "status");
  const narrow = () => {
    let seen = 0;
    rows.forEach(([row, tags]) => {
      row.hidden = ![...pressedFilters].every((tag) => tags.includes(tag));
      if (!row.hidden) seen += 1;
    });
    count.textContent = seen + " of " + rows.length;
  };
  data.filters.forEach((words, n) => {
    const button = make("button", words, bar);
    button.type = "button";
    button.setAttribute("aria-pressed", String(pressedFilters.has(n)));
    button.onclick = () => {
      if (!pressedFilters.delete(n)) pressedFilters.add(n);
      button.setAttribute("aria-pressed", String(pressedFilters.has(n)));
      narrow();
    };
  });
  bar.appendChild(count);
  narrow();
  scroll.scrollTop = top;
  if (held) { const again = rows.find(([row]) => row.dataset.key === held); if (again) again[0].focus(); }
}
"""
)
_table = components.component("siteplanner_ranking", html='<div id="host"></div>', css=CSS, js=JS)


def ranking_rows(plan: Plan, units: Units = METRIC) -> tuple[list[str], list[dict[str, Any]]]:
    """Column heads and one row a judged spot, as plain data."""
    spots = plan.judged or plan.spots
    serve = any(r.evaluation.coverage and r.evaluation.coverage.must_serve for r in spots)
    columns = [
        "Spot",
        "Rank",
        "Score",
        "Area served",
        *(["Named points"] if serve else []),
        "Drive",
        CRITERIA["backhaul"].words_of(plan.mission).column,
        "Slope",
        "On air",
    ]
    return columns, [_row(r, serve, backhaul_cell(r.evaluation, units), units, plan) for r in spots]


def filters(plan: Plan) -> list[str]:
    """What the table can be narrowed down to; a row's tags are their numbers."""
    return [
        *(clean(f"Serves {p.name}") for p in plan.points),
        "Two ways in",
        "Two ways out",
        "In the list handed over",
    ]


def _tags(ranked: RankedSpot, plan: Plan) -> list[int]:
    e = ranked.evaluation
    points = {} if e.coverage is None else {p.name: p.probability for p in e.coverage.must_serve}
    access, listed = e.access, any(r.spot.key == ranked.spot.key for r in plan.spots)
    holds = [
        *(points.get(p.name, 0.0) >= (p.needed if p.required else SERVED) for p in plan.points),
        access is not None and access.one_way_in is False,
        access is not None and (access.ways_out or 0) >= 2,
        listed,
    ]
    return [n for n, held in enumerate(holds) if held]


def _row(ranked: RankedSpot, serve: bool, backhaul: str, units: Units, plan: Plan) -> dict[str, Any]:
    e = ranked.evaluation
    cells = [units.share(e.coverage.share) if e.coverage else NOT_KNOWN]
    if serve:
        cells.append(points_served(e) or NOT_KNOWN)
    cells += [
        units.seconds(e.access.drive_time_s) if e.access else NOT_KNOWN,
        backhaul,
        slope_cell(e.ground, units),
        minutes_range(e.on_air.early_min, e.on_air.late_min, units) if e.on_air else NOT_KNOWN,
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
        "rank": str(ranked.rank),
        "score": score_text(ranked.criteria),
        "cells": cells,
        "parts": parts,
        "tags": _tags(ranked, plan),
    }


def ranking_table(plan: Plan, units: Units, chosen: str | None, on_choose: Callable[[str], None]) -> None:
    """Draw the table; `on_choose` gets the key of the spot that the user picks."""

    def picked() -> None:
        key = event_of(KEY, "chosen")
        if key:
            on_choose(str(key))

    columns, rows = ranking_rows(plan, units)
    data = {"columns": columns, "rows": rows, "chosen": chosen, "filters": filters(plan)}
    _table(key=KEY, data=data, on_chosen_change=picked)
