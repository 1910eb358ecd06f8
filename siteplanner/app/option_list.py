"""The options, one below the other: what each is best at, what it gives and costs, when to choose it and by when."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit.components.v2 as components

from siteplanner.app.choosing import JS as CHOOSING
from siteplanner.app.choosing import SPOT_CSS
from siteplanner.app.labels import Units
from siteplanner.app.pressing import event_of
from siteplanner.app.session import spot_key
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.options import Option
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.answer import COLUMNS, spot_cells
from siteplanner.planning.telling.certainty import first_if_words
from siteplanner.planning.telling.options import option_sentences
from siteplanner.planning.telling.score import score_text

KEY = "options"
CSS = (
    SPOT_CSS
    + """
:host { display: block; }
.list { font: 15px/1.35 var(--st-font); color: var(--st-text-color); font-variant-numeric: tabular-nums; }
.item { display: grid; grid-template-columns: 44px 1fr; padding: 7px 8px 8px 6px; cursor: pointer;
  border-top: 1px solid var(--st-border-color); }
.item:hover { background: var(--st-secondary-background-color); }
.item[aria-selected="true"] { background: color-mix(in srgb, var(--st-primary-color) 12%, transparent);
  box-shadow: inset 5px 0 0 var(--st-primary-color); }
.item:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: -3px; }
.spot { margin: 2px 0 0 5px; height: 26px; justify-self: start; }
.figures { display: flex; flex-wrap: wrap; gap: 0 11px; }
.figures div { font-weight: 700; font-size: 16px; line-height: 1.2; white-space: nowrap; }
.figures small { display: block; font-weight: 400; font-size: 12.5px; opacity: .8; }
p { margin: 3px 0 0; font-size: 14.5px; overflow-wrap: anywhere; }
.kind { font-weight: 700; margin-right: 5px; }
.rank { font-size: 13px; opacity: .8; }
.more { display: none; }
.item[aria-selected="true"] .more { display: block; }
"""
)
JS = (
    CHOOSING
    + """
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const host = parentElement.querySelector("#host"), held = heldKey(host);
  if (drawnAlready(host, data, setTriggerValue)) return;
  host.replaceChildren();
  const list = make("div", null, host, "list");
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Options");
  const join = choice(data, host);
  data.rows.forEach((item) => {
    const row = join(make("div", null, list, "item"), item.key);
    row.setAttribute("role", "option");
    make("span", item.name, row, "spot");
    const body = make("div", null, row), figures = make("div", null, body, "figures");
    item.cells.forEach((text, n) => make("small", data.columns[n], make("div", text, figures)));
    item.lines.forEach(([kind, text, always]) => {
      const line = make("p", null, body, always ? "" : "more");
      if (kind) make("span", kind, line, "kind");
      line.appendChild(document.createTextNode(text));
    });
    const rank = make("p", item.rank + ", score ", body, "rank");
    make("span", item.score, rank, "score");
  });
  if (held) { const again = list.querySelector(`[data-key="${CSS.escape(held)}"]`); if (again) again.focus(); }
}
"""
)
_list = components.component("siteplanner_options", html='<div id="host"></div>', css=CSS, js=JS)


def option_rows(plan: Plan, units: Units) -> list[dict[str, Any]]:
    """One row an option as plain data; the first spots by rank where the plan holds no options."""
    if not plan.options:
        return [_row(r, units, []) for r in plan.spots[:3]]
    return [_row(o.ranked, units, _lines(o, plan, units)) for o in plan.options]


def _lines(option: Option, plan: Plan, units: Units) -> list[tuple[str, str, bool]]:
    """(kind, sentence, whether it stands there also while the option is not chosen)."""
    told = option_sentences(option, plan.mission.times.dispatch, units)
    tied = len(plan.tied) > 1 and any(r.spot.key == option.ranked.spot.key for r in plan.tied)
    rows = [
        ("Tied with the first.", "Nobody can tell which of them is better.", True)
        if tied and option.trigger is not None
        else ("", "", True),
        ("", told["best_at"], True),
        ("", told["trigger"], True),
        ("Against the first.", told["price"], False),
        ("", first_if_words(plan.firmness, option.ranked.spot.name, units), False),
    ]
    return [(kind, clean(text), always) for kind, text, always in rows if text]


def _row(ranked: RankedSpot, units: Units, lines: list[tuple[str, str, bool]]) -> dict[str, Any]:
    return {
        "key": spot_key(ranked),
        "name": clean(ranked.spot.name),
        "cells": [clean(cell) for cell in spot_cells(ranked.evaluation, units)],
        "lines": lines,
        "rank": f"Rank {ranked.rank}",
        "score": score_text(ranked.criteria),
    }


def option_list(plan: Plan, units: Units, chosen: str | None, on_choose: Callable[[str], None]) -> None:
    """Draw the options; `on_choose` gets the key of the spot that the user picks."""

    def picked() -> None:
        key = event_of(KEY, "chosen")
        if key:
            on_choose(str(key))

    data = {"columns": list(COLUMNS), "rows": option_rows(plan, units), "chosen": chosen}
    _list(key=KEY, data=data, on_chosen_change=picked)
