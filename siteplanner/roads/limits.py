"""Which road lines the rig must not use, and which limits the data do not state.

A broken limit rules a line out with its reason. A missing figure is unknown: shown on the way, not forbidden.
"""

from __future__ import annotations

import numpy as np

from siteplanner.mission import Rig
from siteplanner.roads.attributes import BARRIERS, SMOOTHNESS, TRACKTYPES
from siteplanner.roads.tags import RoadTags

_FORBIDDEN_ACCESS = ("no", "military", "dismount")
# figure's field in RoadTags, its name, the rig's figure, unit
_FIGURES = (
    ("maxheight_m", "height limit", lambda rig: rig.height_m, "m"),
    ("maxweight_t", "weight limit", lambda rig: rig.mass_kg / 1000, "t"),
    ("maxwidth_m", "width", lambda rig: rig.width_m, "m"),
    ("maxlength_m", "length limit", lambda rig: rig.length_m, "m"),
)
UNKNOWN_NAMES = ("height limit", "weight limit", "width", "surface", "grade", "direction")


def _words_limit(tags: RoadTags, rig: Rig, i: int) -> list[str]:
    out = []
    surface = [s for s in tags.surface[i].replace(":", ";").split(";") if s.strip() in rig.forbidden_surfaces]
    if surface:
        out.append(f"surface {surface[0].strip()} is not for the rig")
    track, smooth = tags.tracktype[i], tags.smoothness[i]
    if track in TRACKTYPES and TRACKTYPES.index(track) > TRACKTYPES.index(rig.worst_tracktype):
        out.append(f"track type {track} is softer than the rig's {rig.worst_tracktype}")
    if smooth in SMOOTHNESS and rig.worst_smoothness in SMOOTHNESS and (
            SMOOTHNESS.index(smooth) > SMOOTHNESS.index(rig.worst_smoothness)):
        out.append(f"smoothness {smooth} is worse than the rig's {rig.worst_smoothness}")
    if tags.barrier[i] in BARRIERS and BARRIERS[tags.barrier[i]] is None:
        out.append(f"barrier {tags.barrier[i]} stops the rig")
    return out


def judge_lines(tags: RoadTags, rig: Rig) -> tuple[np.ndarray, np.ndarray]:
    """Reason why the rig must not use each line (`''`: it may), and the tuple of limits without data.

    A figure equal to the rig's passes. Access `private` and `permit` stay open, as a hazard: at an incident the
    owner is asked.
    """
    n = len(tags.highway)
    reasons: list[list[str]] = [[] for _ in range(n)]
    place = np.where(tags.bridge, "bridge ", np.where(tags.tunnel, "tunnel ", ""))
    for i in np.flatnonzero(tags.road_class == ""):
        reasons[i].append(f"{tags.highway[i] or 'line'}: not a road for vehicles")
    for i in np.flatnonzero(np.isin(tags.access, _FORBIDDEN_ACCESS)):
        reasons[i].append(f"access is {tags.access[i]}")
    for i in np.flatnonzero(tags.trailer == "no"):
        reasons[i].append("no trailers")
    for field, name, of_rig, unit in _FIGURES:
        figures, limit = getattr(tags, field), of_rig(rig)
        for i in np.flatnonzero(figures < limit - 1e-9):
            reasons[i].append(f"{place[i]}{name} {figures[i]:.3g} {unit} is below the rig's {limit:.3g} {unit}")
    for i in np.flatnonzero(np.abs(tags.incline_pct) > rig.max_grade_pct + 1e-9):
        reasons[i].append(f"posted grade {abs(tags.incline_pct[i]):.3g} % is above the rig's "
                          f"{rig.max_grade_pct:.3g} %")
    said = (tags.surface != "") | (tags.tracktype != "") | (tags.smoothness != "") | (tags.barrier != "")
    known: dict[tuple[str, str, str, str], list[str]] = {}
    for i in np.flatnonzero(said):
        key = tags.surface[i], tags.tracktype[i], tags.smoothness[i], tags.barrier[i]
        if key not in known:
            known[key] = _words_limit(tags, rig, int(i))
        reasons[i].extend(known[key])
    return _texts(reasons), _unknown(tags)


def _texts(reasons: list[list[str]]) -> np.ndarray:
    out = np.empty(len(reasons), object)
    out[:] = ["; ".join(r) for r in reasons]
    return out


def _unknown(tags: RoadTags) -> np.ndarray:
    missing = np.column_stack([
        np.isnan(tags.maxheight_m), np.isnan(tags.maxweight_t), np.isnan(tags.maxwidth_m),
        (tags.surface == "") & (tags.tracktype == "") & (tags.smoothness == ""),
        np.zeros(len(tags.highway), bool), tags.direction == "changes",
    ])
    code = missing @ (1 << np.arange(missing.shape[1]))
    words = {c: tuple(w for k, w in enumerate(UNKNOWN_NAMES) if c >> k & 1) for c in np.unique(code).tolist()}
    out = np.empty(len(code), object)
    out[:] = [words[c] for c in code.tolist()]
    return out
