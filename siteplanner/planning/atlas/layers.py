"""The files that an atlas was judged from, by what is in them, and which of a mission's own are others."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from siteplanner.data.records import SHAPEFILE_PARTS, sha256_of
from siteplanner.mission import Mission, layer_kinds
from siteplanner.mission.layers import Layers
from siteplanner.planning.atlas.today import OF_THE_DAY
from siteplanner.planning.study.layers import paths_of

NOT_COMPARED = ("incident_area", "people", "spots", "closures", *OF_THE_DAY)
"""Layers that belong to a day: their places and people are asked of the mission each time."""
MOST_BYTES = 200 << 20  # of a file that is read to be compared; of a larger one the size is


def files_of(mission: Mission) -> dict[str, list[list[Any]]]:
    """Role -> [bytes, SHA-256] of each file that places are judged by; None where it was too large to be read for
    that. A file that is not there is left out: nothing can be said of it."""
    found: dict[str, list[list[Any]]] = {}
    for role in Layers.model_fields:
        if not layer_kinds(role) or role in NOT_COMPARED:
            continue
        paths = [mission.path(name.partition("|")[0]) for name in paths_of(mission, role)]
        found[role] = sorted((mark for path in paths for mark in _marks(path)), key=repr)
    return found


def _marks(path: Path) -> list[list[Any]]:
    parts = [path.with_suffix(end) for end in SHAPEFILE_PARTS] if path.suffix.lower() == ".shp" else [path]
    try:
        sizes = {part: part.stat().st_size for part in parts if part.is_file()}
        return [[size, sha256_of(part) if size <= MOST_BYTES else None] for part, size in sizes.items()]
    except (OSError, ValueError):  # it is told where it is opened
        return []


def others_than(head: Mapping[str, Any], mission: Mission) -> tuple[str, ...]:
    """Layers of a mission that hold something else than the atlas was built from, or that one of the two lacks.

    A layer whose files are not at hand is not compared: an answer needs none of them.
    """
    kept = head.get("files")
    if not isinstance(kept, Mapping):
        return ()
    own = files_of(mission)
    return tuple(role for role, held in own.items() if _at_hand(mission, role) and held != kept.get(role, []))


def _at_hand(mission: Mission, role: str) -> bool:
    return all(_marks(mission.path(name.partition("|")[0])) for name in paths_of(mission, role))
