"""A mission answered from an atlas: ranked places and sets in seconds, weights that move them, then the exact pass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import style
from siteplanner.app.atlas_map import Around, around_of, base_map, marks_of
from siteplanner.app.frame import go, say_error
from siteplanner.app.from_atlas import FromAtlas
from siteplanner.app.labels import Units, plain
from siteplanner.app.pressing import press, watch
from siteplanner.app.running import Run
from siteplanner.app.session import Work
from siteplanner.app.weighing import sliders
from siteplanner.mission import Mission
from siteplanner.outputs.words.text import clean, named
from siteplanner.planning.atlas.answer import Quick, open_atlas, quick_answer
from siteplanner.planning.telling.atlas import (
    FIGURES,
    PLACE_COLUMNS,
    judged_exactly_words,
    level_words,
    no_place_words,
    others_words,
    place_row,
    quick_set_words,
    quick_words,
)
from siteplanner.planning.telling.score import behind_words
from siteplanner.planning.telling.signal_words import CHECK

MAP_KEY, MAP_HEIGHT = "atlas_map", 420


@dataclass(frozen=True, eq=False)
class Answered:
    """The answer as it came, and what its map lies over."""

    quick: Quick
    around: Around


def begin(work: Work, mission: Mission, folder: Path) -> None:
    """Ask an atlas in the background."""
    if work.atlas is not None:
        work.atlas.run.cancel()
    work.atlas = FromAtlas(mission, folder, Run(mission, partial(quick_job, folder)).start())


def quick_job(folder: Path, mission: Mission, progress: Any) -> Answered:
    """What `siteplanner atlas plan` answers first, with the ground for a map of it."""
    atlas = open_atlas(folder)
    quick = quick_answer(atlas, mission, progress)
    return Answered(quick, around_of(atlas, quick))


def page(work: Work, units: Units) -> None:
    """Progress while the atlas is asked, its answer afterwards."""
    asked = work.atlas
    assert asked is not None
    st.subheader(plain(asked.mission.name), anchor=False)
    run = asked.run
    if run.state == "running":
        watch(run, "cancel_atlas")
        return
    if run.state != "done":
        if run.error is not None:
            say_error(run.error)
        else:
            st.warning("Canceled.")
        if st.button("Back to the first page", type="primary"):
            go("start")
        return
    if asked.shown is None:
        asked.shown = run.result.quick
        asked.weights = asked.mission.weights.model_dump()
    answer(work, asked, units)


@st.fragment
def answer(work: Work, asked: FromAtlas, units: Units) -> None:
    """The places with their reasons, the map, the sets, and the way on. Drawn on its own: it follows a weight."""
    found: Answered = asked.run.result
    quick = asked.shown
    assert quick is not None
    words, weights, button = st.columns([6, 2, 3], vertical_alignment="center")
    words.markdown(f"**Answer from the atlas.** {plain(quick_words(quick, units.first))}")
    if others := others_words(quick):
        st.html(style.note("check", f"{CHECK}.", others))
    if not quick.ranked:
        st.info(no_place_words())
        return
    with weights.popover("Weights", width="stretch"):
        sliders(asked.mission, quick.ranked, asked.weights, f"atlas {work.edition} {id(asked.run)}", asked.weigh)
    press(button, "Judge the listed spots exactly", _judge, work, type="primary", width="stretch", key="judge_exactly")
    st.caption(judged_exactly_words(quick))
    for line in filter(None, (level_words(quick), behind_words(quick.listed, clean))):
        st.html(f'<p class="sp-small">{named(line)}</p>')
    left, right = st.columns([8, 5], gap="medium")
    left.html(places_html(quick, units))
    with right:
        _map(found, quick)
        sets = {size: one for size, one in asked.whole().sets.items() if size > 1}
        told = [
            quick_set_words(size, one.share, tuple(r.spot.name for r in one.spots), units.first)
            for size, one in sets.items()
        ]
        if told:
            st.html(style.head("Several trailers") + "".join(f"<p>{named(line)}</p>" for line in told))


def places_html(quick: Quick, units: Units) -> str:
    """The listed places, a row each; a column in which no place says anything is left out."""
    rows = [place_row(quick, r, units.first, clean) for r in quick.listed]
    said = [k for k in range(len(PLACE_COLUMNS)) if any(row[k] != "-" for row in rows)]
    figures = [at for at, k in enumerate(said) if PLACE_COLUMNS[k] in FIGURES]
    return style.table([[row[k] for k in said] for row in rows], [PLACE_COLUMNS[k] for k in said], figures=figures)


def _map(found: Answered, quick: Quick) -> None:
    from streamlit_folium import st_folium

    from siteplanner.app.served import localise, picture_url

    fmap = base_map(found.around, picture_url)
    localise(fmap.get_root())
    st_folium(
        fmap, key=MAP_KEY, height=MAP_HEIGHT, use_container_width=True, returned_objects=[],
        feature_group_to_add=marks_of(found.around, quick),
    )  # fmt: skip


def _judge(work: Work) -> str:
    asked = work.atlas
    if asked is not None and asked.shown is not None:
        work.begin_plan(asked.mission, quick=asked.whole())
    return "run"
