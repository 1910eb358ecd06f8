"""Weights: sliders that move the ranking at once, and how firm the first place is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial

import streamlit as st

from siteplanner.app.labels import plain
from siteplanner.app.session import Work
from siteplanner.app.weight_panel import weight_panel
from siteplanner.mission import Mission, Weights
from siteplanner.mission.criteria import CRITERIA
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.explain import reweigh
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.plan.require import required_now
from siteplanner.planning.telling.screen import lead_now_words


def weights(work: Work) -> None:
    """Sliders that move the ranking at once; nothing physical is computed again."""
    planned = work.planned
    assert planned is not None
    kept = work.memory.setdefault("weights", planned.mission.weights.model_dump())
    if sliders(planned.mission, planned.spots, kept, f"{work.edition} {id(planned)}", partial(weigh, work)):
        weigh(work, {})  # a plan that came since, with the mission's own weights
        st.caption(plain(firmness_of(work)))


def sliders(
    mission: Mission,
    spots: Iterable[RankedSpot],
    kept: Mapping[str, float],
    turn: str,
    moved: Callable[[dict[str, float]], None],
) -> bool:
    """A slider for each criterion that says anything of these spots; whether they rank, or all stand at 0.

    `kept`: where they stand; `turn`, `moved`: as `weight_panel` takes them.
    """
    st.caption("How much each thing counts. The ranking follows at once.")
    start, judged = mission.weights.model_dump(), [r.evaluation for r in spots]
    applies = [c for c in CRITERIA.values() if any(c.applies(e, mission) for e in judged)]
    words = {c.name: (c.words_of(mission).slider, c.colour) for c in applies}
    weight_panel(words, kept, start, max(10.0, *start.values()), turn, moved)
    if sum(kept.values()) > 0:
        return True
    st.warning("At least one weight must be above 0; the last ranking stays.")
    return False


def weigh(work: Work, moved: dict[str, float]) -> None:
    """Rank by the weights as they stand now; all at 0 says nothing, and the last ranking stays."""
    planned, kept = work.planned, work.memory["weights"]
    if planned is None:  # dropped by another page of the same work while the hand moved
        return
    kept.update(moved)
    if sum(kept.values()) <= 0:
        return
    wanted = Weights(**kept)
    if work.plan is None or wanted != work.plan.mission.weights:
        # from the ranking of the moment: it holds the details of every spot that was ever listed. The ranking follows
        # the finger; the sets of trailers follow when the page is drawn again (`frame.need_plan`)
        plan = work.plan or planned
        back = wanted == planned.mission.weights and required_now(plan) == required_now(planned)
        work.plan = planned if back else rescore(plan, wanted, at_once=True)
        work.list_chosen()
        if work.asked is not None:
            work.asked = reweigh(work.asked, work.plan)


def firmness_of(work: Work) -> str:
    """Which spot leads under the weights of the moment, and how firmly."""
    return clean(lead_now_words(work.plan)) if work.plan is not None else ""
