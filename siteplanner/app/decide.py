"""Decide: the answer, the ranking beside the map, the weights, and why here or why not here."""

from __future__ import annotations

from typing import Any

import streamlit as st

from siteplanner.app import places, style
from siteplanner.app.frame import go, need_plan, units_now, work_now
from siteplanner.app.labels import Units, error_text
from siteplanner.app.mission_form import WEIGHTS
from siteplanner.app.session import Work, spot_key
from siteplanner.errors import SiteplannerError
from siteplanner.mission import Weights
from siteplanner.outputs.text import named, number_text, parts_that_add_up, shown
from siteplanner.planning.explain import Explanation, explain
from siteplanner.planning.model import Criterion, Plan, RankedSpot
from siteplanner.planning.pipeline import rescore
from siteplanner.planning.scoring import CRITERIA
from siteplanner.planning.words import firmness_sentence, recommendation

MAP_KEY = "plan_map"
MAP_HEIGHT = 420
SLIDERS = "_sliders"
MARKS = "S: staging point. Diamonds: must-serve points. Blue: drive. Wedges: sectors. Green dashes: dish."


def page() -> None:
    """The page a commander decides on."""
    work, units = work_now(), units_now()
    plan = need_plan(work)
    if plan is None:
        return
    top = st.container()
    if not plan.spots:
        top.html(answer(plan, units))
        nothing_passes(plan)
        the_map(work, ground_choice(work))
        the_point(work, units)
        return
    with st.container(key="two-sides"):
        left, right = st.columns([6, 7], gap="medium")
        left_below, right_below = st.columns([6, 7], gap="medium")
    with right:
        pictures, button = st.columns([5, 2])
        with pictures:
            ground = ground_choice(work)
        with button.popover("Weights", width="stretch"):
            weights(work)
    plan, chosen = work.plan or plan, work.spot()
    top.html(answer(plan, units))
    with left:
        from siteplanner.app.ranking_table import ranking_table

        ranking_table(plan, spot_key(chosen) if chosen else None, lambda key: choose(work, key))
    with right:
        the_map(work, ground)
    with left_below:
        if chosen is not None:
            breakdown(chosen)
    with right_below:
        the_point(work, units)


def answer(plan: Plan, units: Units) -> str:
    """The commander's sentence first, then why, then how firm."""
    first, joint, rest = recommendation(plan).partition(": it ")
    best = plan.best
    where = ""
    if best is not None:
        spot = best.spot
        where = f'<span>{shown(places.written(spot.latitude, spot.longitude, units.place))}</span>'
    why = f'<p class="why">It {named(rest)}</p>' if joint else ""
    firm = firmness_sentence(plan)
    return (
        f'<div class="sp-answer{"" if best else " none"}"><p class="over">{named(plan.mission.name)}</p>'
        f'<p class="say">{named(first)} {where}</p>{why}'
        + (f'<p class="firm">{named(firm)}</p>' if firm else "") + "</div>"
    )


def nothing_passes(plan: Plan) -> None:
    """What ruled the ground out, the hardest limit first, and how far it would have to give way."""
    rows = [(r.label, f"{100 * r.share:.1f} %", f"{100 * r.only_share:.1f} %", r.nearest_to_pass or "")
            for r in sorted(plan.rulings, key=lambda r: -r.only_share)]
    st.html(style.head("What ruled the ground out")
            + style.table(rows, ("Limit", "Of the search ground", "By this alone", "To pass"), figures=(1, 2)))


def weights(work: Work) -> None:
    """Sliders that move the ranking at once; nothing physical is computed again."""
    planned = work.planned
    assert planned is not None
    start = planned.mission.weights.model_dump()
    applies = [name for name in CRITERIA
               if name != "must_serve" or any(r.evaluation.coverage and r.evaluation.coverage.must_serve
                                              for r in planned.spots)]
    kept = work.memory.setdefault("weights", dict(start))
    st.caption("How much each thing counts. The ranking follows at once.")
    top = max(10.0, *start.values())
    first = slider_values(work, kept, applies)
    for name in applies:
        kept[name] = st.slider(WEIGHTS[name], 0.0, top, first[name], 0.5, format="%.1f", key=slider_key(work, name))
    st.button("Back to the mission's weights", on_click=reset_weights, args=(work,), disabled=kept == start)
    if sum(kept.values()) <= 0:
        st.warning("At least one weight must be above 0; the last ranking stays.")
        return
    wanted = Weights(**kept)
    if work.plan is None or wanted != work.plan.mission.weights:
        work.plan = planned if wanted == planned.mission.weights else rescore(planned, wanted)


def slider_key(work: Work, name: str) -> str:
    """The slider's name in the session: another plan, another visit or a reset makes other sliders."""
    return f"weight_{name}_{work.edition}_{id(work.planned)}_{st.session_state.get(SLIDERS, (0, {}))[0]}"


def slider_values(work: Work, kept: dict[str, float], names: list[str]) -> dict[str, float]:
    """Where the sliders start. A slider that is set afterwards forgets it while its panel is shut, so sliders that
    must start elsewhere are new ones."""
    if slider_key(work, names[0]) not in st.session_state:
        turn = st.session_state.get(SLIDERS, (0, {}))[0]
        st.session_state[SLIDERS] = (turn + 1, {name: float(value) for name, value in kept.items()})
    return st.session_state[SLIDERS][1]


def reset_weights(work: Work) -> None:
    """Back to the mission's own; the old sliders go with what the browser holds of them."""
    work.memory.pop("weights", None)
    turn = st.session_state.get(SLIDERS, (0, {}))[0]
    st.session_state[SLIDERS] = (turn + 1, {})


def choose(work: Work, key: str) -> None:
    """Take a spot in hand; its question mark on the map goes."""
    work.chosen, work.asked = key, None


def breakdown(ranked: RankedSpot) -> None:
    """Where the score comes from; the points shown add up to it."""
    st.html(style.head(f"Spot {ranked.spot.name}: where the {ranked_score(ranked)} points come from")
            + score_table(ranked.criteria))
    if st.button("Everything about this spot", type="primary", width="stretch"):
        go("spot")


def ranked_score(ranked: RankedSpot) -> str:
    return f"{parts_that_add_up([c.contribution for c in ranked.criteria])[1]:.1f}"


def score_table(criteria: tuple[Criterion, ...]) -> str:
    """Value, share of full marks, weight and points of each criterion, and their sum."""
    points, total = parts_that_add_up([c.contribution for c in criteria])
    rows = "".join(
        f'<tr><th><span class="sp-swatch" style="background:{style.CRITERION_COLOURS.get(c.name, "#777777")}"></span>'
        f"{named(c.label)}</th><td class=\"num\">{shown(number_text(c.value, 1))} {shown(c.unit.split(' ')[0])}</td>"
        f'<td class="num">{100 * c.utility:.0f} %</td><td class="num">{100 * c.weight:.0f}</td>'
        f'<td class="num">{p:.1f}</td></tr>'
        for c, p in zip(criteria, points, strict=True)
    )
    return (
        '<div class="sp-scroll"><table class="sp-table"><thead><tr><th>Criterion</th><th class="num">Value</th>'
        '<th class="num">Full marks</th><th class="num">of points</th><th class="num">Points</th></tr></thead>'
        f'<tbody>{rows}</tbody><tfoot><tr><th>Score</th><td></td><td></td><td class="num">100</td>'
        f'<td class="num">{total:.1f}</td></tr></tfoot></table></div>'
    )


def ground_choice(work: Work) -> str:
    """Which picture of the ground lies on the map."""
    from siteplanner.app.plan_map import GROUND_PICTURES

    has_spots = work.planned is not None and bool(work.planned.spots)
    options = [p for p in GROUND_PICTURES if has_spots or p != "Service"]
    return st.segmented_control("Picture of the ground", options, default=options[0], key=f"ground_{work.edition}",
                                label_visibility="collapsed") or "Relief only"


def the_map(work: Work, ground: str) -> None:
    """The map; a click on a mark takes that spot in hand, a click on the ground asks about the place."""
    from streamlit_folium import st_folium

    from siteplanner.app.plan_map import base_map, changing, legend
    from siteplanner.app.served import localise, picture_url

    plan = work.plan
    assert plan is not None
    fmap, group = base_map(work, picture_url), changing(work, ground, picture_url)
    localise(fmap.get_root())
    st_folium(fmap, key=MAP_KEY, height=MAP_HEIGHT, use_container_width=True, feature_group_to_add=group,
              on_change=map_clicked, returned_objects=["last_clicked", "last_object_clicked_count",
                                                       "last_active_drawing"])
    st.html(style.legend(legend(plan, ground)) + f'<p class="sp-small">{MARKS}</p>')


def map_clicked() -> None:
    """What a click meant: a spot's mark, or a place on the ground."""
    work = work_now()
    back: dict[str, Any] = st.session_state.get(MAP_KEY) or {}
    last: dict[str, Any] = work.memory.setdefault("click", {})
    hit = back.get("last_object_clicked_count") != last.get("hits")
    place = back.get("last_clicked")
    moved = place is not None and place != last.get("place")
    last["hits"], last["place"] = back.get("last_object_clicked_count"), place
    feature = back.get("last_active_drawing") or {}
    key, shape = str(feature.get("id") or ""), feature.get("geometry") or {}
    if hit and key.startswith("spot:"):
        choose(work, key.removeprefix("spot:"))
    elif hit and shape.get("type") == "Point":  # another mark: a must-serve point, a spot that is ruled out
        longitude, latitude = shape["coordinates"][:2]
        ask(work, float(latitude), float(longitude))
    elif moved and place is not None:
        ask(work, float(place["lat"]), (float(place["lng"]) + 180) % 360 - 180)


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
    st.html(style.head("Why here, why not here"))
    error = work.memory.get("ask_error")
    if error is not None:
        what, remedy = error_text(error)
        st.warning(f"{what} {remedy}")
    if work.asked is not None:
        st.html(verdict(work.asked, units))
    elif error is None:
        st.caption("Click any place on the map, or type one here.")
    with st.form("ask", border=False, clear_on_submit=False):
        box, button = st.columns([4, 1], vertical_alignment="bottom")
        text = box.text_input("Place", placeholder=places.EXAMPLES, label_visibility="collapsed")
        if button.form_submit_button("Ask", width="stretch"):
            try:
                ask(work, *places.read(text))
            except SiteplannerError as wrong:
                work.asked, work.memory["ask_error"] = None, wrong
            st.rerun()


def verdict(found: Explanation, units: Units) -> str:
    """In or out, with every reason and the score's parts."""
    spot = found.evaluation.spot
    where = places.written(spot.latitude, spot.longitude, units.place)
    if found.passes:
        score = parts_that_add_up([c.contribution for c in found.criteria])[1]
        text = style.note("in", "It passes.", f"{where} would rank {found.would_rank} with {score:.1f} points.")
    else:
        text = style.note("out", "Ruled out.", where)
    reasons = [reason for _, reason in found.evaluation.failed]
    if not found.in_search_ground:
        reasons.insert(0, "It lies outside the search ground, which reaches "
                          "no farther from the incident area than the search radius.")
    text += "".join(f'<p class="sp-note out">{named(reason)}</p>' for reason in reasons)
    if found.criteria and found.evaluation.coverage is not None:
        text += score_table(found.criteria)
    for finding in found.evaluation.findings:
        text += style.note(finding.severity, finding.severity.capitalize() + ".", finding.message, finding.remedy)
    return text
