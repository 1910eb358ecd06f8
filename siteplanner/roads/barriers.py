"""What a barrier means to a rig: most stop it, some open, a few say nothing (OpenStreetMap wiki, Key:barrier)."""

from __future__ import annotations

from typing import Literal

from siteplanner.roads.access import verdict

Means = Literal["nothing", "told", "stops"]

# what a rig drives through or over once it is open; every kind that is not here stops it
PASSED = frozenset((
    "gate", "lift_gate", "swing_gate", "sliding_gate", "toll_booth", "cattle_grid", "border_control", "chain",
    "height_restrictor", "width_restrictor", "hampshire_gate", "bump_gate", "checkpoint", "sally_port", "coupure",
))  # fmt: skip
NOTHING = frozenset(("", "no", "entrance", "kerb"))
# bollards that come out or go down (Key:bollard)
OPENING = frozenset(("removable", "rising", "lowered", "foldable", "retractable", "flexible"))


def barrier_means(kind: str, access: str = "") -> Means:
    """What a barrier of this kind is to the rig. `access`: the most special access value that stands with it.

    A kind that is not known stops the rig: whoever comes with a key or a saw may still open it. One that is said to be
    open to motor vehicles (`access=yes` beside it) is passed and told (Key:barrier: access tags go before the default).
    """
    if kind in NOTHING:
        return "nothing"
    if kind in PASSED:
        return "told"
    return "told" if access and verdict(access) != "closed" and verdict(access) != "ask" else "stops"
