"""Which road lines the rig must not use, and which limits the data do not state.

A broken limit rules a line out with its reason. A missing figure is unknown: shown on the way, not forbidden. One that
is written against the rules shuts the road where the largest figure it can mean is below the rig.

Which missing figure is told (common practice, no source): signs for height, weight, width and length stand where a
road takes less than the law allows, so a tag is missing on nearly every ordinary public road and means nothing there;
to tell it of each road would hide where it matters. Told is what a structure or a minor road may hold back: weight
and width on bridges; height and width in tunnels; height below what passes over the road; height, weight and width on
unpaved, service and private roads and tracks; and anywhere a limit that is spoken of without a figure
(`maxheight=variable`, a mistake). A missing length is never told: it is
posted hardly anywhere, and what is too long fails at bends.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from siteplanner.data.road_keys import KEYS
from siteplanner.errors import Finding
from siteplanner.mission import Rig
from siteplanner.roads import cells
from siteplanner.roads.access import verdict
from siteplanner.roads.attributes import SMOOTHNESS, TRACKTYPES
from siteplanner.roads.barriers import barrier_means
from siteplanner.roads.conditions import Timed
from siteplanner.roads.reasons import UNKNOWN_KINDS, Limit, Reason, Unknown, UnknownKind
from siteplanner.roads.tables import objects
from siteplanner.roads.tags import RoadTags

_MEASURES = ("height", "weight", "width", "length", "weight")  # by tags.FIGURES, as the keys have them
_MINOR = ("service", "track", "")


def _figures(rig: Rig) -> tuple[tuple[str, Limit, float, str, float], ...]:
    """(figure's field in RoadTags, what it limits, the rig's figure, unit, what must be to spare)."""
    return (
        ("maxheight_m", "height limit", rig.height_m, "m", rig.height_allowance_m),
        ("maxweight_t", "weight limit", rig.mass_kg / 1000, "t", 0.0),
        ("maxwidth_m", "width", rig.width_m, "m", 0.0),
        ("maxlength_m", "length limit", rig.length_m, "m", 0.0),
        ("maxaxle_t", "axle load", rig.heaviest_axle_kg / 1000, "t", 0.0),
    )


def _of_words(tags: RoadTags, rig: Rig, i: int) -> list[Reason]:
    """Reasons from the words of line i for its surface and its barrier."""
    out = []
    surface = [s for s in tags.surface[i].replace(":", ";").split(";") if s.strip() in rig.forbidden_surfaces]
    if surface:
        out.append(Reason("surface", what=surface[0].strip()))
    track, smooth = tags.tracktype[i], tags.smoothness[i]
    if track in TRACKTYPES and TRACKTYPES.index(track) > TRACKTYPES.index(rig.worst_tracktype):
        out.append(Reason("track type", what=track, allowed=rig.worst_tracktype))
    if (
        smooth in SMOOTHNESS
        and rig.worst_smoothness in SMOOTHNESS
        and (SMOOTHNESS.index(smooth) > SMOOTHNESS.index(rig.worst_smoothness))
    ):
        out.append(Reason("smoothness", what=smooth, allowed=rig.worst_smoothness))
    if barrier_means(tags.barrier[i], _opened(tags, i)) == "stops":
        out.append(Reason("barrier", what=tags.barrier[i]))
    return out


def _opened(tags: RoadTags, i: int) -> str:
    """The access that is said of a line with a barrier; of a road without one it says nothing of the barrier."""
    return str(tags.access[i]) if tags.barrier[i] else ""


def judge_lines(tags: RoadTags, rig: Rig, timed: dict[int, Timed] | None = None) -> tuple[np.ndarray, np.ndarray]:
    """For each line the reasons why the rig must not use it (`()`: it may), and what the data do not tell of it.

    Arrays of tuples of `Reason` and of `Unknown`. A figure equal to the rig's passes, but for a height:
    that leaves `Rig.height_allowance_m` to spare. Access `private` and `permit`
    stay open, as a hazard: at an incident the owner is asked. `timed`: lines whose access depends on season, hours or
    the vehicle (`conditions.timed_lines`).
    """
    timed = timed or {}
    n = len(tags.highway)
    reasons: list[list[Reason]] = [[] for _ in range(n)]
    no_road: dict[str, Reason] = {}
    for i in np.flatnonzero(tags.road_class == ""):
        word = str(tags.highway[i])
        reasons[i].append(no_road.setdefault(word, Reason("no road", what=word)))
    forbidden = cells.where(tags.access, lambda w: verdict(w) == "closed")
    forbidden[list(timed)] = False
    for line in np.flatnonzero(forbidden).tolist():
        helped = "emergency" if tags.word("emergency", line) in ("yes", "designated", "official") else ""
        reasons[line].append(Reason("access", source="posted", what=str(tags.access[line]), allowed=helped))
    for line, rule in timed.items():
        if rule.state == "closed":
            reasons[line].append(Reason("season or hours", source="posted", what=rule.text))
    if rig.fords == "exclude":
        for i in np.flatnonzero(tags.ford):
            reasons[i].append(Reason("ford"))
    for i in np.flatnonzero(cells.where(tags.trailer, lambda w: verdict(w) == "closed")):
        reasons[i].append(Reason("trailers", source="posted"))
    for slot, (field, kind, limit, unit, spare) in enumerate(_figures(rig)):
        posted, slips = getattr(tags, field), tags.most[:, slot]
        need = limit + spare - 1e-9
        structure: Literal["", "bridge", "tunnel"]
        with np.errstate(invalid="ignore"):
            shut = (posted < need) | (slips < need)
        for line in np.flatnonzero(shut).tolist():
            structure = "bridge" if tags.bridge[line] else "tunnel" if tags.tunnel[line] else ""
            figure = float(posted[line] if posted[line] < need else slips[line])
            written = "" if posted[line] < need else _written(tags, line, slot)
            reasons[line].append(
                Reason(kind, figure, limit, unit, "posted", structure=structure, spare=spare, written=written)
            )
    for i in np.flatnonzero(np.abs(tags.incline_pct) > rig.max_grade_pct + 1e-9):
        reasons[i].append(Reason("grade", float(abs(tags.incline_pct[i])), rig.max_grade_pct, "%", "posted"))
    said = (tags.surface != "") | (tags.tracktype != "") | (tags.smoothness != "") | (tags.barrier != "")
    known: dict[tuple[str, str, str, str], list[Reason]] = {}
    for i in np.flatnonzero(said):
        key = tags.surface[i], tags.tracktype[i], tags.smoothness[i], tags.barrier[i]
        if key not in known:
            known[key] = _of_words(tags, rig, int(i))
        reasons[i].extend(known[key])
    return objects([tuple(r) for r in reasons]), _unknown(tags, timed)


def _written(tags: RoadTags, i: int, slot: int) -> str:
    """What stands in the data in the place of a figure of one kind."""
    said = [text for key, text in tags.unreadable[i] if key in KEYS and KEYS[key].measure == _MEASURES[slot]]
    return "; ".join(said)


def unknown_finding(unknown: np.ndarray, usable: np.ndarray, length_m: np.ndarray) -> Finding | None:
    """On what share of the roads for the rig each thing is not told. One entry per segment in all arrays."""
    total = float(length_m[usable].sum())
    sets: dict[tuple[Unknown, ...], int] = {}
    number = np.array([sets.setdefault(items, len(sets)) for items in unknown[usable]], np.int64)
    missing: dict[tuple[UnknownKind, bool], float] = {}
    for items, metres in zip(sets, np.bincount(number, length_m[usable], len(sets)).tolist(), strict=True):
        for item in items:
            missing[item.kind, item.near] = missing.get((item.kind, item.near), 0.0) + metres
    if not missing:
        return None
    shares = tuple((kind, near, metres / total) for (kind, near), metres in missing.items())
    return Finding("road_limits_not_stated", "note", facts={"shares": shares})


def with_unknown(unknown: np.ndarray, segments: np.ndarray, kind: UnknownKind) -> None:
    """Add one kind to what is not known of some segments, in its place. Changes `unknown`."""
    known: dict[tuple[Unknown, ...], tuple[Unknown, ...]] = {}
    for i in segments.tolist():
        if unknown[i] not in known:
            kinds = {*(u.kind for u in unknown[i]), kind}
            known[unknown[i]] = tuple(Unknown(k) for k in UNKNOWN_KINDS if k in kinds)
        unknown[i] = known[unknown[i]]


def _covered(tags: RoadTags) -> np.ndarray:
    """Lines under a roof, or whose height is said to be less than usual."""
    out = np.zeros(len(tags.highway), bool)
    if "covered" in tags.rare:
        out |= cells.where(tags.rare["covered"], cells.is_set)
    return out


def _unknown(tags: RoadTags, timed: dict[int, Timed]) -> np.ndarray:
    at_times = np.zeros(len(tags.highway), bool)
    at_times[[i for i, rule in timed.items() if rule.state == "not known"]] = True
    asked = cells.where(tags.access, lambda w: verdict(w) == "ask")
    minor = np.isin(tags.road_class, _MINOR) | asked | (tags.unpaved == 1)
    height, weight, width = tags.doubtful.T
    missing = np.column_stack(
        [  # in the order of UNKNOWN_KINDS
            np.isnan(tags.maxheight_m) & (minor | tags.tunnel | height | _covered(tags)),
            np.isnan(tags.maxweight_t) & (minor | tags.bridge | weight),
            np.isnan(tags.maxwidth_m) & (minor | tags.bridge | tags.tunnel | width),
            (tags.surface == "") & (tags.tracktype == "") & (tags.smoothness == ""),
            np.zeros(len(tags.highway), bool),
            tags.direction == "changes",
            at_times,
        ]
    )
    code = missing @ (1 << np.arange(missing.shape[1]))
    sets = {
        c: tuple(Unknown(kind) for k, kind in enumerate(UNKNOWN_KINDS) if c >> k & 1) for c in np.unique(code).tolist()
    }
    return objects([sets[c] for c in code.tolist()])
