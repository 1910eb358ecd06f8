"""The road table's columns as arrays, one entry for each line, with findings for what could not be read."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from siteplanner.errors import Finding
from siteplanner.roads import attributes as read

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_HSTORE = re.compile(r'"((?:[^"\\]|\\.)*)"\s*=>\s*"((?:[^"\\]|\\.)*)"')


@dataclass(frozen=True, eq=False)
class RoadTags:
    """What the tags say, one entry for each line. Figures are NaN where unknown, words `''`."""

    name: np.ndarray
    highway: np.ndarray
    road_class: np.ndarray  # attributes.CLASSES; '' not for vehicles; 'unclassified' for words not understood
    surface: np.ndarray
    unpaved: np.ndarray  # 1 yes, 0 no, -1 unknown
    tracktype: np.ndarray
    smoothness: np.ndarray
    direction: np.ndarray  # attributes.Direction
    access: np.ndarray  # the most specific value for a motor vehicle
    barrier: np.ndarray
    locked: np.ndarray  # a barrier that is said to be locked
    timed: np.ndarray  # '' or the words of what depends on season or hours; see `conditions`
    maxheight_m: np.ndarray
    maxweight_t: np.ndarray
    maxwidth_m: np.ndarray  # posted, or the width of the carriageway
    maxlength_m: np.ndarray
    maxspeed_kmh: np.ndarray
    incline_pct: np.ndarray
    trailer: np.ndarray  # access of trailers
    ford: np.ndarray
    bridge: np.ndarray
    tunnel: np.ndarray
    level: np.ndarray
    roundabout: np.ndarray
    one_lane: np.ndarray
    unreadable: np.ndarray  # sentence about a limit that is written against the rules, or ''
    doubtful: np.ndarray  # (n, 3) bool: a height, weight or width limit is spoken of without a figure


class _Columns:
    """Columns by OpenStreetMap key, whatever their case; `other_tags` (GDAL's spelling) is looked into."""

    def __init__(self, frame: GeoDataFrame) -> None:
        self._n = len(frame)
        self._columns = {str(c).strip().lower(): frame[c] for c in frame.columns if c != frame.geometry.name}
        self._other: list[dict[str, str]] | None = None
        if "other_tags" in self._columns:
            self._other = read.read_column(
                self._columns["other_tags"],
                lambda v: dict(_HSTORE.findall(v.lower())) if isinstance(v, str) else {},
            )

    def values(self, key: str) -> list[Any]:
        out: list[Any] = self._columns[key].tolist() if key in self._columns else [None] * self._n
        if self._other is not None:
            out = [t.get(key) if read.is_missing(v) else v for v, t in zip(out, self._other, strict=True)]
        return out

    def has(self, key: str) -> bool:
        return key in self._columns or self._other is not None

    def words(self, key: str) -> np.ndarray:
        if not self.has(key):
            return np.full(self._n, "", object)
        return np.array([*read.read_column(self.values(key), read.tag_text), None], object)[:-1]

    def flags(self, key: str) -> np.ndarray:
        if not self.has(key):
            return np.zeros(self._n, bool)
        return np.array(read.read_column(self.values(key), read.is_set), bool)


def _figures(
    columns: _Columns,
    keys: tuple[str, ...],
    reader: Callable[[Any], read.Reading],
    unreadable: np.ndarray,
    findings: list[Finding],
    doubtful: np.ndarray | None,
) -> np.ndarray:
    """The smallest figure among several keys; mistakes go into `unreadable` and the findings, and with words that
    leave a limit open into `doubtful`.
    """
    out = np.full(len(unreadable), np.nan)
    for key in keys:
        if not columns.has(key):
            continue
        raw = columns.values(key)
        readings = read.read_column(raw, reader)
        out = np.fmin(out, np.array([r.value for r in readings], float))
        wrong = [i for i, r in enumerate(readings) if r.state == "mistake"]
        if doubtful is not None:
            doubtful[wrong] = True
            doubtful[
                [i for i, r in enumerate(readings) if r.state == "unposted" and read.tag_text(raw[i]) in read.LEFT_OPEN]
            ] = True
        if not wrong:
            continue
        for i in wrong:
            text = f"{key} is written as {read.plain_name(raw[i])[:40]!r}"
            unreadable[i] = f"{unreadable[i]}; {text}" if unreadable[i] else text
        written = tuple(sorted({repr(read.plain_name(raw[i])[:40]) for i in wrong})[:5])
        facts: dict[str, Any] = {"count": len(wrong), "key": key, "written": written}
        findings.append(Finding("road_tag_unreadable", "warning", facts=facts))
    return out


def _classes(highway: np.ndarray, has_column: bool, is_line: np.ndarray, findings: list[Finding]) -> np.ndarray:
    if not has_column:
        findings.append(Finding("road_class_missing", "warning", facts={"column": False}))
        return np.full(len(highway), "unclassified", object)
    blank = int(((highway == "") & is_line).sum())
    if blank:
        facts: dict[str, Any] = {"column": True, "count": blank, "of": int(is_line.sum())}
        findings.append(Finding("road_class_missing", "warning", facts=facts))
    found = read.read_column(highway, read.road_class)
    strange = sorted({repr(h) for h, c in zip(highway, found, strict=True) if c is None and h})
    if strange:
        facts = {"count": len(strange), "written": tuple(strange[:8])}
        findings.append(Finding("road_class_unknown", "warning", facts=facts))
    return np.array([*("unclassified" if c is None else c for c in found), None], object)[:-1]


def _timed(columns: _Columns) -> np.ndarray:
    """'' or ((access, its conditions), (vehicle, ...), (motor_vehicle, ...), season) of each line."""
    keys = ("access", "vehicle", "motor_vehicle")
    out = np.full(len(columns.words("access")), "", object)
    seasons = {key: columns.words(key) for key in ("seasonal", "winter_road", "ice_road") if columns.has(key)}
    if not seasons and not any(columns.has(f"{key}:conditional") for key in keys):
        return out
    plain = [columns.words(key) for key in keys]
    timed = [columns.words(f"{key}:conditional") for key in keys]
    told = np.array([any(row) for row in zip(*timed, strict=True)], bool)
    season = np.full(len(out), "", object)
    for key, words in seasons.items():
        there = np.array([read.is_set(w) for w in words], bool)
        season[there] = [f"{key.replace('_', ' ')}: {w}" for w in words[there]]
    for i in np.flatnonzero(told | (season != "")).tolist():
        out[i] = (*((p[i], t[i]) for p, t in zip(plain, timed, strict=True)), season[i])
    return out


def read_tags(frame: GeoDataFrame) -> tuple[RoadTags, list[Finding]]:
    """Read the columns of a road table; see `RoadTags`."""
    columns = _Columns(frame)
    findings: list[Finding] = []
    unreadable = np.full(len(frame), "", object)

    doubtful = np.zeros((len(frame), 3), bool)

    def figure(
        *keys: str, reader: Callable[[Any], read.Reading] = read.length_m, doubt: int | None = None
    ) -> np.ndarray:
        return _figures(columns, keys, reader, unreadable, findings, None if doubt is None else doubtful[:, doubt])

    highway = columns.words("highway")
    surface, tracktype = columns.words("surface"), columns.words("tracktype")
    names, refs = (
        [read.plain_name(v) for v in columns.values(key)] if columns.has(key) else [""] * len(frame)
        for key in ("name", "ref")
    )
    names = [name or ref for name, ref in zip(names, refs, strict=True)]
    unpaved = read.read_columns(read.is_unpaved, surface, tracktype, highway)
    access = read.read_columns(
        read.access_word, columns.words("access"), columns.words("vehicle"), columns.words("motor_vehicle")
    )
    timed = _timed(columns)
    junction = columns.words("junction")
    directions = read.read_columns(read.direction, columns.words("oneway"), highway, junction)
    storeys = read.read_columns(read.level, columns.words("layer"), columns.words("bridge"), columns.words("tunnel"))
    lanes = columns.words("lanes")

    def objects(values: list[Any]) -> np.ndarray:
        out = np.empty(len(values), object)
        out[:] = values
        return out

    tags = RoadTags(
        name=objects(names),
        highway=highway,
        road_class=_classes(highway, columns.has("highway"), frame.geometry.geom_type.ne("Point").to_numpy(), findings),
        surface=surface,
        unpaved=np.array([-1 if u is None else int(u) for u in unpaved], np.int8),
        tracktype=tracktype,
        smoothness=columns.words("smoothness"),
        direction=objects(directions),
        access=objects(access),
        barrier=columns.words("barrier"),
        locked=columns.flags("locked"),
        timed=timed,
        maxheight_m=figure("maxheight", "maxheight:physical", doubt=0),
        maxweight_t=figure("maxweight", "maxgcweight", reader=read.mass_t, doubt=1),
        maxwidth_m=figure("maxwidth", "maxwidth:physical", "width", doubt=2),
        maxlength_m=figure("maxlength"),
        maxspeed_kmh=figure("maxspeed", reader=read.speed_kmh),
        incline_pct=figure("incline", reader=read.incline_pct),
        trailer=columns.words("trailer"),
        ford=columns.flags("ford"),
        bridge=columns.flags("bridge"),
        tunnel=columns.flags("tunnel"),
        level=np.array(storeys, int),
        roundabout=np.isin(junction, ("roundabout", "circular")) | (columns.words("oneway") == "roundabout"),
        one_lane=(lanes == "1") | columns.flags("narrow"),
        unreadable=unreadable,
        doubtful=doubtful,
    )
    return tags, findings
