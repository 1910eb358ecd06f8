"""What the driver is asked to do, in words, for paper or for the radio. Names stay as the road data have them."""

from __future__ import annotations

from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.steps import Beyond, Move, Step

ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth")
AT_LEAST_TOLD_M = 50.0  # a difference in length below this is not worth a word


def step_words(step: Step, units: Units = METRIC) -> str:
    """`300 m past Mill Lane, turn right onto Ridge Road, toward the north`: without a stop at the end."""
    move = move_words(step.move, units)
    return f"{units.roughly(step.past_m)} past {step.past}, {move}" if step.past else _capital(move)


def move_words(move: Move, units: Units = METRIC) -> str:
    """The action alone, beginning in lower case."""
    text = {
        "depart": lambda m: _depart(m, units),
        "turn": _turn,
        "keep": _keep,
        "ramp": _ramp,
        "merge": lambda m: f"merge onto {_road(m)}{_toward(m)}",
        "continue": _continue,
        "roundabout": _roundabout,
        "unpaved": lambda m: f"unpaved from here, on {m.onto}",
        "arrive": lambda m: _arrive(m, units),
    }[move.action](move)
    return f"{text}; unpaved from here" if move.then_unpaved else text


def too_far_words(beyond: Beyond | None, units: Units = METRIC) -> str:
    """`Too far: Mill Lane, 120 m beyond the stop`: how the driver knows that the end was missed; '' for nothing."""
    if beyond is None:
        return ""
    distance = units.roughly(beyond.distance_m)
    if not beyond.place:
        return f"The road ends {distance} beyond the stop"
    return f"Too far: {beyond.place}, {distance} beyond the stop"


def alternative_words(other: Alternative, units: Units = METRIC) -> str:
    """The second way against the quickest in a sentence, or that there is none."""
    if other.way is None:
        return "No alternative: the rig has no other way from the start to the spot."
    if other.distinct:
        return f"{_capital(_against(other, units))}."
    return (
        f"No distinct alternative: the most different way shares {units.distance(other.shared_m)} of its "
        f"{units.distance(other.way.distance_m)} with the drive ({_against(other, units)})."
    )


def _against(other: Alternative, units: Units) -> str:
    way = other.way
    assert way is not None
    minutes = round(other.longer_s / 60)
    words = [f"{units.minutes(minutes)} longer" if minutes >= 1 else "about as long in time"]
    if abs(other.farther_m) >= AT_LEAST_TOLD_M:
        farther = "farther" if other.farther_m > 0 else "shorter"
        words.append(f"{units.figure(abs(other.farther_m) / 1000, 'km', 1)} {farther}")
    if abs(way.worst_grade_pct) >= 1:  # False for an unknown one
        words.append(f"steepest {units.grade(way.worst_grade_pct, way.worst_grade_error_pct)}")
    by = f"by {other.by}" + (f" instead of {other.instead_of}" if other.instead_of else "")
    return f"{by}, {', '.join(words)}"


def _toward(move: Move) -> str:
    return f", toward the {move.toward}"


def _onto(move: Move) -> str:
    return f"to stay on {_road(move)}{_toward(move)}" if move.stays else f"onto {_road(move)}{_toward(move)}"


def _road(move: Move) -> str:
    """`Ridge Road (CR 12)`: the name with the number that signs show."""
    return f"{move.onto} ({move.ref})" if move.ref else move.onto


def _depart(move: Move, units: Units) -> str:
    if move.off_road_m > 0:  # False for none
        gap = f"leave {move.start}, {units.length(move.off_road_m)} over ground that no road data show"
        return f"{gap}, then take {move.onto}{_toward(move) if move.toward else ''}"
    if move.toward:
        return f"leave {move.start} on {_road(move)}{_toward(move)}"
    return f"start at {move.start} on {_road(move)}"


def _turn(move: Move) -> str:
    turn = {
        "back": "turn back",
        "sharp": f"turn sharp {move.side}",
        "slightly": f"turn slightly {move.side}",
        "": f"turn {move.side}",
    }[move.sharpness]
    place = f"at the {move.shape} " if move.shape else ""
    return f"{place}{turn} {_onto(move)}"


def _keep(move: Move) -> str:
    return f"keep {move.side} at the fork {_onto(move)}"


def _ramp(move: Move) -> str:
    side = f" on the {move.side}" if move.side else ""
    what = f"exit {move.exit_ref}" if move.exit_ref else "the ramp"
    signed = f"; signs: {move.destination}" if move.destination else ""
    return f"take {what}{side}{f' onto {_road(move)}' if move.onto else ''}{_toward(move)}{signed}"


def _continue(move: Move) -> str:
    if move.shape == "bend":
        return f"follow the bend to the {move.side}: the road becomes {_road(move)}{_toward(move)}"
    return f"continue as {_road(move)}{_toward(move)}"


def _roundabout(move: Move) -> str:
    number = move.exit_number
    which = ORDINALS[number - 1] if number <= len(ORDINALS) else f"number {number}"
    return f"at the roundabout take the {which} exit onto {_road(move)}{_toward(move)}"


def _arrive(move: Move, units: Units) -> str:
    off = move.off_road_m
    leg = f"the spot is {units.length(off)} off the road" if off >= 1 else "the spot is at the road"
    side = {"": "", "straight on": ", straight ahead"}.get(move.side, f", on the {move.side}")
    return f"stop: {leg}{side}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
