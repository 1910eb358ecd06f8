"""The set-up told in steps, for one person and for two, in the order in which nobody gets hurt.

Order: wheels are chocked before the hitch opens; side to side is levelled by boards while the tow vehicle still holds
the trailer, fore and aft by the tongue jack; outriggers go out before the jacks that stand on them; angles between
antennas are set while the mast is down; guys are fastened to mast and anchors before it rises and tended while it
rises (US Army Subcourse SS0732, "Antenna erection"). Shares of the time: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.mission import Mission, Trailer
from siteplanner.planning.site.mast_wind import MastLimit, mast_limit
from siteplanner.planning.telling.power import power_step
from siteplanner.planning.telling.score import parts_that_add_up
from siteplanner.planning.telling.times import set_up_words
from siteplanner.planning.telling.units import METRIC, Units, rounded_text


@dataclass(frozen=True)
class SetUpStep:
    """One step: what, who (lead, helper, both; never letters, which name spots), minutes."""

    text: str
    who: str
    minutes: float


@dataclass(frozen=True)
class SetUp:
    """What of a spot and a mission the steps speak of."""

    mission: Mission
    nose: str  # `301° true, 290° magnetic`
    angles: str  # how the antennas stand to each other, in a sentence
    turn: str  # what is turned to which bearing once the mast is up
    backhaul: str  # its kind
    mast: MastLimit

    @property
    def guys(self) -> int:
        return self.mission.guys


def set_up_of(mission: Mission, nose: str, angles: str, turn: str, backhaul: str, stop_m: float) -> SetUp:
    """The set-up at a spot whose mast goes up to a stop."""
    return SetUp(mission, nose, angles, turn, backhaul, mast_limit(mission, stop_m))


def _told(of: SetUp, units: Units) -> list[tuple[str, str, float]]:
    """(what, who of two, share of the set-up time), in order."""
    steps: list[tuple[str, str, float]] = [
        ("Walk the spot: wires, trees toward the dish, soft ground, ditches. Agree the stop signal.", "both", 4),
        (
            f"Park: tongue {of.nose}. Parking brake on. Chock the wheels on both sides, before and behind, the "
            "downhill side first.",
            "both",
            4,
        ),
        (
            "Still hitched: level side to side with boards under the low wheels. Then unhitch; level fore and aft with "
            "the tongue jack.",
            "both",
            5,
        ),
        (_jacks(of.mission.trailer), "both", 5),
        ("Buried lines marked? Then the ground rod and bonding, as the manual says. Rock: call.", "lead", 3),
        (power_step(of.mission.power, units), "helper", 5),
        (_BACKHAUL_STEPS[of.backhaul if of.backhaul in _BACKHAUL_STEPS else "geostationary"], "helper", 2),
        (f"Mast still down: {of.angles}", "lead", 4),
        *([(_guys(of, units), "both", 3)] if of.guys else []),
        (_raise(of, units), "both", 6),
        (
            f"{of.turn} Lock the turn."
            + (" Guys to even tension." if of.guys else "")
            + " Check the level again. Tape round the fall circle.",
            "both",
            4,
        ),
        ("Cell on. Check service with a phone, call in: on air (radio back, last part of this sheet).", "both", 5),
    ]
    return steps


_BACKHAUL_STEPS = {
    "geostationary": "Free the dish, start its search; stand behind it. It searches while you go on.",
    "donor_link": "Link antenna: clamp it on the mast, turned and tilted as this sheet says.",
    "open_sky": "Open-sky terminal out, clear all round, on; stay out of its view. It searches while you go on.",
}


def _jacks(trailer: Trailer) -> str:
    steady = "they steady it, they do not lift it off its wheels. Read the level."
    if trailer.jacks_on_outriggers:
        return f"Outriggers out and locked first, pads under their jacks, then jacks down to firm contact: {steady}"
    if trailer.outrigger_reach_m > 0:
        return f"Pads under the corner jacks, jacks down to firm contact, outriggers out and locked: {steady}"
    return f"Pads under the corner jacks, jacks down to firm contact: {steady}"


def _guys(of: SetUp, units: Units) -> str:
    far = units.length(of.mission.trailer.guy_anchors_m, 1)
    return (
        f"{of.guys} guys: anchors {far} from the mast, evenly round it, none across the tongue. Fasten each guy to the "
        "mast's ring and to its anchor before the mast moves."
    )


def _raise(of: SetUp, units: Units) -> str:
    tend = (
        " One raises, one tends the guys, the windward one first, so that none is slack or pulls; alone: stop at each "
        "section and tend them. Fewer hands than the manual asks for: do not raise."
        if of.guys
        else ""
    )
    return (
        f"Look up again, clear the fall circle, wind below {units.gust(of.mast.raise_below_m_s)}. Raise the mast to "
        f"{units.stop(of.mast.stop_m)}, set the lock.{tend}"
    )


def set_up_steps(of: SetUp, minutes: float, people: int, units: Units = METRIC) -> list[SetUpStep]:
    """The steps with whole minutes that add up to the set-up time; one person does all in the same order."""
    told = _told(of, units)
    whole = sum(share for _, _, share in told)
    times, _ = parts_that_add_up([minutes * share / whole for _, _, share in told], 0)
    return [
        SetUpStep(text, who if people > 1 else "lead", time) for (text, who, _), time in zip(told, times, strict=True)
    ]


def steps_for_both(of: SetUp, units: Units) -> list[tuple[str, str, str, str]]:
    """Rows (what, who of two, minutes for two, minutes for one): two take the likely time, one the high one."""
    trailer = of.mission.trailer
    two = set_up_steps(of, trailer.set_up_min[1], 2, units)
    one = set_up_steps(of, trailer.set_up_min[2], 1, units)
    return [
        (a.text, a.who, rounded_text(a.minutes, 0), rounded_text(b.minutes, 0)) for a, b in zip(two, one, strict=True)
    ]


def steps_total(trailer: Trailer, units: Units) -> str:
    """Sum of the steps, the search after them, and when to stop and call; the times are whole minutes as the steps."""
    two, one = (round(minutes) for minutes in trailer.set_up_min[1:])
    return set_up_words(two, one, (trailer.acquisition_min[0], trailer.acquisition_min[2]), units)
