"""What stands at one point of a road: a barrier, a ford, a limit on a gate, a level crossing, a danger."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.data import road_keys as keys
from siteplanner.mission import Rig
from siteplanner.roads import access as may
from siteplanner.roads.barriers import NOTHING, OPENING, barrier_means
from siteplanner.roads.cells import is_set, plain_name, tag_text
from siteplanner.roads.hazards import Warned, barrier_warned
from siteplanner.roads.line_hazards import dangers_warned, ford_warned
from siteplanner.roads.quantities import Reading, height_m, length_m, mass_t, width_m
from siteplanner.roads.reasons import Limit, Reason

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True)
class RoadPoint:
    """One point on a road. `reasons`: why the rig does not get past it, () where it does; `opens`: somebody may open
    it all the same (a key, a saw). `warned`: what the driver is told there.
    """

    x: float
    y: float
    reasons: tuple[Reason, ...]
    warned: tuple[Warned, ...] = ()
    opens: bool = False


_LIMITS: tuple[tuple[Limit, tuple[str, ...], str], ...] = (
    ("height limit", keys.HEIGHT[:2], "m"), ("weight limit", keys.WEIGHT[:3], "t"), ("width", keys.WIDTH[:3], "m"),
    ("length limit", keys.LENGTH[:1], "m"), ("axle load", (*keys.AXLE[:1], *keys.BOGIE), "t"),
)  # fmt: skip


_CALMING = ("dip", "choker", "chicane")  # a low trailer hangs up in one, a long one in the others (Key:traffic_calming)


def road_points(roads: GeoDataFrame, points: np.ndarray, rig: Rig) -> list[RoadPoint]:
    """What the point rows of a road table say; those that say nothing are left out."""
    if not len(points):
        return []
    named = {str(c).strip().lower(): c for c in roads.columns}
    read = [key for key in keys.POINT_KEYS if key in named]
    columns = {key: roads[named[key]].iloc[points].tolist() for key in read}
    xy = shapely.get_coordinates(np.asarray(roads.geometry.array, object)[points]).tolist()
    out = []
    for k, (x, y) in enumerate(xy):
        raw = {key: values[k] for key, values in columns.items() if tag_text(values[k])}
        found = _point(float(x), float(y), {key: tag_text(v) for key, v in raw.items()}, raw, rig)
        if found is not None:
            out.append(found)
    return out


def _point(x: float, y: float, tags: dict[str, str], raw: dict[str, object], rig: Rig) -> RoadPoint | None:
    barrier = tags.get("barrier", "")
    access = next((tags[key] for key in reversed(may.modes(rig)) if key in tags), "")
    # the width of a gate is the gate's; beside a post that stops the rig anyway it says nothing
    own = (
        raw if barrier and barrier_means(barrier, access) == "told" else {k: v for k, v in raw.items() if k != "width"}
    )
    reasons, warned = _figures(own, rig)
    opens = False
    if barrier not in NOTHING:
        openable = tags.get("bollard", "") in OPENING
        locked = is_set(tags.get("locked", "")) or may.verdict(access) in ("closed", "ask")
        if barrier_means(barrier, access) == "stops":
            reasons.append(Reason("barrier", what=barrier, allowed=tags.get("bollard", "") if openable else ""))
            opens = True
        elif told := barrier_warned(barrier, locked, access):
            warned.append(told)
    elif may.verdict(access) == "closed":
        reasons.append(Reason("access", source="posted", what=access))
        opens = True
    elif may.verdict(access) == "ask":
        warned.append(Warned(kind="access", severity="warning", what=access))
    if may.verdict(tags.get("trailer", "")) == "closed":
        reasons.append(Reason("trailers", source="posted"))
    elif may.verdict(tags.get("trailer", "")) == "ask":
        warned.append(Warned(kind="trailers", severity="warning", what=f"trailer={tags['trailer']}"))
    goods = next((key for key in may.told_of_goods(rig) if may.verdict(tags.get(key, "")) in ("closed", "ask")), "")
    if goods:
        warned.append(Warned(kind="heavy vehicles", severity="warning", what=f"{goods}={tags[goods]}"))
    timed = next((tags[key] for mode in may.modes(rig) if (key := f"{mode}:conditional") in tags), "")
    if timed:
        warned.append(Warned(kind="season or hours", severity="warning", what=timed, state="not known"))
    warned += dangers_warned({key: tags.get(key, "") for key in (*keys.DANGERS, *keys.OUT_OF_USE, "passable")})
    if tags.get("traffic_calming", "") in _CALMING:
        warned.append(Warned(kind="danger", severity="warning", what=tags["traffic_calming"]))
    if is_set(tags.get("ford", "")):
        if rig.fords == "exclude":
            reasons.append(Reason("ford"))
        else:
            warned.append(ford_warned(tags.get("depth", "")))
    if is_set(tags.get("hazard", "")):
        warned.append(Warned(kind="danger", severity="warning", what=plain_name(raw["hazard"])[:60]))
    if is_set(tags.get("flood_prone", "")):
        warned.append(Warned(kind="flooding", severity="warning", what="flood_prone"))
    if tags.get("railway", "") in keys.LEVEL_CROSSINGS:
        tram = tags["railway"].startswith("tram")
        warned.append(
            Warned(kind="level crossing", severity="note" if tram else "warning", what="tram" if tram else "")
        )
    return RoadPoint(x, y, tuple(reasons), tuple(warned), opens) if reasons or warned else None


def _figures(raw: dict[str, object], rig: Rig) -> tuple[list[Reason], list[Warned]]:
    """Reasons and warnings from the figures at a point."""
    own = {
        "height limit": rig.height_m, "weight limit": rig.mass_kg / 1000, "width": rig.width_m,
        "length limit": rig.length_m, "axle load": rig.heaviest_axle_kg / 1000,
    }  # fmt: skip
    reasons: list[Reason] = []
    warned: list[Warned] = []
    posted = []
    for kind, names, unit in _LIMITS:
        for key in names:
            if key not in raw:
                continue
            reading = _reader(kind)(raw[key])
            limit = own[kind] * (2 if key in keys.BOGIE else 1)
            spare = rig.height_allowance_m if kind == "height limit" else 0.0
            figure = reading.value if reading.state == "read" else reading.most
            text = plain_name(raw[key])[:40]
            if figure < limit + spare - 1e-9:
                written = text if reading.state == "mistake" else ""
                reasons.append(Reason(kind, float(figure), limit, unit, "posted", spare=spare, written=written))
            elif reading.state == "mistake":
                warned.append(Warned(kind="unreadable", severity="warning", what=key, written=text))
            elif reading.state == "read" and kind in ("height limit", "weight limit", "width"):
                posted.append((kind.removesuffix(" limit"), float(figure), unit))
            elif reading.state == "unposted" and tag_text(raw[key]) == "below_default":
                warned.append(Warned(kind="no figure", severity="warning", what=key))
    if posted:
        warned.append(Warned(kind="limit", severity="note", posted=tuple(posted)))
    return reasons, warned


def _reader(kind: Limit) -> Callable[[object], Reading]:
    readers = {"height limit": height_m, "weight limit": mass_t, "axle load": mass_t, "width": width_m}
    return readers.get(kind, length_m)
