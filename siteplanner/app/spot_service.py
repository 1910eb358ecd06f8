"""What a spot gives and when, on the Spot page: times, predicted service, score, link budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from siteplanner.app import style
from siteplanner.app.figure import drawing, put
from siteplanner.app.labels import Units
from siteplanner.app.session import Work, spot_key
from siteplanner.app.why import score_table
from siteplanner.core.link import BudgetLine
from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.words.text import named, percent_text, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.telling.aiming import both_bearings
from siteplanner.planning.telling.budget import line_name
from siteplanner.planning.telling.score import parts_that_add_up
from siteplanner.planning.telling.screen import together_words
from siteplanner.planning.telling.service import served_words, service_lines


def times_and_service(work: Work, plan: Plan, ranked: RankedSpot, units: Units) -> None:
    """When service starts, and what it reaches."""
    e, key = ranked.evaluation, spot_key(ranked)
    drawing(
        work.once(f"timeline {key}", lambda: timeline_svg(plan, ranked)),
        "Time to on air, and the hours after",
        "timeline",
    )
    put(on_air(e))
    with st.container(key="spot-service"):
        left, right = st.columns(2, gap="medium")
    put(
        (service(e.coverage, e, units) + style.head("Score") + score_table(ranked.criteria) if e.coverage else ""), left
    )
    put(budget(e), right)


def on_air(e: Evaluation) -> str:
    """Minutes from dispatch to service: the parts with their sum, below it when service starts."""
    air = e.on_air
    if air is None:
        return ""
    columns = [
        parts_that_add_up([p.low_min for p in air.parts], 0),
        parts_that_add_up([p.likely_min for p in air.parts], 0),
        parts_that_add_up([p.high_min for p in air.parts], 0),
    ]
    rows = [(part.name, *(f"{cells[n]:.0f}" for cells, _ in columns)) for n, part in enumerate(air.parts)]
    foot = ("All parts together", *(f"{total:.0f}" for _, total in columns))
    return (
        style.head("On air")
        + style.table(rows, ("Minutes", "Low", "Likely", "High"), figures=(1, 2, 3), foot=foot)
        + style.bullets(
            "",
            [together_words(air)],
        )
    )


def service(c: Coverage, e: Evaluation, units: Units) -> str:
    """Predicted service: whole area, by mast stop, must-serve points."""
    stops = [(units.length(h), percent_text(share, 1)) for h, share in c.share_by_stop]
    points = [
        (
            p.name,
            percent_text(p.probability),
            f"{p.margin_db:+.0f} dB",
            units.distance(p.distance_m),
            both_bearings(p.bearing_deg, e, units),
        )
        for p in c.must_serve
    ]
    text = style.head("Predicted service") + style.table(
        [("Incident area served", f"{served_words(c, units)}, {units.area(c.served_area_km2)}")]
    )
    text += style.bullets("", service_lines(c, units))
    text += style.head("By mast stop") + style.table(stops, ("Mast", "Area served"), figures=(1,))
    if points:
        text += style.head("Must-serve points") + style.table(
            points, ("Point", "Chance", "Margin", "Distance", "Bearing true"), figures=(1, 2, 3)
        )
    return text


def budget_rows(lines: Sequence[BudgetLine]) -> list[BudgetLine]:
    """The lines with values as printed: those of each direction add up to its printed margin, and every sum between is
    that of the values printed above it."""
    out: list[BudgetLine] = []
    for way in ("downlink", "uplink"):
        own = [line for line in lines if line.direction == way]
        printed, margin = parts_that_add_up([line.value for line in own if not line.is_sum])
        left, so_far = iter(printed), 0.0
        for line in own:
            if line.is_sum:
                out.append(replace(line, value=margin if line.ends else round(so_far, 1)))
            else:
                value = next(left)
                so_far += value
                out.append(replace(line, value=value))
    return out + [replace(line, value=round(line.value, 1)) for line in lines if line.direction == "weaker"]


def budget(e: Evaluation) -> str:
    """The link budget, item by item; what is printed adds up."""
    if e.coverage is None or not e.coverage.budget:
        return ""
    rows = "".join(
        f'<tr class="{"sum" if line.is_sum else ""}"><th>{named(words)}</th><td class="num">{line.value:+.1f}</td>'
        f"<td>{shown(line.unit)}</td></tr>"
        for line in budget_rows(e.coverage.budget)
        for words in [line_name(line) if line.is_sum else line.item.capitalize()]
    )
    return (
        style.head("Link budget at the middle cell of the area")
        + f'<div class="sp-scroll"><table class="sp-table"><tbody>{rows}</tbody></table></div>'
        + '<p class="sp-small">Half of the area does better, half worse. Each bold line is the sum of the lines above '
        "it in its direction.</p>"
    )
