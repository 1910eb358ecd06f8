"""What a file can be taken for: read off the mission's own `Layers`, so that the two cannot drift apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_origin

from siteplanner.mission import LayerKind, Layers, layer_kinds

WORDS = {  # on screen; a layer without words here goes by its own name
    "elevation": "Ground elevation",
    "surface": "Surface heights (trees, roofs)",
    "land_cover": "Land cover classes",
    "incident_area": "Incident area",
    "people": "People (raster)",
    "roads": "Roads",
    "extra_tracks": "Tracks to add to the roads",
    "closures": "Road closures",
    "keep_out": "Keep-out areas",
    "hazards": "Hazard areas",
    "power_lines": "Overhead lines",
    "structures": "Buildings, fences, tanks",
    "water": "Lakes, rivers, streams",
    "soft_ground": "Soft ground",
    "must_serve": "Must-serve points",
    "spots": "Spots to judge",
    "parcels": "Parcels with their owners",
    "landing_zones": "Airports, heliports, helispots",
    "known_cells": "Cells of others",
    "license_area": "License area",
    "staging": "Staging points",
    "wind_forecast": "Wind forecast (table)",
}


@dataclass(frozen=True)
class Role:
    """One layer of the mission. `kinds`: what its file may hold; `several`: whether it takes more than one file."""

    words: str
    kinds: tuple[LayerKind, ...]
    several: bool
    needed: bool


def roles_of_layers() -> dict[str, Role]:
    """Every field of `Layers` that names files."""
    out = {}
    for name, field in Layers.model_fields.items():
        kinds = layer_kinds(name)
        if not kinds:
            continue
        words = WORDS.get(name, name.replace("_", " ").capitalize())
        out[name] = Role(words, kinds, get_origin(field.annotation) is tuple, field.is_required())
    return out
