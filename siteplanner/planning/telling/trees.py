"""The sky over a spot as a crew can check it by eye: how tall a tree may be in each line, and the skyline in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.telling.arc import arc_words
from siteplanner.planning.telling.sky import sky_known_sentences
from siteplanner.planning.telling.units import BOTH, NOT_KNOWN, Units
from siteplanner.planning.telling.words import best_look


@dataclass(frozen=True)
class TreeRow:
    """How tall a tree may be in the line to one satellite, at each of `skyline.TREE_DISTANCES_M`."""

    satellite_name: str
    azimuth_deg: float
    distances_m: tuple[float, ...]
    heights_m: tuple[float, ...]  # NaN: not known; nought or less: the ground itself blocks
    heights: tuple[str, ...]  # `21 m (68 ft)`, rounded down; `none: the ground blocks`; `not known`


def tree_rows(evaluation: Evaluation, clear_only: bool = False, units: Units = BOTH) -> list[TreeRow]:
    """What a crew can check by eye, without an instrument, one row a satellite."""
    limits = evaluation.skyline.trees if evaluation.skyline is not None else ()
    out = []
    for look in evaluation.sky:
        own = [t for t in limits if t.satellite_name == look.satellite_name and t.azimuth_deg == look.azimuth_deg]
        if own and (look.clear or not clear_only):
            distances, heights = tuple(t.distance_m for t in own), tuple(t.tree_m for t in own)
            told = tuple(_height(h, units) for h in heights)
            out.append(TreeRow(look.satellite_name, look.azimuth_deg, distances, heights, told))
    return out


def _height(height_m: float, units: Units) -> str:
    if math.isnan(height_m):
        return NOT_KNOWN
    return "none: the ground blocks" if height_m <= 0 else units.there(height_m)


def tree_sentences(evaluation: Evaluation, units: Units = BOTH) -> list[str]:
    """`In the line to Relay one (180° true) a tree 30 m away may be up to 23 m (76 ft) tall, 60 m away 44 m ...`"""
    out = []
    for row in tree_rows(evaluation, units=units):
        parts: list[str] = []
        for distance, height_m, height in zip(row.distances_m, row.heights_m, row.heights, strict=True):
            away = f"{units.first.length(distance)} away"
            in_full = not parts and height_m > 0
            parts.append(f"{away} may be up to {height} tall" if in_full else f"{away} {height}")
        out.append(
            f"In the line to {row.satellite_name} ({units.bearing(row.azimuth_deg)} true) a tree {', '.join(parts)}."
        )
    return out


def tallest_label(evaluation: Evaluation, units: Units, longest_name: int = 24) -> str:
    """How tall a tree may be in the line to the best satellite in view, for the drawing; '' where there is none."""
    rows = tree_rows(evaluation, clear_only=True, units=units)
    if not rows:
        return ""
    look = evaluation.look
    row = next((r for r in rows if look is not None and r.satellite_name == look.satellite_name), rows[0])
    name = row.satellite_name
    name = name if len(name) <= longest_name else name[: longest_name - 1] + "…"
    told = zip(row.distances_m, row.heights, strict=True)
    tall = ", ".join(f"{units.first.length(distance)} away {height}" for distance, height in told)
    return f"tallest tree in the line to {name}: {tall}"


def look_up_sentence(evaluation: Evaluation, units: Units) -> str:
    """How tall a tree or bank toward the satellite may be; '' where that was not worked out."""
    look = best_look(evaluation)
    if evaluation.skyline is None or look is None:
        return ""
    rows = [
        t
        for t in evaluation.skyline.trees
        if t.satellite_name == look.satellite_name and math.isfinite(t.tree_m) and t.tree_m >= 0
    ]
    tall = ", ".join(f"{units.there(t.tree_m)} at {units.length(t.distance_m)}" for t in rows)
    return f"A tree or roof toward the satellite may stand no taller than {tall} from the dish." if tall else ""


def sky_sentences(evaluation: Evaluation, units: Units = BOTH) -> list[str]:
    """How well the lines to the satellites are known, what the spot sees of the arc, what a crew can check by eye."""
    known = sky_known_sentences(evaluation.sky if evaluation.dish_wanted else (), units)
    arc = [words] if (words := arc_words(evaluation.arc, evaluation.sky, units)) else []
    return [*known, *arc, *tree_sentences(evaluation, units)]


def skyline_words(evaluation: Evaluation, units: Units) -> str:
    """The horizon diagram in words: each satellite with its figures, and what is not known."""
    figure = evaluation.skyline
    assert figure is not None
    words = [
        f"{look.satellite_name}: bearing {units.bearing(look.azimuth_deg)} true, {units.angle(look.elevation_deg)} up, "
        f"skyline {units.angle(look.horizon_deg)}, margin {units.angle(look.margin_deg)}, {slot_state(look)}."
        for look in evaluation.sky
    ]
    unknown = int(figure.unknown.sum())
    if unknown:
        words.append(f"In {unknown} of 360 degrees what could stand higher is not in the data.")
    return " ".join(["Skyline all round with the arc of geostationary satellites.", *words])


def slot_state(look: Look) -> str:
    """Whether a satellite is clear, for the diagram."""
    if look.clear:
        return "clear"
    return NOT_KNOWN if look.state == "unknown" else "not clear"


def slot_label(look: Look, units: Units) -> str:
    """A satellite's name with what the diagram shows of it."""
    return f"{look.satellite_name}: {slot_state(look)}, margin {units.angle(look.margin_deg)}"


def horizon_key_words(evaluation: Evaluation) -> str:
    """The marks of the horizon diagram in a sentence, of those that are drawn; '' without a diagram."""
    figure = evaluation.skyline
    if figure is None:
        return ""
    states = {p.state for p in figure.arc}
    arcs = (("clear", "thick arc clear"), ("blocked", "dashed arc behind it"), ("unknown", "dotted arc not known"))
    marks = [
        "gray bare ground",
        *(["hatched trees and roofs"] if figure.surface_deg is not None else []),
        *(["dots what could stand beyond the data"] if figure.unknown.any() else []),
        *(words for state, words in arcs if state in states),
        f"disc and bar satellite and its beam with {figure.margin_deg:g}°, white not clear",
    ]
    return f"Skyline, bearings true: {'; '.join(marks)}."


def slot_short(look: Look) -> str:
    """A satellite's name where room is short; its margin stands elsewhere."""
    return look.satellite_name if look.clear else f"{look.satellite_name}: {slot_state(look)}"


def slot_legend(margin_deg: float) -> str:
    """What the mark of a satellite means."""
    return f"satellite and beam with {margin_deg:g}° margin; white: not clear"
