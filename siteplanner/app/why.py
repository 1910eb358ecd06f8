"""Why here, why not here: any place clicked or typed, with every figure and what would have to change."""

from __future__ import annotations

import streamlit as st

from siteplanner.app import coordinates, style
from siteplanner.app.labels import Units, error_text
from siteplanner.app.session import Work
from siteplanner.errors import SiteplannerError
from siteplanner.mission.criteria import CRITERIA
from siteplanner.outputs.words.text import named, number_text, percent_text, shown
from siteplanner.planning.choose.ranked import ScoreLine
from siteplanner.planning.plan.explain import Explanation, explain
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.nearest import nearest_pass
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.aiming import both_bearings
from siteplanner.planning.telling.backhaul_rows import backhaul_lines
from siteplanner.planning.telling.change import changes, lead_words, nearest_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import slope_with_doubt
from siteplanner.planning.telling.lifeline import way_in_short, way_out_short
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.score import score_points, score_text
from siteplanner.planning.telling.screen import drive_words, look_words, served_words, would_rank_words
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.words import on_air_words


def ask(work: Work, latitude: float, longitude: float) -> None:
    """Judge any place by the same code as the ranked spots."""
    work.memory.pop("ask_error", None)
    work.asked = None
    if work.plan is None:
        return
    try:
        work.asked = explain(work.plan, latitude, longitude)
    except SiteplannerError as error:
        work.memory["ask_error"] = error


def the_point(work: Work, units: Units) -> None:
    """Why here or why not here, for a place clicked or typed."""
    st.html(style.head("Check any place: why it passes or not"))
    error = work.memory.get("ask_error")
    if error is not None:
        what, remedy = error_text(error)
        st.warning(f"{what} {remedy}")
    if work.asked is not None and work.plan is not None:
        st.html(verdict(work.asked, work.plan, units))
    elif error is None:
        st.caption("Click any place on the map, or type one here.")
    with st.form("ask", border=False, clear_on_submit=False):
        box, button = st.columns([4, 1], vertical_alignment="bottom")
        text = box.text_input("Place", placeholder=coordinates.EXAMPLES, label_visibility="collapsed")
        if button.form_submit_button("Check", width="stretch"):
            try:
                ask(work, *coordinates.read(text))
            except SiteplannerError as wrong:
                work.asked, work.memory["ask_error"] = None, wrong
            st.rerun()


def verdict(found: Explanation, plan: Plan, units: Units) -> str:
    """In or out, every reason, what would have to change, every figure, and the score's parts."""
    spot = found.evaluation.spot
    where = coordinates.written(spot.latitude, spot.longitude, units.place)
    if found.passes:
        text = style.note(
            "in",
            "It passes.",
            would_rank_words(where, found.would_rank, score_text(found.criteria)),
            lead_words(found, plan),
        )
    else:
        text = style.note("out", "Ruled out.", where)
        reasons = [breach_words(breach, units) for breach in found.evaluation.failed]
        if not found.in_search_ground:
            reasons.insert(
                0,
                "It lies outside the search ground, which reaches "
                "no farther from the incident area than the search radius.",
            )
        text += style.bullets("out", reasons)
        text += style.head("What would have to change") + style.bullets(
            "", [*changes(found, plan.mission, units), *_nearest(found, plan, units)]
        )
    text += style.head("Every figure") + figures(found.evaluation, units)
    if found.criteria and found.evaluation.coverage is not None:
        text += score_table(found.criteria)
    for finding in (*found.findings, *found.evaluation.findings):
        text += style.note(
            finding.severity,
            signal_word(finding.severity) + ".",
            said(finding, units).message,
            said(finding, units).remedy,
        )
    return text


def _nearest(found: Explanation, plan: Plan, units: Units) -> list[str]:
    """Where the nearest ground lies that passes as it is."""
    spot = found.evaluation.spot
    near = nearest_pass(plan.scene.ruling, spot.x, spot.y)
    if near is None:
        return []
    where = coordinates.written(near.latitude, near.longitude, units.place)
    if near.distance_m < plan.scene.ruling.cell_size_m:
        return []
    return [nearest_words(near, where, units)]


def figures(e: Evaluation, units: Units) -> str:
    """Ground, sky, service and way in of one place, as a table."""
    g = e.ground
    rows = [
        ("Elevation", units.length(e.spot.elevation_m)),
        ("Slope of the ground", slope_with_doubt(g, units)),
        ("Roll, pitch at best heading", f"{units.angle(g.roll_deg)}, {units.angle(g.pitch_deg)}"),
    ]
    rows += [
        (
            f"Sky toward {look.satellite_name}",
            look_words(look, both_bearings(look.azimuth_deg, e, units), units),
        )
        for look in (e.sky if e.dish_wanted else ())
    ]
    if len(e.backhauls) > 1 or not e.dish_used:
        rows += [
            (f"Backhaul, choice {n}: {verdict}", text) for n, (verdict, text) in enumerate(backhaul_lines(e, units), 1)
        ]
    if e.coverage is not None:
        c = e.coverage
        rows.append(("Incident area served", served_words(c, units)))
        rows += [
            (p.name, f"{percent_text(p.probability)}, margin {number_text(p.margin_db, 0, 'dB')}") for p in c.must_serve
        ]
    if e.access is not None:
        a = e.access
        rows += [
            (
                "Drive from staging",
                f"{drive_words(a.drive_distance_m, a.drive_time_s, units)}, steepest "
                f"{units.grade(a.worst_grade_pct, a.worst_grade_error_pct)}",
            ),
            ("Last leg over ground", units.distance(a.last_leg_m)),
            ("Way in from staging", way_in_short(a, units)),
            ("Way out of the area", way_out_short(a, units)),
        ]
    if e.on_air is not None:
        rows.append(("On air", on_air_words(e.on_air, units)))
    return style.table(rows)


def score_table(criteria: tuple[ScoreLine, ...]) -> str:
    """Value, share of full marks, weight and points of each criterion, and their sum."""
    points = score_points(criteria)
    rows = "".join(
        f'<tr><th><span class="sp-swatch" style="background:{CRITERIA[c.name].colour}"></span>'
        f'{named(c.label)}</th><td class="num">{shown(criterion_value(c))}</td>'
        f'<td class="num">{100 * c.utility:.0f} %</td><td class="num">{100 * c.weight:.0f}</td>'
        f'<td class="num">{p:.1f}</td></tr>'
        for c, p in zip(criteria, points, strict=True)
    )
    return (
        '<div class="sp-scroll"><table class="sp-table"><thead><tr><th>Criterion</th><th class="num">Value</th>'
        '<th class="num">Earned</th><th class="num">Weight</th><th class="num">Points</th></tr></thead>'
        f'<tbody>{rows}</tbody><tfoot><tr><th>Score</th><td></td><td></td><td class="num">100</td>'
        f'<td class="num">{score_text(criteria)}</td></tr></tfoot></table></div>'
    )


def criterion_value(c: ScoreLine) -> str:
    """A criterion's figure with its unit."""
    return number_text(c.value, 1, c.gauge.symbol)
