"""The prediction in words: over what it was worked out, how sure it is, what a probability means."""

from __future__ import annotations

import math
from collections.abc import Iterable

from siteplanner.core.propagation import LEAST_DISTANCE_M
from siteplanner.errors import Finding
from siteplanner.mission import Mission, Radio
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.evaluation import Coverage
from siteplanner.planning.telling.units import Units

TOLD_POINTS = 0.1  # a bias below it is not told
_WITHOUT = {"water": "open water", "open": "open ground with nothing on it"}
_WITH = {
    "suburban": "suburban ground with houses and trees of",
    "urban": "a town with houses of",
    "trees": "woods of",
    "dense_urban": "a dense town with houses of",
}


def clutter_words(kind: str, height_m: float, units: Units) -> str:
    """`woods of 15 m`: a kind of clutter as a place, with how high it stands."""
    return _WITHOUT[kind] if kind in _WITHOUT else f"{_WITH[kind]} {units.length(height_m)}"


def cover_sentence(mission: Mission, findings: Iterable[Finding], units: Units) -> str:
    """Where what stands on the ground comes from, and what was assumed where the layers do not tell."""
    layers = mission.layers
    facts = {f.code: f.facts for f in findings if f.code in ("clutter_assumed", "surface_gaps", "land_cover_gaps")}
    if "clutter_assumed" in facts:
        what = clutter_words(facts["clutter_assumed"]["kind"], facts["clutter_assumed"]["height_m"], units)
        return f"What stands on the ground is not known: service is that of {what}, everywhere."
    if layers.surface and layers.land_cover:
        text = "Trees and houses: heights from the surface layer, kinds from land cover."
    elif layers.surface:
        text = "Trees and roofs from the surface layer, counted as trees."
    elif layers.land_cover:
        text = "Trees and houses from land cover, with the heights usual for their kind."
    else:
        return "What stands on the ground is not stated."
    gaps = facts.get("land_cover_gaps") or (None if layers.land_cover else facts.get("surface_gaps"))
    if gaps:
        what = clutter_words(gaps["kind"], gaps["height_m"], units)
        text += f" {units.share(gaps['share'])} of the search ground is in neither: {what} is assumed there."
    return text


def prediction_sentence(radio: Radio, units: Units) -> str:
    """The radio that service was predicted for, for how much of the time, and with what spread."""
    place, model = (units.decibels(v, 1) for v in (radio.location_sigma_db, radio.model_sigma_db))
    return (
        f"Handsets at {units.stated(radio.handset_height_m, 'm')}, {units.stated(radio.frequency_mhz, 'MHz')}, "
        f"{units.stated(radio.tx_power_dbm, 'dBm')} a port; for half of the time (median refraction, k = 4/3), from "
        f"{units.length(LEAST_DISTANCE_M)} off the mast on (ITU-R P.1812); spread {place} from place to place and "
        f"{model} of the model; predicted, not measured."
    )


def doubt_words(coverage: Coverage, units: Units) -> str:
    """`80 % to 84 % for the elevation's error, 48 % to 83 % if the model is off`; '' where not worked out."""
    parts, by = [], coverage.elevation
    if by is not None:
        digits = 1 if units.share(by.low) == units.share(by.high) else 0
        parts.append(f"{units.share(by.low, digits)} to {units.share(by.high, digits)} for the elevation's error")
    if math.isfinite(coverage.share_low) and math.isfinite(coverage.share_high):
        parts.append(f"{units.share(coverage.share_low)} to {units.share(coverage.share_high)} if the model is off")
    return ", ".join(parts)


def elevation_sentence(coverage: Coverage, units: Units) -> str:
    """What the elevation's own error does to the share, and which way; '' where not worked out."""
    by = coverage.elevation
    if by is None:
        return ""
    points = 100 * abs(by.bias)
    way = "more" if by.bias > 0 else "less"
    likely = f", most likely {points:.1f} points {way} than told" if points >= TOLD_POINTS else ""
    return (
        f"Elevation's own error: in 9 cases of 10 the share lies between {units.share(by.low, 1)} and "
        f"{units.share(by.high, 1)}{likely}; the figures are those of the elevation as given.{_hidden(by)}"
    )


def _hidden(by: ElevationDoubt) -> str:
    """Of wide cells: that a part of it is a guess; '' where they hide nothing that counts."""
    points = 100 * abs(by.hidden)
    if points < TOLD_POINTS:
        return ""
    return (
        f" {points:.1f} points of it are ridges and hollows that cells this wide do not show: guessed from those that "
        "they do, so the range is wide."
    )


def probability_meaning(radio: Radio, units: Units) -> str:
    """What the probability at a named point is, in a sentence."""
    return (
        f"Chance of service at this place for half of the time: spread {units.decibels(radio.location_sigma_db, 1)} "
        f"from place to place and {units.decibels(radio.model_sigma_db, 1)} of the model's own error together, never "
        f"given as above {units.share(radio.most_certain_at_point)}."
    )
