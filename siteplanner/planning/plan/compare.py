"""Two plans held against each other, from their records (`plan.json`): what changed in what they were given and say.

Everything in a record comes from a file: what is not of the kind that is looked for counts as not known, and keys that
nobody knows are passed over.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from siteplanner.data.plain_text import MOST_PLAN, parsed, read_text
from siteplanner.errors import InputError
from siteplanner.planning.choose.alike import alike
from siteplanner.planning.choose.scoring import place_by
from siteplanner.planning.plan.comparison import (
    SAME_PLACE_M,
    Comparison,
    FileChange,
    ParameterChange,
    SetChange,
    Shut,
    SpotChange,
    Why,
    same_place,
)
from siteplanner.planning.plan.first_figures import first_figures, first_spot
from siteplanner.planning.plan.records import (
    DEEPEST,
    Place,
    deeper_than,
    distance_m,
    list_of,
    number,
    of,
    parameters_of,
    place_of,
    rows,
    text,
)
from siteplanner.planning.plan.two_runs import check_one_run

FORMATS = (1, 2)  # of plan.json, that are read: they differ in the severities of findings, which are not compared
LEAST_SHARE = 0.0005  # of the ground that a limit takes more, to be told as a reason
LEAST_POINTS = 0.05  # of a score: what is less is not told as a reason


def read_plan(path: Path) -> Mapping[str, Any]:
    """The plan.json of a run. Raises InputError: not a readable file, not JSON, not a plan, of another version, among
    files of two runs."""
    check_one_run(path)
    record = parsed(read_text(path, MOST_PLAN, "The plan.json of a run"), as_json=True, file=path)
    if deeper_than(record, DEEPEST):
        raise InputError("Tables or lists are nested too deeply.", remedy="Name the plan.json of a run.", file=path)
    return checked(record, path)


def checked(record: Any, file: Path) -> Mapping[str, Any]:
    """The record, when it is one of a plan. Raises InputError: it is something else, or of another version."""
    if not isinstance(record, dict) or not isinstance(record.get("mission"), dict) or "spots" not in record:
        raise InputError(
            "This is not the plan.json of a run.", remedy="Name the plan.json that a run has written.", file=file
        )
    if record.get("format") not in FORMATS:
        raise InputError(
            f"This plan.json is of another version (format {str(record.get('format'))[:20]}).",
            remedy="Run the mission again with this version.",
            file=file,
            field="format",
        )
    return record


def compare(old: Mapping[str, Any], new: Mapping[str, Any]) -> Comparison:
    """What differs between two records that `checked` has passed."""
    was, now = _shut_roads(old), _shut_roads(new)
    old_first, new_first = (next(iter(_places(r, "spots")), None) for r in (old, new))
    return Comparison(
        files=_files(old, new),
        parameters=_parameters(old, new),
        shut=tuple(v for k, v in now.items() if k not in was),
        opened=tuple(v for k, v in was.items() if k not in now),
        old_first=old_first,
        new_first=new_first,
        why=_why_first(old, new, old_first, new_first),
        spots=_spots(old, new),
        figures=first_figures(old, new),
        weighted_by=text(of(first_spot(new) or first_spot(old), "service", "weighted_by")),
        old_options=_places(old, "options"),
        new_options=_places(new, "options"),
        sets=_sets(old, new),
        old_chance=number(of(old, "firmness", "best_chance")),
        new_chance=number(of(new, "firmness", "best_chance")),
        old_area=_rings(old),
        new_area=_rings(new),
        area_changed=all(list_of(r.get("area_outline")) for r in (old, new)) and _rings(old) != _rings(new),
        near_m=_near_m(new),
    )


def _near_m(record: Mapping[str, Any]) -> float:
    """Half of what spots stand apart: two spots of one plan are never so near."""
    half = number(of(record, "search", "spacing_used_m")) / 2
    return half if half > SAME_PLACE_M else SAME_PLACE_M


def _files(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[FileChange, ...]:
    held = [{(text(r.get("role")), text(r.get("file"))): text(r.get("sha256")) for r in rows(one, "inputs")}
            for one in (old, new)]  # fmt: skip
    out = []
    for key in dict.fromkeys((*held[0], *held[1])):
        was, now = held[0].get(key), held[1].get(key)
        if was == now:
            continue
        change: Literal["changed", "new", "gone"] = "new" if was is None else "gone" if now is None else "changed"
        out.append(FileChange(*key, change, was or "", now or ""))
    return tuple(out)


def _parameters(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[ParameterChange, ...]:
    was, now = parameters_of(old.get("mission")), parameters_of(new.get("mission"))
    paths = dict.fromkeys((*was, *now))
    return tuple(ParameterChange(p, was.get(p), now.get(p)) for p in paths if was.get(p) != now.get(p))


def _shut_roads(record: Mapping[str, Any]) -> dict[tuple[str, str, str], Shut]:
    out: dict[tuple[str, str, str], Shut] = {}
    for r in rows(record, "roads", "not_for_rig"):
        shut = Shut(text(r.get("name")), text(r.get("kind")), text(r.get("words")), number(r.get("latitude")),
                    number(r.get("longitude")))  # fmt: skip
        out.setdefault((shut.name, shut.kind, text(r.get("structure"))), shut)
    return out


def _places(record: Mapping[str, Any], key: str) -> tuple[Place, ...]:
    """Spots of a list of the record, by rank. Options say their place by the judged spot of their rank."""
    ranked = {p.rank: p for p in (place_of(r) for r in rows(record, "judged")) if p is not None}
    found = []
    for r in rows(record, key):
        place = place_of(r)
        if place is None or not math.isfinite(place.latitude):
            place = ranked.get(number(r.get("rank")))
        if place is not None:
            found.append(place)
    return tuple(sorted(found, key=lambda p: p.rank if math.isfinite(p.rank) else math.inf))


def _spots(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[SpotChange, ...]:
    """Which of the spots handed over came, went and moved."""
    was, now = _places(old, "spots"), _places(new, "spots")
    left = [p for p in now if not any(same_place(p, q) for q in was)]
    near = _near_m(new)
    out = []
    for place in was:
        if any(same_place(place, q) for q in now):
            continue
        why = _why_gone(place, old, new)
        close = min(left, key=lambda q: distance_m(place, q), default=None)
        if close is not None and distance_m(place, close) <= near and why.kind == "not_judged":
            left.remove(close)
            out.append(SpotChange("moved", place, close, None, distance_m(place, close)))
        else:
            out.append(SpotChange("went", place, None, why))
    out += [SpotChange("came", None, place, _why_came(place, old, new)) for place in left]
    order = ("went", "moved", "came")
    return tuple(sorted(out, key=lambda s: order.index(s.change)))


def _row(record: Mapping[str, Any], place: Place) -> Mapping[str, Any] | None:
    """The row of the judged spot at a place."""
    for r in rows(record, "judged"):
        found = place_of(r)
        if found is not None and same_place(found, place):
            return r
    return None


def _why_gone(place: Place, old: Mapping[str, Any], new: Mapping[str, Any]) -> Why:
    was, now = _row(old, place), _row(new, place)
    if was is not None and now is not None:
        return _what_moved(was, now, old, new, -1)
    for e in rows(new, "rejected"):
        found = place_of(e)
        failed = rows(e, "failed")
        if found is not None and same_place(found, place) and failed:
            return Why("limit", text(failed[0].get("limit")))
    before = _shut_roads(old)
    shut = {v.name for k, v in _shut_roads(new).items() if k not in before and v.name}
    for e in rows(old, "spots"):
        found = place_of(e)
        if found is None or not same_place(found, place):
            continue
        ways = [text(s.get("name")) for s in rows(e, "access", "cut_segments")]
        ways += [text(s.get("onto")) for s in rows(e, "access", "directions")]
        used = next((name for name in ways if name in shut), None)
        if used is not None:
            return Why("road", name=used)
    return _more_ground(old, new) or Why("not_judged")


def _more_ground(old: Mapping[str, Any], new: Mapping[str, Any]) -> Why | None:
    """The limit that takes more of the same search ground than before, the most first; None for other ground."""
    ground = tuple(number(of(r, "search", "search_ground_km2")) for r in (old, new))
    if not alike(ground[0], ground[1], 1e-3 * max(ground)):
        return None
    was = {text(r.get("code")): number(r.get("share")) for r in rows(old, "rulings")}
    grown = []
    for r in rows(new, "rulings"):
        code, share = text(r.get("code")), number(r.get("share"))
        before = was.get(code, 0.0)
        if share - before >= LEAST_SHARE:
            grown.append((share - before, Why("more_ground", code, text(r.get("label")), before, share)))
    return max(grown, key=lambda g: g[0])[1] if grown else None


def _why_came(place: Place, old: Mapping[str, Any], new: Mapping[str, Any]) -> Why:
    was, now = _row(old, place), _row(new, place)
    if was is None or now is None:
        return Why("new_place")
    return _what_moved(was, now, old, new, 1)


def _level(row: Mapping[str, Any]) -> bool:
    """Whether its points decide its rank: one that is more likely than not too steep ranks behind whatever it has."""
    return place_by(number(row.get("steep_chance")), 0.0)[0]


def _criteria(row: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    held = row.get("criteria")
    return {text(k): v for k, v in held.items() if isinstance(v, dict)} if isinstance(held, dict) else {}


def _what_moved(
    was: Mapping[str, Any], now: Mapping[str, Any], old: Mapping[str, Any], new: Mapping[str, Any], sign: int
) -> Why:
    """What did most for (1) or against (-1) a spot that both plans judged."""
    if _level(was) is not _level(now) and _level(now) is (sign > 0):
        return Why("level" if sign > 0 else "steep")
    before, after = _criteria(was), _criteria(now)
    moved = {
        name: sign * (number(line.get("contribution")) - number(before.get(name, {}).get("contribution", 0.0)))
        for name, line in after.items()
    }
    known = {name: by for name, by in moved.items() if math.isfinite(by)}
    name = max(known, key=lambda n: known[n], default="")
    if not name or known[name] < LEAST_POINTS:
        return Why("others")
    return _of_criterion(name, before.get(name, {}), after[name], old, new)


def _of_criterion(
    name: str, was: Mapping[str, Any], now: Mapping[str, Any], old: Mapping[str, Any], new: Mapping[str, Any]
) -> Why:
    """A criterion whose figure changed, or, with the same figure, whose weight did."""
    value = number(was.get("value")), number(now.get("value"))
    worth = number(was.get("utility")), number(now.get("utility"))
    before_w, now_w = _weight(old, name), _weight(new, name)
    if not alike(*worth, 1e-4) or before_w == now_w:
        return Why("figure", name, "", *value, _unit(new, name) or _unit(old, name))
    return Why("weights", name, "", before_w, now_w)


def _weight(record: Mapping[str, Any], criterion: str) -> float:
    return number(of(record, "mission", "weights", criterion))


def _unit(record: Mapping[str, Any], criterion: str) -> str:
    return text(of(first_spot(record), "criteria", criterion, "unit"))


def _why_first(old: Mapping[str, Any], new: Mapping[str, Any], was: Place | None, now: Place | None) -> Why | None:
    """Why another spot is first; None where the same one is."""
    if was is None or now is None or distance_m(was, now) <= _near_m(new):
        return _more_ground(old, new) if was is not None and now is None else None
    old_was, new_was, old_now, new_now = (_row(r, p) for p in (was, now) for r in (old, new))
    if new_was is None:
        return _why_gone(was, old, new)
    if old_now is None or new_now is None or old_was is None:
        return Why("new_place")
    if _level(old_was) and not _level(new_was):
        return Why("steep", name=was.name)
    if _level(new_now) and not _level(old_now):
        return Why("level", name=now.name)
    leads = []
    for rival, first in ((old_now, old_was), (new_now, new_was)):
        ahead, behind = _criteria(rival), _criteria(first)
        names = dict.fromkeys((*ahead, *behind))
        leads.append({
            n: number(ahead.get(n, {}).get("contribution", 0.0)) - number(behind.get(n, {}).get("contribution", 0.0))
            for n in names
        })  # fmt: skip
    gained = {n: leads[1].get(n, 0.0) - leads[0].get(n, 0.0) for n in dict.fromkeys((*leads[0], *leads[1]))}
    known = {n: by for n, by in gained.items() if math.isfinite(by)}
    if not known:
        return None
    name = max(known, key=lambda n: known[n])
    sides = [[_criteria(r).get(name, {}) for r in pair] for pair in ((old_now, new_now), (old_was, new_was))]
    steady = all(
        alike(number(a.get("utility", 0.0)), number(b.get("utility", 0.0)), 1e-4) or not a or not b for a, b in sides
    )
    before_w, now_w = _weight(old, name), _weight(new, name)
    if steady and _parameters(old, new):
        if before_w == now_w:  # the others weigh less
            changed = [p for p in _parameters(old, new) if p.path.startswith("weights.")]
            if changed:
                other = changed[0]
                return Why("weights", other.path.partition(".")[2], "", number(other.old), number(other.new))
        return Why("weights", name, "", before_w, now_w)
    worst = max(sides, key=lambda pair: abs(number(pair[1].get("utility")) - number(pair[0].get("utility"))))
    place = now if worst is sides[0] else was
    value = number(worst[0].get("value")), number(worst[1].get("value"))
    return Why("figure", name, place.name, *value, _unit(new, name) or _unit(old, name))


def _sets(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[SetChange, ...]:
    held: list[dict[str, Any]] = [s if isinstance(s := one.get("sets"), dict) else {} for one in (old, new)]
    sizes = sorted({int(k) for one in held for k in one if str(k).isdecimal() and len(str(k)) < 4 and int(k) > 1})
    out = []
    for size in sizes:
        sides = [one.get(str(size), {}) for one in held]
        places = [tuple(p for p in map(place_of, rows(s, "trailers")) if p is not None) for s in sides]
        was, now = (number(of(s, "share")) for s in sides)
        out.append(SetChange(size, places[0], places[1], was, now, _near_m(new)))
    return tuple(out)


def _rings(record: Mapping[str, Any]) -> tuple[tuple[tuple[float, float], ...], ...]:
    """The incident area; of a record without its outline the box of its file."""
    out = []
    for ring in list_of(record.get("area_outline")):
        points = [tuple(number(v) for v in p) for p in list_of(ring) if isinstance(p, Sequence) and len(p) == 2]
        known = tuple((p[0], p[1]) for p in points if all(map(math.isfinite, p)))
        if len(known) > 2:
            out.append(known)
    if out:
        return tuple(out)
    for r in rows(record, "inputs"):
        box = [number(v) for v in list_of(r.get("extent_lonlat"))]
        if r.get("role") == "incident area" and len(box) == 4 and all(map(math.isfinite, box)):
            w, s, e, n = box
            return (((w, s), (e, s), (e, n), (w, n)),)
    return ()
