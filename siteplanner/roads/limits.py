"""Which road lines the rig must not use, and which limits the data do not state.

A broken limit rules a line out with its reason. A missing figure is unknown: shown on the way, not forbidden.

Which missing figure is told (common practice, no source): signs for height, weight, width and length stand where a
road takes less than the law allows, so a tag is missing on nearly every ordinary public road and means nothing there;
to tell it of each road would hide where it matters. Told is what a structure or a minor road may hold back: weight
and width on bridges; height and width in tunnels; height below what passes over the road; height, weight and width on
unpaved, service and private roads and tracks; and anywhere a limit that is spoken of without a figure
(`maxheight=variable`, a mistake). A missing length is never told: it is
posted hardly anywhere, and what is too long fails at bends.
"""

from __future__ import annotations

import numpy as np

from siteplanner.errors import Finding
from siteplanner.mission import Rig
from siteplanner.roads.attributes import BARRIERS, SMOOTHNESS, TRACKTYPES
from siteplanner.roads.conditions import FORBIDDEN, NOT_KNOWN, Timed
from siteplanner.roads.tags import RoadTags

# figure's field in RoadTags, its name, the rig's figure, unit
_FIGURES = (
    ("maxheight_m", "height limit", lambda rig: rig.height_m, "m"),
    ("maxweight_t", "weight limit", lambda rig: rig.mass_kg / 1000, "t"),
    ("maxwidth_m", "width", lambda rig: rig.width_m, "m"),
    ("maxlength_m", "length limit", lambda rig: rig.length_m, "m"),
)
UNKNOWN_NAMES = ("height limit", "weight limit", "width", "surface", "grade", "direction", NOT_KNOWN)
NEAR = "grade for certain"  # grades closer to the rig's limit than they are known
USUAL = "No other limit is in the data, as is usual on ordinary roads: signs on the road go before the map."
_MINOR = ("service", "track", "")


def _words_limit(tags: RoadTags, rig: Rig, i: int) -> list[str]:
    out = []
    surface = [s for s in tags.surface[i].replace(":", ";").split(";") if s.strip() in rig.forbidden_surfaces]
    if surface:
        out.append(f"surface {surface[0].strip()} is not for the rig")
    track, smooth = tags.tracktype[i], tags.smoothness[i]
    if track in TRACKTYPES and TRACKTYPES.index(track) > TRACKTYPES.index(rig.worst_tracktype):
        out.append(f"track type {track} is softer than the rig's {rig.worst_tracktype}")
    if (
        smooth in SMOOTHNESS
        and rig.worst_smoothness in SMOOTHNESS
        and (SMOOTHNESS.index(smooth) > SMOOTHNESS.index(rig.worst_smoothness))
    ):
        out.append(f"smoothness {smooth} is worse than the rig's {rig.worst_smoothness}")
    if tags.barrier[i] in BARRIERS and BARRIERS[tags.barrier[i]] is None:
        out.append(f"barrier {tags.barrier[i]} stops the rig")
    return out


def judge_lines(tags: RoadTags, rig: Rig, timed: dict[int, Timed] | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Reason why the rig must not use each line (`''`: it may), and the tuple of limits without data.

    A figure equal to the rig's passes. Access `private` and `permit` stay open, as a hazard: at an incident the
    owner is asked. `timed`: lines whose access depends on season, hours or the vehicle (`conditions.timed_lines`).
    """
    timed = timed or {}
    n = len(tags.highway)
    reasons: list[list[str]] = [[] for _ in range(n)]
    place = np.where(tags.bridge, "bridge ", np.where(tags.tunnel, "tunnel ", ""))
    for i in np.flatnonzero(tags.road_class == ""):
        reasons[i].append(f"{tags.highway[i] or 'line'}: not a road for vehicles")
    forbidden = np.isin(tags.access, FORBIDDEN)
    forbidden[list(timed)] = False
    for i in np.flatnonzero(forbidden):
        reasons[i].append(f"access is {tags.access[i]}")
    for line, rule in timed.items():
        if rule.state == "closed":
            reasons[line].append(f"no access at this time or for this rig ({rule.text})")
    if rig.fords == "exclude":
        for i in np.flatnonzero(tags.ford):
            reasons[i].append("ford")
    for i in np.flatnonzero(tags.trailer == "no"):
        reasons[i].append("no trailers")
    for field, name, of_rig, unit in _FIGURES:
        figures, limit = getattr(tags, field), of_rig(rig)
        for i in np.flatnonzero(figures < limit - 1e-9):
            reasons[i].append(f"{place[i]}{name} {figures[i]:.3g} {unit} is below the rig's {limit:.3g} {unit}")
    for i in np.flatnonzero(np.abs(tags.incline_pct) > rig.max_grade_pct + 1e-9):
        reasons[i].append(f"posted grade {abs(tags.incline_pct[i]):.3g} % is above the rig's {rig.max_grade_pct:.3g} %")
    said = (tags.surface != "") | (tags.tracktype != "") | (tags.smoothness != "") | (tags.barrier != "")
    known: dict[tuple[str, str, str, str], list[str]] = {}
    for i in np.flatnonzero(said):
        key = tags.surface[i], tags.tracktype[i], tags.smoothness[i], tags.barrier[i]
        if key not in known:
            known[key] = _words_limit(tags, rig, int(i))
        reasons[i].extend(known[key])
    return _texts(reasons), _unknown(tags, timed)


def unknown_finding(unknown: np.ndarray, usable: np.ndarray, length_m: np.ndarray) -> Finding | None:
    """On what share of the roads for the rig each limit is not stated. One entry per segment in all arrays."""
    total = float(length_m[usable].sum())
    kinds: dict[tuple[str, ...], int] = {}
    kind = np.array([kinds.setdefault(words, len(kinds)) for words in unknown[usable]], np.int64)
    missing: dict[str, float] = {}
    for words, metres in zip(kinds, np.bincount(kind, length_m[usable], len(kinds)).tolist(), strict=True):
        for word in map(kind_of, words):
            missing[word] = missing.get(word, 0.0) + metres
    if not missing:
        return None
    shares = sorted(((100 * m / total, word) for word, m in missing.items()), key=lambda s: (-s[0], s[1]))
    told = ", ".join(f"{word} {'below 1' if share < 0.5 else f'{share:.0f}'} %" for share, word in shares)
    return Finding(
        "road_limits_not_stated",
        "note",
        f"Not stated on the roads for the rig, by length: {told}. Not stated is not the same as none. Missing height, "
        "weight, width and length limits are left out on ordinary roads, where none is usual.",
        "Signs on the road go before the map; ask someone who has driven it with a trailer.",
    )


def kind_of(word: str) -> str:
    """A limit not stated without its figures, so that roads can be counted by it."""
    return NEAR if "±" in word else word


def with_unknown(unknown: np.ndarray, segments: np.ndarray, word: str) -> None:
    """Add one of UNKNOWN_NAMES to the limits not stated on some segments, in its place. Changes `unknown`."""
    for i in segments.tolist():
        words = {*unknown[i], word}
        unknown[i] = tuple(name for name in UNKNOWN_NAMES if name in words)


def _texts(reasons: list[list[str]]) -> np.ndarray:
    out = np.empty(len(reasons), object)
    out[:] = ["; ".join(r) for r in reasons]
    return out


def _unknown(tags: RoadTags, timed: dict[int, Timed]) -> np.ndarray:
    at_times = np.zeros(len(tags.highway), bool)
    at_times[[i for i, rule in timed.items() if rule.state == "not known"]] = True
    minor = np.isin(tags.road_class, _MINOR) | np.isin(tags.access, ("private", "permit")) | (tags.unpaved == 1)
    height, weight, width = tags.doubtful.T
    missing = np.column_stack(
        [
            np.isnan(tags.maxheight_m) & (minor | tags.tunnel | height),
            np.isnan(tags.maxweight_t) & (minor | tags.bridge | weight),
            np.isnan(tags.maxwidth_m) & (minor | tags.bridge | tags.tunnel | width),
            (tags.surface == "") & (tags.tracktype == "") & (tags.smoothness == ""),
            np.zeros(len(tags.highway), bool),
            tags.direction == "changes",
            at_times,
        ]
    )
    code = missing @ (1 << np.arange(missing.shape[1]))
    words = {c: tuple(w for k, w in enumerate(UNKNOWN_NAMES) if c >> k & 1) for c in np.unique(code).tolist()}
    out = np.empty(len(code), object)
    out[:] = [words[c] for c in code.tolist()]
    return out
