"""Sliders for the weights: each movement is sent at once, so that the ranking follows the hand.

The sliders of the page's own kit wait a fifth of a second before they say anything; that wait was half of the time
between a weight and its ranking. Only a drag is paced: where the hand comes to rest is sent at once, and it is taken
before its turn draws anything. What is sent is where all sliders stand, as an event: of several that wait for one turn
the last counts, and the framework hands an event, unlike a state, on to the page that is turned to meanwhile. Text
reaches the screen by `textContent` only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import streamlit.components.v2 as components

from siteplanner.app.pressing import event_of

KEY = "weight_panel"
CSS = """
:host { display: block; }
label { display: grid; grid-template-columns: 1fr auto; gap: 0 12px; padding: 5px 0 3px; color: var(--st-text-color);
  font: 15px/1.3 var(--st-font); font-variant-numeric: tabular-nums; }
label i { display: inline-block; width: 10px; height: 10px; margin-right: 7px; }
output { font-weight: 700; text-align: right; }
output small { font-weight: 400; font-size: 13px; opacity: .8; margin-left: 8px; display: inline-block; width: 62px; }
input { grid-column: 1 / -1; width: 100%; height: 30px; margin: 0; accent-color: var(--st-primary-color);
  cursor: pointer; }
button { min-height: 44px; margin-top: 10px; padding: 4px 14px; font: 15px/1.3 var(--st-font); cursor: pointer;
  color: var(--st-text-color); background: var(--st-background-color); border: 1px solid var(--st-border-color);
  border-radius: 8px; }
button:disabled { opacity: .5; cursor: default; }
button:focus-visible, input:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: 1px;
  border-radius: 4px; }
"""
JS = """
const PAUSE_MS = 120;  // between two sendings while a slider is being dragged
const HELD_MS = 60000;  // what a drawing under way knows nothing of is sent again, for no longer than this
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const host = parentElement.querySelector("#host");
  host.tell = setTriggerValue;
  if (host.dataset.turn === data.turn) {  // what the hand moves is never moved back under it
    const told = host.told, lost = told && Date.now() - told.at < HELD_MS
      && Object.entries(told.values).some(([name, value]) => data.now[name] !== value);
    if (lost) host.tell("moved", { turn: data.turn, values: told.values });
    return;
  }
  host.dataset.turn = data.turn;
  host.told = null;
  host.replaceChildren();
  let sent = 0, waiting = null;
  const inputs = new Map();
  const say = () => {
    const sum = [...inputs.values()].reduce((all, [input]) => all + Number(input.value), 0);
    inputs.forEach(([input, value, share]) => {
      value.textContent = Number(input.value).toFixed(1);
      share.textContent = sum > 0 ? Math.round(100 * input.value / sum) + " % of all" : "";
      input.setAttribute("aria-valuetext", value.textContent + " " + share.textContent);
    });
    reset.disabled = data.sliders.every((item) => Number(inputs.get(item.name)[0].value) === item.first);
  };
  const send = () => {
    clearTimeout(waiting);
    waiting = null;
    sent = performance.now();
    host.told = { at: Date.now(),
      values: Object.fromEntries([...inputs].map(([name, [input]]) => [name, Number(input.value)])) };
    host.tell("moved", { turn: data.turn, values: host.told.values });
  };
  const moved = () => {
    say();
    if (waiting !== null) return;
    const left = sent + PAUSE_MS - performance.now();
    if (left <= 0) send(); else waiting = setTimeout(send, left);
  };
  const rested = () => { if (waiting !== null) send(); };
  const reset = document.createElement("button");
  data.sliders.forEach((item) => {
    const label = host.appendChild(document.createElement("label"));
    const words = label.appendChild(document.createElement("span"));
    words.appendChild(document.createElement("i")).style.background = item.colour;
    words.appendChild(document.createTextNode(item.words));
    const output = label.appendChild(document.createElement("output"));
    const value = output.appendChild(document.createElement("span"));
    const share = output.appendChild(document.createElement("small"));
    const input = label.appendChild(document.createElement("input"));
    Object.assign(input, { type: "range", min: 0, max: data.top, step: 0.5, value: item.value });
    input.setAttribute("aria-label", item.words);
    inputs.set(item.name, [input, value, share]);
    input.oninput = moved;
    input.onchange = rested;
  });
  reset.textContent = data.back;
  reset.onclick = () => {
    data.sliders.forEach((item) => { inputs.get(item.name)[0].value = item.first; });
    say();
    send();
  };
  host.appendChild(reset);
  say();
}
"""
_panel = components.component("siteplanner_weights", html='<div id="host"></div>', css=CSS, js=JS)


def weight_panel(
    words: Mapping[str, tuple[str, str]],
    values: Mapping[str, float],
    first: Mapping[str, float],
    top: float,
    turn: str,
    moved: Callable[[dict[str, float]], None],
) -> None:
    """Draw one slider per entry of `words` (text, colour) from 0 to `top`, and a button back to `first`.

    `moved` is called with where they stand, before the turn draws anything. Sliders start at `values` and then belong
    to the user's hand; another `turn` makes them start again.
    """
    sliders = [
        {
            "name": name,
            "words": text,
            "value": values[name],
            "first": first[name],
            "colour": colour,
        }
        for name, (text, colour) in words.items()
    ]
    data = {"sliders": sliders, "top": top, "turn": turn, "back": "Back to the mission's weights"}
    data["now"] = {name: float(values[name]) for name in words}

    def taken() -> None:
        sent = event_of(KEY, "moved")
        if sent and sent.get("turn") == turn:  # not of sliders that have been replaced since
            moved({name: float(sent["values"][name]) for name in words})

    _panel(key=KEY, data=data, on_moved_change=taken)
