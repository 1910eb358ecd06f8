"""What the tags of a road line warn of."""

from __future__ import annotations

import numpy as np

from siteplanner.data.road_keys import DANGERS, OUT_OF_USE, TRAILERS_TOLD
from siteplanner.mission import Rig
from siteplanner.roads import cells
from siteplanner.roads.access import verdict
from siteplanner.roads.hazards import NARROW_MARGIN_M, Warned, barrier_warned
from siteplanner.roads.quantities import length_m, width_m
from siteplanner.roads.tags import RoadTags

_PRIVATE = ("private", "permit")


def _posted(tags: RoadTags, i: int) -> tuple[tuple[str, float, str], ...]:
    return tuple(
        (name, float(value), unit)
        for name, value, unit in (
            ("height", tags.maxheight_m[i], "m"),
            ("weight", tags.maxweight_t[i], "t"),
            ("width", tags.maxwidth_m[i], "m"),
        )
        if value == value
    )


def line_hazards(tags: RoadTags, rig: Rig, i: int) -> list[Warned]:
    """What the tags of line i warn of."""
    out: list[Warned] = []
    posted = _posted(tags, i)
    if tags.ford[i]:
        out.append(ford_warned(tags.word("depth", i)))
    if tags.bridge[i]:
        out.append(
            Warned(kind="bridge", severity="unknown" if np.isnan(tags.maxweight_t[i]) else "note", posted=posted)
        )
    if tags.tunnel[i]:
        out.append(
            Warned(kind="tunnel", severity="unknown" if np.isnan(tags.maxheight_m[i]) else "note", posted=posted)
        )
    elif not tags.bridge[i] and (
        tags.maxheight_m[i] == tags.maxheight_m[i] or tags.maxweight_t[i] == tags.maxweight_t[i]
    ):
        out.append(Warned(kind="limit", severity="note", posted=posted))
    gate = barrier_warned(tags.barrier[i], bool(tags.locked[i]), str(tags.access[i]))
    if gate is not None:
        out.append(gate)
    access = str(tags.access[i])
    if access in _PRIVATE:
        out.append(Warned(kind="private", severity="check"))
    elif verdict(access) == "ask":
        out.append(Warned(kind="access", severity="warning", what=access))
    if tags.goods[i]:
        out.append(Warned(kind="heavy vehicles", severity="warning", what=str(tags.goods[i])))
    out += [Warned(kind="unreadable", severity="warning", what=k, written=text) for k, text in tags.unreadable[i]]
    width = tags.maxwidth_m[i]
    if width < rig.width_m + NARROW_MARGIN_M:
        out.append(Warned(kind="narrow", severity="check", value=float(width), limit=rig.width_m))
    elif tags.one_lane[i]:
        out.append(Warned(kind="narrow", severity="note", state="one lane"))
    if tags.unpaved[i] == 1:
        kind = tags.surface[i] or (f"track type {tags.tracktype[i]}" if tags.tracktype[i] else "")
        out.append(Warned(kind="unpaved", severity="note", what=kind))
    return out + _of_rare_words(tags, rig, i)


def ford_warned(depth: str) -> Warned:
    """A ford, with its depth in metres where the data state one (Key:ford, Key:depth)."""
    reading = length_m(depth)
    figure = reading.value if reading.state == "read" else reading.most
    return Warned(kind="ford", severity="warning", value=None if np.isnan(figure) else float(figure))


def _of_rare_words(tags: RoadTags, rig: Rig, i: int) -> list[Warned]:
    out: list[Warned] = []
    if not tags.rare:
        return out
    flooded = "flood_prone" if cells.is_set(tags.word("flood_prone", i)) else ""
    if "low_water" in tags.word("bridge", i) or cells.is_set(tags.word("low_water_crossing", i)):
        flooded = "low_water_crossing"  # Key:bridge: a deck that high water covers
    if flooded:
        out.append(Warned(kind="flooding", severity="warning", what=flooded))
    danger = tags.word("hazard", i)
    if cells.is_set(danger):
        out.append(Warned(kind="danger", severity="warning", what=danger))
    out += dangers_warned({key: tags.word(key, i) for key in (*DANGERS, *OUT_OF_USE, "passable")})
    if tags.word("bridge", i) in ("collapsed", "destroyed", "damaged"):
        out.append(Warned(kind="out of use", severity="warning", what=f"bridge {tags.word('bridge', i)}"))
    if tags.word("service", i) == "emergency_access" and not tags.access[i]:
        out.append(Warned(kind="access", severity="warning", what="emergency"))
    if tags.word("maxheight", i) == "below_default":
        out.append(Warned(kind="no figure", severity="warning", what="maxheight"))
    if cells.is_set(tags.word("covered", i)) and not tags.tunnel[i]:
        out.append(Warned(kind="covered", severity="unknown"))
    if cells.is_set(tags.word("construction", i)):
        out.append(Warned(kind="works", severity="warning", what=tags.word("construction", i)))
    for key in ("abandoned", "disused"):
        if cells.is_set(tags.word(key, i)):
            out.append(Warned(kind="out of use", severity="warning", what=key))
    status = tags.word("status", i)
    if status and status not in ("open", "active", "existing", "yes", "ok", "in_use"):
        out.append(Warned(kind="out of use", severity="warning", what=f"status {status}"))
    if cells.is_set(tags.word("4wd_only", i)):
        out.append(Warned(kind="four wheels", severity="warning"))
    for key in ("trailer", "caravan", *TRAILERS_TOLD):
        word = tags.word(key, i)
        refused = verdict(word) == "ask" or (key != "trailer" and verdict(word) == "closed")
        if word and refused:
            out.append(Warned(kind="trailers", severity="warning", what=f"{key}={word}"))
    if tags.word("caravan:conditional", i):
        out.append(
            Warned(
                kind="trailers", severity="warning", what=f"caravan:conditional={tags.word('caravan:conditional', i)}"
            )
        )
    if tags.word("hgv:conditional", i) and rig.heavy_goods != "no":
        out.append(Warned(kind="heavy vehicles", severity="warning", what=tags.word("hgv:conditional", i)))
    guess = width_m(tags.word("est_width", i)).value
    if np.isnan(tags.maxwidth_m[i]) and guess < rig.width_m + NARROW_MARGIN_M:
        out.append(Warned(kind="narrow", severity="warning", value=float(guess), limit=rig.width_m, state="estimated"))
    return out


def dangers_warned(words: dict[str, str]) -> list[Warned]:
    """What stands on the way, or ends it, by key (Key:obstacle, Key:tidal, Key:flooded; Humanitarian data model)."""
    out = []
    for key, word in words.items():
        if key == "passable":
            if word in ("no", "false", "0"):
                out.append(Warned(kind="out of use", severity="warning", what="not passable"))
        elif not cells.is_set(word):
            continue
        elif key in OUT_OF_USE:
            what = key if cells.is_yes(word) else f"{key} {word}"
            out.append(Warned(kind="out of use", severity="warning", what=what))
        elif key == "obstacle":
            out.append(Warned(kind="danger", severity="warning", what=key if cells.is_yes(word) else word))
        else:
            out.append(Warned(kind="flooding", severity="warning", what=key))
    return out


def tags_with_hazards(tags: RoadTags, rig: Rig) -> np.ndarray:
    """Which lines `line_hazards` has something for; cheap, so that plain roads cost nothing."""
    out = (
        tags.ford
        | tags.bridge
        | tags.tunnel
        | tags.one_lane
        | (tags.barrier != "")
        | (tags.goods != "")
        | (tags.unpaved == 1)
        | np.array([bool(u) for u in tags.unreadable], bool)
        | cells.where(tags.access, lambda w: verdict(w) == "ask")
        | np.isfinite(tags.maxheight_m)
        | np.isfinite(tags.maxweight_t)
        | (tags.maxwidth_m < rig.width_m + NARROW_MARGIN_M)
    )
    for words in tags.rare.values():
        out |= words != ""
    return out
