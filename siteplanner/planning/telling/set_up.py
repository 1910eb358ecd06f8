"""The set-up told in steps, for one person and for two; what to look for, and the way back down."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.mission import Trailer
from siteplanner.planning.telling.times import set_up_words
from siteplanner.planning.telling.units import Units, parts_that_add_up, rounded_text


@dataclass(frozen=True)
class SetUpStep:
    """One step: what, who (lead, second, both; never letters, which name spots), minutes."""

    text: str
    who: str
    minutes: float


_DISH_STEP = "Free the dish and start its search; stay out of its way. It searches while you go on."
# what, who of two, share of the set-up time. Order and shares: common practice, no source
_STEPS: tuple[tuple[str, str, float], ...] = (
    ("Walk the spot: wires, trees toward the dish, soft ground, ditches. Agree the stop signal.", "both", 4),
    ("Park on the heading of this sheet, brake on, chock both wheels, then unhitch.", "both", 5),
    ("Pads under all four jacks; level by the jack table, check with the level.", "both", 8),
    ("Outriggers out and locked; earth rod and bonding as the manual says.", "lead", 4),
    ("Generator: exhaust downwind and clear of people; fuel, oil, start, let it settle.", "second", 5),
    (_DISH_STEP, "second", 2),
    ("Look up again, clear the fall circle, raise the mast to the stop, set the lock.", "both", 7),
    ("Turn the sectors to their bearings, lock the turn, guy as the manual says.", "lead", 4),
    ("Radio on, keep-away tape round the mast, check service with a handset, log it.", "both", 6),
)
# what takes the place of the dish's own step, by the backhaul in use; a link antenna is set before the mast goes up
_BACKHAUL_STEPS = {
    "donor_link": "Link antenna: clamp it on the mast, turned against the sectors and tilted as this sheet says.",
    "open_sky": "Open-sky terminal out, clear all round, on; stay out of its view. It searches while you go on.",
}


def set_up_steps(minutes: float, people: int, backhaul: str = "geostationary") -> list[SetUpStep]:
    """The steps with whole minutes that add up to the set-up time; one person does all in the same order."""
    shares = [share for _, _, share in _STEPS]
    times, _ = parts_that_add_up([minutes * s / sum(shares) for s in shares], 0)
    return [
        SetUpStep(
            _BACKHAUL_STEPS.get(backhaul, text) if text == _DISH_STEP else text,
            who if people > 1 else "lead",
            time,
        )
        for (text, who, _), time in zip(_STEPS, times, strict=True)
    ]


def steps_for_both(trailer: Trailer, backhaul: str = "geostationary") -> list[tuple[str, str, str, str]]:
    """Rows (what, who of two, minutes for two, minutes for one): two take the likely time, one the high one."""
    two = set_up_steps(trailer.set_up_min[1], 2, backhaul)
    one = set_up_steps(trailer.set_up_min[2], 1, backhaul)
    return [
        (a.text, a.who, rounded_text(a.minutes, 0), rounded_text(b.minutes, 0)) for a, b in zip(two, one, strict=True)
    ]


def steps_total(trailer: Trailer, units: Units) -> str:
    """Sum of the steps as printed, the search after them, and when to stop and call."""
    two, one = (sum(s.minutes for s in set_up_steps(m, n)) for m, n in zip(trailer.set_up_min[1:], (2, 1), strict=True))
    return set_up_words(two, one, (trailer.acquisition_min[0], trailer.acquisition_min[2]), units)


TAKE_DOWN = (
    "Tell those who rely on the service; radio off.",
    "Look up, clear the fall circle; mast down and pinned, guys last as the manual says.",
    "Dish stowed and pinned.",
    "Generator off, cool, fuel valve closed; earth rod out.",
    "Outriggers in, jacks up, pads counted.",
    "Hitch, chains, breakaway cable, lights: checked by walking round.",
    "Chocks last. Leave nothing; log hours and faults.",
)
LOOK_FOR = (
    "Dish: the receiver shows the right satellite and a steady level; a level that swings means wind or a loose "
    "foot, none at all means a tree, a ridge or the wrong satellite. Skew: seen from behind the dish, + is clockwise."
)
