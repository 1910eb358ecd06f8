"""A road that spots hang on, in words."""

from __future__ import annotations

from siteplanner.planning.plan.cut_off import CutOff


def cut_off_words(found: CutOff | None, judged: int) -> str:
    """`cuts off 12 of 114 spots, A, B among them`; '' where nothing hangs on the road."""
    if found is None or not found.either:
        return ""
    among = f", {' '.join(found.listed)} among them" if found.listed else ""
    return f"cuts off {found.either} of {judged} spots{among}"
