"""Decide: the answer, options beside the map, named points, trailers, hours, all judged spots, any place asked about.

Parts of the page are drawn on their own (Streamlit's fragments): the options, so that they follow a weight before the
rest does, the map, so that a click on the ground does not draw the options again, and the comparison.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

from siteplanner.app import compare, go_no_go, named_points, style, trailers
from siteplanner.app.answer_box import answer, reasons
from siteplanner.app.figure import put
from siteplanner.app.frame import need_plan, units_now, work_now
from siteplanner.app.labels import Units
from siteplanner.app.pressing import press
from siteplanner.app.session import Work, spot_key
from siteplanner.app.weighing import weights
from siteplanner.app.why import ask, score_table, the_point
from siteplanner.outputs.words.text import clean, named
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.limits import breach_words, nearest_to_pass_words
from siteplanner.planning.telling.options import NO_OTHER, tied_words
from siteplanner.planning.telling.score import behind_words, score_text
from siteplanner.planning.telling.screen import breakdown_words
from siteplanner.planning.telling.signal_words import CHECK

MAP_KEY = "plan_map"
MAP_HEIGHT = 420
DRAWN = "drawn"  # ranking and spot that the page shows, in the work's memory: it is drawn again when they change


def page() -> None:
    """The page a commander decides on."""
    work, units = work_now(), units_now()
    plan = need_plan(work)
    if plan is None:
        return
    top = st.empty()
    if not plan.spots:
        top.html(answer(plan, units) + kept_note(work))
        nothing_passes(plan, units)
        map_side(work, units)
        return
    work.memory[DRAWN] = (plan, work.spot())
    top.html(answer(plan, units) + kept_note(work))
    with st.container(key="two-sides"):
        left, right = st.columns([6, 7], gap="medium")
    with left:
        options_side(work, units)
    with right:
        map_side(work, units)
    with st.container(key="more"):
        points, several = st.columns(2, gap="medium")
    with points:
        named_points.section(work, units)
    with several:
        trailers.section(work, units)
    go_no_go.section(work, units)
    with st.expander("All judged spots"):
        judged_side(work, units)
    with st.expander("Why this spot, and how sure it is"):
        st.html(reasons(plan, units))
        chosen = work.spot()
        if chosen is not None:
            st.html(breakdown(chosen))
    put(ruled_out_by_name(plan, units), st.container())
    st.html(style.head("Compare spots", large=True))
    with st.container(key="compare"):
        compare_side(work, units)


@st.fragment
def options_side(work: Work, units: Units) -> None:
    """Weights and options: a weight moves the options before anything else is drawn, the rest of the page follows.

    A fragment draws inside itself only; what follows from a new ranking is drawn with the whole page.
    """
    from siteplanner.app.option_list import option_list

    _in_hand(work)
    line, button = st.columns([5, 2], vertical_alignment="bottom")
    with button.popover("Weights", width="stretch"):
        weights(work)
    plan, chosen = _in_hand(work), work.spot()
    line.html(style.head("Options"))
    for words in (tied_words(plan.tied), NO_OTHER if len(plan.options) == 1 else ""):
        if words:
            st.html(f'<p class="sp-small">{named(clean(words))}</p>')
    option_list(plan, units, spot_key(chosen) if chosen else None, lambda key: choose(work, key))
    if chosen is not None:
        words = f"Details of spot {style.button_text(chosen.spot.name)}"
        press(st, words, lambda: "spot", type="primary", width="stretch", key="to_spot")
    drawn = work.memory.get(DRAWN)
    if drawn is None or drawn[0] is not plan or drawn[1] is not chosen:
        st.rerun()


def judged_side(work: Work, units: Units) -> None:
    """Every judged spot; the one selected is worked out in full."""
    from siteplanner.app.ranking_table import ranking_table

    plan, chosen = work.plan, work.spot()
    assert plan is not None
    told = " ".join(filter(None, ("Select a row to show it on the map.", behind_words(plan.judged, clean))))
    st.html(f'<p class="sp-small">{named(told)}</p>')
    ranking_table(plan, units, spot_key(chosen) if chosen else None, lambda key: choose(work, key))


@st.fragment
def map_side(work: Work, units: Units) -> None:
    """Picture of the ground with its legend, map, and the answer to a click."""
    _in_hand(work)
    the_map(work, ground_choice(work))
    the_point(work, units)


@st.fragment
def compare_side(work: Work, units: Units) -> None:
    """Which spots stand side by side, and their comparison."""
    plan = _in_hand(work)
    compare.picker(work, plan)
    st.html(compare.table_or_word(work, plan, units))


def _in_hand(work: Work) -> Plan:
    """The plan; where another page of the same work has dropped it, the whole page is drawn again and says so."""
    if work.plan is None:
        st.rerun()
    assert work.plan is not None
    return work.plan


def kept_note(work: Work) -> str:
    """That this plan is not on the disk, when it is not."""
    return style.note("check", f"{CHECK}.", work.note) if work.note else ""


def nothing_passes(plan: Plan, units: Units) -> None:
    """What ruled the ground out, the hardest limit first, and how far it would have to give way."""
    rows = [
        (r.label, units.share(r.share, 1), units.share(r.only_share, 1), nearest_to_pass_words(r, units))
        for r in sorted(plan.rulings, key=lambda r: -r.only_share)
    ]
    st.html(
        style.head("What ruled the ground out")
        + style.table(rows, ("Limit", "Of the search ground", "Only this limit", "To pass"), figures=(1, 2))
        + ruled_out_by_name(plan, units)
    )


def ruled_out_by_name(plan: Plan, units: Units) -> str:
    """Spots that the user named and that break a limit, with the reasons: nobody should have to ask for these."""
    out = "".join(
        style.note("out", f"{e.spot.name}.", " ".join(breach_words(breach, units) for breach in e.failed))
        for e in plan.rejected
    )
    return style.head("Your spots that are ruled out") + out if out else ""


def choose(work: Work, key: str) -> None:
    """Take a spot in hand; its question mark on the map goes. A spot that was only judged is worked out in full."""
    work.chosen, work.asked = key, None
    work.list_chosen()


def breakdown(ranked: RankedSpot) -> str:
    """Where the score comes from; the points shown add up to it."""
    return style.head(breakdown_words(ranked.spot.name, score_text(ranked.criteria))) + score_table(ranked.criteria)


def ground_choice(work: Work) -> str:
    """Which picture of the ground lies on the map."""
    from siteplanner.app.plan_map import ground_pictures

    options = ground_pictures(work)
    held = work.memory.get("ground")
    picked = st.segmented_control(
        "Picture of the ground",
        options,
        key=f"ground_{work.edition}_{len(options)}",
        default=held if held in options else options[0],
        label_visibility="collapsed",
    )
    work.memory["ground"] = picked or options[-1]
    return str(work.memory["ground"])


def the_map(work: Work, ground: str) -> None:
    """The map; a click on a mark takes that spot in hand, a click on the ground asks about the place."""
    from streamlit_folium import st_folium

    from siteplanner.app.plan_map import base_map, changing, legend, lines_legend
    from siteplanner.app.served import localise, picture_url

    plan = work.plan
    assert plan is not None
    fmap, group = base_map(work, picture_url), changing(work, ground, picture_url)
    localise(fmap.get_root())
    st_folium(
        fmap,
        key=MAP_KEY,
        height=MAP_HEIGHT,
        use_container_width=True,
        feature_group_to_add=group,
        on_change=map_clicked,
        returned_objects=["last_clicked", "last_object_clicked_count", "last_active_drawing"],
    )
    if work.memory.pop("chosen_on_map", False):
        st.rerun()
    st.html(legend(plan, ground) + lines_legend(plan))


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
        work.memory["chosen_on_map"] = True
    elif hit and shape.get("type") == "Point":  # another mark: a must-serve point, a spot that is ruled out
        longitude, latitude = shape["coordinates"][:2]
        ask(work, float(latitude), float(longitude))
    elif moved and place is not None:
        ask(work, float(place["lat"]), (float(place["lng"]) + 180) % 360 - 180)
