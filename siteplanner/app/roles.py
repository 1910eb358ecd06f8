"""What a file can be taken for: read off the mission's own `Layers`, so that the two cannot drift apart."""

from __future__ import annotations

import re
import types
from dataclasses import dataclass
from typing import Any, Union, get_args, get_origin

from siteplanner.mission import Layers

KINDS = ("raster", "polygon", "line", "point", "table")
WORDS = {  # on screen; a layer without words here goes by its own name
    "elevation": "Ground elevation",
    "surface": "Surface heights (trees, roofs)",
    "land_cover": "Land cover classes",
    "incident_area": "Incident area",
    "roads": "Roads",
    "extra_tracks": "Tracks to add to the roads",
    "closures": "Road closures",
    "keep_out": "Keep-out areas",
    "hazards": "Hazard areas",
    "power_lines": "Power lines",
    "structures": "Buildings, fences, tanks",
    "water": "Lakes, rivers, streams",
    "soft_ground": "Soft ground",
    "must_serve": "Must-serve points",
    "spots": "Spots to judge",
    "wind_forecast": "Wind forecast (table)",
}


@dataclass(frozen=True)
class Role:
    """One layer of the mission. `kinds`: what its file may hold; `several`: whether it takes more than one file."""

    words: str
    kinds: tuple[str, ...]
    several: bool
    needed: bool


def roles_of_layers() -> dict[str, Role]:
    """Every field of `Layers` that names files. The kinds stand in the first clause of its description."""
    out = {}
    for name, field in Layers.model_fields.items():
        several = _is_tuple_of_text(field.annotation)
        if not several and not _is_text(field.annotation):
            continue
        clause = (field.description or "").split(";")[0]
        kinds = tuple(dict.fromkeys(re.findall(rf"\b({'|'.join(KINDS)})s?\b", clause.lower())))
        words = WORDS.get(name, name.replace("_", " ").capitalize())
        out[name] = Role(words, kinds, several, field.is_required())
    return out


def _is_text(annotation: Any) -> bool:
    if get_origin(annotation) in (Union, types.UnionType):
        return set(get_args(annotation)) == {str, type(None)}
    return annotation is str


def _is_tuple_of_text(annotation: Any) -> bool:
    return get_origin(annotation) is tuple and get_args(annotation) == (str, ...)
