"""What a run took over from the check or the run before it, in words."""

from __future__ import annotations

from siteplanner.planning.study.reuse import Tally

WORDS = {  # steps worth telling, in the order told
    "elevation": "Elevation",
    "roads": "Road network",
    "sky_limit": "Satellite line over the ground",
    "choices": "Backhaul of the ground",
    "coverage": "Coverage",
    "sky": "Sky of the spots",
    "access": "Routes",
}


def reused_sentences(tally: Tally) -> list[str]:
    """A sentence for each step that took something over; empty when none did."""
    out = []
    for step, words in WORDS.items():
        mine, all_ = tally.get(step, (0, 0))
        if not mine:
            continue
        if all_ == 1:
            out.append(f"{words} reused.")
        else:
            out.append(f"{words} reused for {mine} of {all_} places.")
    return out
