"""The road table's columns as arrays, one entry for each line, with findings for what could not be read."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from siteplanner.data import road_keys as keys
from siteplanner.errors import Finding
from siteplanner.mission import Rig
from siteplanner.roads import access as may
from siteplanner.roads import attributes as read
from siteplanner.roads import cells, stopping
from siteplanner.roads import quantities as figures
from siteplanner.roads.timed_tags import timed_tags

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_HSTORE = re.compile(r'"((?:[^"\\]|\\.)*)"\s*=>\s*"((?:[^"\\]|\\.)*)"')


FIGURES = ("height", "weight", "width", "length", "axle")  # columns of `RoadTags.most`
# words that few roads bear; see `RoadTags.words`
RARE = (
    "flood_prone", "low_water_crossing", "bridge", "hazard", "depth", "ford", "est_width", "covered", "construction",
    "abandoned", "disused", "4wd_only", "status", "caravan", "trailer", "emergency", "maxheight", "railway",
    "hgv:conditional", "caravan:conditional", "level", "traffic_calming", "service", "passable", *keys.TRAILERS_TOLD,
    *keys.DANGERS, *keys.OUT_OF_USE,
)  # fmt: skip


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
    direction: np.ndarray  # attributes.Direction, less the way that access closes
    access: np.ndarray  # the most special value for the rig, the way it may drive
    goods: np.ndarray  # `hgv=no` and the like where it is told and closes nothing, else ''
    barrier: np.ndarray
    locked: np.ndarray  # a barrier that is said to be locked
    timed: np.ndarray  # '' or what depends on season or hours; see `conditions.Conditions`
    maxheight_m: np.ndarray
    maxweight_t: np.ndarray
    maxwidth_m: np.ndarray  # posted, or the width of the carriageway
    maxlength_m: np.ndarray
    maxaxle_t: np.ndarray
    most: np.ndarray  # (n, 5), by FIGURES: the largest figure that a slip can mean; NaN: no slip, or anybody's guess
    maxspeed_kmh: np.ndarray
    incline_pct: np.ndarray
    trailer: np.ndarray  # access of trailers
    ford: np.ndarray
    bridge: np.ndarray
    tunnel: np.ndarray
    level: np.ndarray  # half storeys are those of bridges that are no roads: over whatever lies on the whole ones
    roundabout: np.ndarray
    one_lane: np.ndarray
    no_stop: np.ndarray  # what keeps the rig from stopping here, or ''; see `stopping`
    unreadable: np.ndarray  # tuples of (key, what is written) of limits that are written against the rules
    doubtful: np.ndarray  # (n, 3) bool: a height, weight or width limit is spoken of without a figure
    rare: dict[str, np.ndarray]  # columns of RARE that the table has

    def word(self, key: str, line: int) -> str:
        """The word of one of RARE for a line; '' where there is none."""
        return str(self.rare[key][line]) if key in self.rare else ""


class _Columns:
    """Columns by OpenStreetMap key, whatever their case; `other_tags` (GDAL's spelling) is looked into."""

    def __init__(self, frame: GeoDataFrame) -> None:
        self._n = len(frame)
        self._columns = {str(c).strip().lower(): frame[c] for c in frame.columns if c != frame.geometry.name}
        self._other: list[dict[str, str]] | None = None
        if "other_tags" in self._columns:
            self._other = cells.read_column(
                self._columns["other_tags"],
                lambda v: dict(_HSTORE.findall(v.lower())) if isinstance(v, str) else {},
            )

    def values(self, key: str) -> list[Any]:
        out: list[Any] = self._columns[key].tolist() if key in self._columns else [None] * self._n
        if self._other is not None:
            out = [t.get(key) if cells.is_missing(v) else v for v, t in zip(out, self._other, strict=True)]
        return out

    def has(self, key: str) -> bool:
        return key in self._columns or self._other is not None

    def words(self, key: str) -> np.ndarray:
        if not self.has(key):
            return np.full(self._n, "", object)
        return np.array([*cells.read_column(self.values(key), cells.tag_text), None], object)[:-1]

    def filled(self) -> dict[str, int]:
        """How many lines each column says something of, by key."""
        out = {
            key: int(sum(not cells.is_missing(v) and v != "" for v in column.tolist()))
            for key, column in self._columns.items()
            if keys.speaks(key)
        }
        for told in self._other or ():
            for key in told:
                out[key] = out.get(key, 0) + 1
        return out

    def flags(self, key: str) -> np.ndarray:
        if not self.has(key):
            return np.zeros(self._n, bool)
        return np.array(cells.read_column(self.values(key), cells.is_set), bool)


class _Figures:
    """Reads figures column by column and gathers what is wrong with them."""

    def __init__(self, columns: _Columns, size: int, findings: list[Finding]) -> None:
        self._columns, self._findings = columns, findings
        self.unreadable = _objects([()] * size)
        self.doubtful = np.zeros((size, 3), bool)
        self.most = np.full((size, len(FIGURES)), np.nan)

    def smallest(
        self, names: tuple[str, ...], reader: Callable[[Any], figures.Reading], slot: int | None = None
    ) -> np.ndarray:
        """The smallest figure among several keys. `slot`: which of FIGURES they limit."""
        out = np.full(len(self.most), np.nan)
        for key in names:
            if not self._columns.has(key):
                continue
            raw = self._columns.values(key)
            readings = cells.read_column(raw, reader)
            out = np.fmin(out, np.array([r.value for r in readings], float))
            wrong = [i for i, r in enumerate(readings) if r.state == "mistake"]
            if slot is not None:
                self.most[:, slot] = np.fmin(self.most[:, slot], np.array([r.most for r in readings], float))
                if slot < 3:
                    self._doubt(slot, raw, readings, wrong)
            if wrong:
                self._wrong(key, raw, wrong)
        return out

    def _doubt(self, slot: int, raw: list[Any], readings: list[figures.Reading], wrong: list[int]) -> None:
        self.doubtful[wrong, slot] = True
        unposted = [i for i, r in enumerate(readings) if r.state == "unposted"]
        self.doubtful[[i for i in unposted if cells.tag_text(raw[i]) in figures.LEFT_OPEN], slot] = True

    def _wrong(self, key: str, raw: list[Any], wrong: list[int]) -> None:
        for i in wrong:
            self.unreadable[i] = (*self.unreadable[i], (key, cells.plain_name(raw[i])[:40]))
        written = tuple(sorted({repr(cells.plain_name(raw[i])[:40]) for i in wrong})[:5])
        facts: dict[str, Any] = {"count": len(wrong), "key": key, "written": written}
        self._findings.append(Finding("road_tag_unreadable", "check", facts=facts))


def _classes(highway: np.ndarray, has_column: bool, is_line: np.ndarray, findings: list[Finding]) -> np.ndarray:
    if not has_column:
        findings.append(Finding("road_class_missing", "check", facts={"column": False}))
        return np.full(len(highway), "unclassified", object)
    blank = int(((highway == "") & is_line).sum())
    if blank:
        facts: dict[str, Any] = {"column": True, "count": blank, "of": int(is_line.sum())}
        findings.append(Finding("road_class_missing", "check", facts=facts))
    found = cells.read_column(highway, read.road_class)
    strange = sorted({repr(h) for h, c in zip(highway, found, strict=True) if c is None and h})
    if strange:
        facts = {"count": len(strange), "written": tuple(strange[:8])}
        findings.append(Finding("road_class_unknown", "check", facts=facts))
    return np.array([*("unclassified" if c is None else c for c in found), None], object)[:-1]


def _access(columns: _Columns, size: int, rig: Rig) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The word that holds for the rig, and whether it closes the road forward, backward."""
    ways = {}
    modes = may.modes(rig)
    asked = (*modes, *(f"{mode}:{way}" for mode in modes for way in keys.DIRECTIONS))
    if not size or not any(columns.has(key) for key in asked):
        return np.full(size, "", object), np.zeros(size, bool), np.zeros(size, bool)
    for way in keys.DIRECTIONS:
        word = np.full(size, "", object)
        for mode in modes:
            for key in (mode, f"{mode}:{way}"):
                if columns.has(key):
                    own = columns.words(key)
                    word = np.where(own != "", own, word)
        ways[way] = word
    rows = cells.read_columns(may.both_ways, ways["forward"], ways["backward"])
    words, shut_forward, shut_backward = (list(column) for column in zip(*rows, strict=True))
    return _objects(words), np.array(shut_forward, bool), np.array(shut_backward, bool)


def _goods(columns: _Columns, size: int, rig: Rig) -> np.ndarray:
    """What holds for heavy goods vehicles and may hold for the rig: `hgv=no`, or `maxweight:hgv=3.5` for one of 5 t."""
    out = np.full(size, "", object)
    asked = may.told_of_goods(rig)
    for key in asked:
        if columns.has(key):
            own = columns.words(key)
            bad = cells.where(own, lambda w: may.verdict(w) in ("closed", "ask"))
            out[bad & (out == "")] = [f"{key}={w}" for w in own[bad & (out == "")]]
    of_heavy = (
        (keys.WEIGHT_HGV, figures.mass_t, rig.mass_kg / 1000),
        (keys.LENGTH_HGV, figures.length_m, rig.length_m),
    )
    for names, reader, limit in of_heavy if asked else ():
        for key in names:
            if columns.has(key):
                own = columns.words(key)
                bad = cells.where(own, lambda w, r=reader, m=limit: figures.least(r(w)) < m)  # type: ignore[misc]
                out[bad & (out == "")] = [f"{key}={w}" for w in own[bad & (out == "")]]
    return out


def _directions(columns: _Columns, highway: np.ndarray, junction: np.ndarray, size: int) -> np.ndarray:
    oneway = np.full(size, "", object)
    for key in ("oneway", "oneway:vehicle", "oneway:motor_vehicle", "oneway:motorcar"):
        if columns.has(key):
            own = columns.words(key)
            oneway = np.where(own != "", own, oneway)
    out = _objects(cells.read_columns(read.direction, oneway, highway, junction))
    if columns.has("oneway:conditional"):
        at_times = columns.words("oneway:conditional")
        out[(at_times != "") & (out == "both")] = "changes"
    return out


def _less(direction: np.ndarray, forward: np.ndarray, backward: np.ndarray) -> np.ndarray:
    """Directions without the way that is closed; where that leaves none, the direction stays and access closes it."""
    out = direction.copy()
    both = np.isin(direction, ("both", "changes"))
    out[both & forward & ~backward] = "backward"
    out[both & backward & ~forward] = "forward"
    return out


def _objects(values: list[Any]) -> np.ndarray:
    out = np.empty(len(values), object)
    out[:] = values
    return out


def read_tags(frame: GeoDataFrame, rig: Rig | None = None) -> tuple[RoadTags, list[Finding]]:
    """Read the columns of a road table for a rig; see `RoadTags`."""
    rig, size = rig or Rig(), len(frame)
    columns = _Columns(frame)
    findings: list[Finding] = []
    figure = _Figures(columns, size, findings)
    heavy = may.counts_as_heavy(rig)
    highway = columns.words("highway")
    surface, tracktype = columns.words("surface"), columns.words("tracktype")
    names, refs = (
        [cells.plain_name(v) for v in columns.values(key)] if columns.has(key) else [""] * size
        for key in ("name", "ref")
    )
    unpaved = cells.read_columns(read.is_unpaved, surface, tracktype, highway)
    is_line = frame.geometry.geom_type.ne("Point").to_numpy()
    road_class = _classes(highway, columns.has("highway"), is_line, findings)
    _surfaces(surface, is_line & (road_class != ""), findings)
    access, forward, backward = _access(columns, size, rig)
    junction = columns.words("junction")
    direction = _directions(columns, highway, junction, size)
    access, lost = _no_way_left(access, direction, forward, backward, columns, rig)
    bridge, tunnel = columns.flags("bridge"), columns.flags("tunnel")
    storeys = cells.read_columns(read.level, columns.words("layer"), columns.words("bridge"), columns.words("tunnel"))
    level = np.array(storeys, float)
    level[(road_class == "") & bridge] += 0.5
    roundabout = np.isin(junction, ("roundabout", "circular")) | (columns.words("oneway") == "roundabout")
    rare = {key: words for key in RARE if columns.has(key) and (words := columns.words(key)).any()}
    if "maxheight" in rare and not (rare["maxheight"] == "below_default").any():
        del rare["maxheight"]
    size_m, wide, mass, height = figures.length_m, figures.width_m, figures.mass_t, figures.height_m
    weights = (*keys.WEIGHT, *(keys.WEIGHT_HGV if heavy else ()))
    speeds = (*keys.SPEED, *(("maxspeed:hgv",) if heavy else ()))
    findings += _unread(columns, is_line)
    tags = RoadTags(
        name=_objects([name or ref for name, ref in zip(names, refs, strict=True)]),
        highway=highway,
        road_class=road_class,
        surface=surface,
        unpaved=np.array([-1 if u is None else int(u) for u in unpaved], np.int8),
        tracktype=tracktype,
        smoothness=columns.words("smoothness"),
        direction=_less(direction, forward & ~lost, backward & ~lost),
        access=access,
        goods=_goods(columns, size, rig),
        barrier=columns.words("barrier"),
        locked=columns.flags("locked"),
        timed=timed_tags(columns, size, rig),
        maxheight_m=np.fmin(
            figure.smallest(keys.HEIGHT, height, 0), figure.smallest(keys.HEIGHT_LANES, figures.by_lane(height), 0)
        ),
        maxweight_t=np.fmin(
            figure.smallest(weights, mass, 1), figure.smallest(keys.WEIGHT_LANES, figures.by_lane(mass), 1)
        ),
        maxwidth_m=np.fmin(
            figure.smallest(keys.WIDTH, wide, 2), figure.smallest(keys.WIDTH_LANES, figures.by_lane(wide), 2)
        ),
        maxlength_m=figure.smallest((*keys.LENGTH, *(keys.LENGTH_HGV if heavy else ())), size_m, 3),
        maxaxle_t=np.fmin(figure.smallest(keys.AXLE, mass, 4), figure.smallest(keys.BOGIE, mass, 4) / 2),
        most=figure.most,
        maxspeed_kmh=np.fmin(
            figure.smallest(speeds, figures.speed_kmh),
            np.fmax(*(figure.smallest((key,), figures.speed_kmh) for key in keys.SPEED_WAYS)),
        ),
        incline_pct=figure.smallest(("incline",), figures.incline_pct),
        trailer=columns.words("trailer"),
        ford=columns.flags("ford") | (highway == "ford"),
        bridge=bridge,
        tunnel=tunnel,
        level=level,
        roundabout=roundabout,
        one_lane=_one_lane(columns),
        no_stop=stopping.no_stop(columns.words, highway, bridge, tunnel, level, roundabout, columns.has),
        unreadable=figure.unreadable,
        doubtful=figure.doubtful,
        rare=rare,
    )
    return tags, findings


def _no_way_left(
    access: np.ndarray,
    direction: np.ndarray,
    forward: np.ndarray,
    backward: np.ndarray,
    columns: _Columns,
    rig: Rig,
) -> tuple[np.ndarray, np.ndarray]:
    """The access words with `no` where the only way that the traffic runs is closed, and which lines those are."""
    lost = ((direction == "forward") & forward) | ((direction == "backward") & backward)
    lost |= forward & backward
    out = access.copy()
    out[lost & cells.where(access, lambda w: may.verdict(w) != "closed")] = "no"
    return out, lost


def _one_lane(columns: _Columns) -> np.ndarray:
    """Fewer than two lanes (`1`, `1.5`: two cars pass with care), or said to be narrow."""
    lanes = cells.read_column(
        columns.words("lanes"), lambda w: bool(re.fullmatch(r"\d+(\.\d+)?", w)) and 0 < float(w) < 2
    )
    return np.array(lanes, bool) | columns.flags("narrow")


def _surfaces(surface: np.ndarray, road: np.ndarray, findings: list[Finding]) -> None:
    """A finding for surface words that nothing here knows: an agency's codes, mostly."""
    said = surface[road]
    known = cells.read_column(said, read.surface_known)
    strange = [w for w, ok in zip(said.tolist(), known, strict=True) if not ok]
    if strange:
        facts = {"count": len(strange), "of": int(road.sum()), "written": tuple(sorted(set(map(repr, strange)))[:8])}
        findings.append(Finding("road_surface_unknown", "check", facts=facts))


def _unread(columns: _Columns, is_line: np.ndarray) -> list[Finding]:
    """A finding for columns that speak of a limit, of access or of danger and are not read."""
    found = keys.unread(columns.filled())
    return [Finding("road_keys_unread", "check", facts={"keys": found})] if found else []
