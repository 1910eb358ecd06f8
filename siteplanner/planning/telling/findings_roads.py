"""What is said of the roads as they were read, joined, judged and driven."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from siteplanner.planning.spots.lifelines import Beside
from siteplanner.planning.telling.lifeline import along_words, beside_words
from siteplanner.planning.telling.roads import hazard_words, names_together, no_start_words
from siteplanner.planning.telling.units import Units
from siteplanner.roads.hazards import KINDS, Warned
from siteplanner.roads.start import NoStart

Facts = Mapping[str, Any]
_TOLD = 5  # names in one sentence
_TIMED = 3


def _count(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"


def _listed(words: Sequence[str], most: int = _TOLD) -> str:
    return ", ".join(words[:most]) + (f" and {len(words) - most} more" if len(words) > most else "")


def _class_missing(f: Facts, u: Units) -> tuple[str, str]:
    if not f["column"]:
        return (
            "The road lines have no column `highway`; every line counts as `unclassified`.",
            "Name the class column in the mission: road_columns.highway.",
        )
    return (
        f"{f['count']} of {f['of']} road lines have no class; they count as `unclassified`.",
        "Fill the column `highway`, or name the class column in the mission: road_columns.highway.",
    )


def _closure_idle(f: Facts, u: Units) -> tuple[str, str]:
    one = f["count"] == 1
    return (
        f"{_count(f['count'], 'closure meets', 'closures meet')} no road ({_listed(f['names'])}) and "
        f"{'closes' if one else 'close'} nothing.",
        f"Move a point to within {u.length(f['reach_m'])} of the road, or draw a line across it.",
    )


def _closed(f: Facts, u: Units) -> tuple[str, str]:
    named = f": {_listed(f['names'])}" if f["names"] else ""
    length = u.figure(max(f["length_m"] / 1000, 0.01), "km", 2)
    why = f"by '{names_together(f['closed_by'])}'" if f["stated"] else "for no stated reason"
    return (
        f"{_count(f['count'], 'road is', 'roads are')} closed {why}{named} ({length}).",
        "Ask whether this still holds before the rig leaves.",
    )


def _at_times(f: Facts, u: Units) -> tuple[str, str]:
    named = [f"{name or 'a road without a name'} ({condition})" for name, condition in f["roads"]]
    many = f["count"] > 1
    return (
        f"{f['count']} road line{'s are' if many else ' is'} open only at times, and it is not known whether "
        f"{'they are' if many else 'it is'} open now: {_listed(named, _TIMED)}.",
        ("" if f["dispatch_given"] else "Give times.dispatch. ")
        + "Ask who keeps the road; draw a closure on it if it is shut.",
    )


def _not_stated(f: Facts, u: Units) -> tuple[str, str]:
    shares = sorted(((100 * share, kind) for kind, near, share in f["shares"] if not near), key=lambda s: (-s[0], s[1]))
    told = ", ".join(f"{word} {_percent(share)}" for share, word in shares)
    close = sum(100 * share for _, near, share in f["shares"] if near)
    parts = []
    if told:
        parts.append(
            f"Missing from the road data, by length: {told}. Not stated is not the same as none. Missing "
            "height, weight, width and length limits are left out on ordinary roads, where none is usual."
        )
    if close:
        parts.append(
            f"On {_percent(close)} of the roads for the rig, by length, the grade is measured but too close to the "
            "rig's limit to be sure of."
        )
    return " ".join(parts), "Signs on the road override the map; ask someone who has driven it with a trailer."


def _percent(share_pct: float) -> str:
    return f"{'below 1' if share_pct < 0.5 else f'{share_pct:.0f}'} %"


def _not_reached(f: Facts, u: Units) -> tuple[str, str]:
    length, longest = (u.figure(f[name] / 1000, "km", 1) for name in ("length_m", "longest_m"))
    return (
        f"{f['parts']} part{'s' if f['parts'] > 1 else ''} of the road network ({length} the rig could use) cannot be "
        f"reached from the staging point. The longest is {longest}; the nearest gap is "
        f"{u.distance(f['gap_m'])}, at {f['nearest_at']}.",
        "Check for a gap in the road data there, or a closure, limit or one-way rule that parts the network.",
    )


def _off_road(f: Facts, u: Units) -> tuple[str, str]:
    return (
        f"The staging point lies {u.length(f['offset_m'])} off its road; distance and time count that way, at the "
        "pace of the last leg.",
        "Look whether the rig gets out there; move the staging point to a road, or add the missing one.",
    )


def _no_start(f: Facts, u: Units) -> tuple[str, str]:
    refused = NoStart(f["kind"], f["name"], f["distance_m"], f["reasons"])
    remedy = {
        "no_road": "Move the staging point to its road, or add the missing road.",
        "none_for_rig": "Check the rig's figures; the table of shut roads says what each would take.",
    }.get(f["kind"], "Start elsewhere, have the road opened, or check the rig's figures.")
    return no_start_words(refused, f.get("start", "the staging point"), u), remedy


def _not_for_rig(f: Facts, u: Units) -> tuple[str, str]:
    by = sorted(f.get("by_kind", ()), key=lambda item: (-item[1], item[0]))
    why = ", ".join(f"{kind} {u.figure(max(metres / 1000, 0.01), 'km', 2)}" for kind, metres in by[:_TOLD])
    least = f.get("least")
    nearest = ""
    if least is not None:
        kind, figure, unit, name, metres = least
        road = name or "a road without a name"
        nearest = f" Least that would open one: {kind} {u.posted(figure, unit, 'up')} on {road} ({u.length(metres)})."
    return (
        f"{u.part_of(f['shut_m'], f['all_m'])} of road are not for this rig ({why}; a road may have several reasons); "
        f"the map shows the reason for each.{nearest}",
        "Check there if a route is missing.",
    )


def _blocked(f: Facts, u: Units) -> tuple[str, str]:
    kinds = _listed([f"{kind} {n}" for kind, n in f["kinds"]], 6)
    opened = " A barrier that stops the rig may open with a key or a saw: ask who keeps it." if f["open"] else ""
    return (
        f"The rig does not get past {_count(f['count'], 'point', 'points')} on the roads ({kinds}).{opened}",
        "Where such a point is open today, take it out of the road data.",
    )


def _unread(f: Facts, u: Units) -> tuple[str, str]:
    keys = _listed([f"{key} ({n})" for key, n in f["keys"]], 12)
    return (
        f"In the road data and not read: {keys}. What they say of limits or access counts for nothing here.",
        "Look at them where the drives go; map a column by layers.road_columns if it means a known key.",
    )


def _with_bridges(count: int) -> str:
    return f", {_count(count, 'bridge', 'bridges')} among them" if count else ""


def _beside(f: Facts, u: Units) -> tuple[str, str]:
    beside = Beside(**{key: f[key] for key in ("name", "running_m", "length_m", "across_m", "up_m")})
    over = f"; {_count(f['bridges'], 'bridge crosses', 'bridges cross')} its water" if f["bridges"] else ""
    words = beside_words(beside, f["drive_m"], u)
    return (
        f"{words[:1].upper()}{words[1:]}{over}.",
        "Ask how high it stands there now and how fast it comes; agree who says that the way is lost.",
    )


def _on_the_way(f: Facts, u: Units) -> tuple[str, str]:
    first = hazard_words(Warned(**{key: value for key, value in f.items() if key != "count"}), u)
    return (
        f"{f['count']} times on the way: {first}." if f["count"] > 1 else f"On the way: {first}.",
        "Ask someone who has driven it, or send a scout before the rig.",
    )


def _from_start(words: Callable[[Facts, Units], tuple[str, str]]) -> Callable[[Facts, Units], tuple[str, str]]:
    """With several staging points, whose drive it is comes first."""

    def told(f: Facts, u: Units) -> tuple[str, str]:
        message, remedy = words(f, u)
        return (f"From {f['start']}: {message[0].lower()}{message[1:]}" if "start" in f else message), remedy

    return told


ROAD_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "road_geometry_skipped": lambda f, u: (
        f"{f['count']} of {f['of']} road rows have no usable line (missing, empty, a single place, or no line).",
        "Repair these rows if a road is missing from the map.",
    ),
    "road_tag_unreadable": lambda f, u: (
        f"{f['count']} road lines have a {f['key']} that cannot be read ({', '.join(f['written'])}); it counts as "
        "unknown.",
        "Write a number, and a unit other than the key's own after a space: 3.5, 12'6\", 16000 lbs. Where a value "
        "means that there is no limit, say so in the mission: layers.road_none.",
    ),
    "road_class_missing": _class_missing,
    "road_class_unknown": lambda f, u: (
        f"{f['count']} road classes are not OpenStreetMap words and count as `unclassified`: "
        f"{', '.join(f['written'])}.",
        "Give OpenStreetMap values of `highway`.",
    ),
    "road_ends_joined": lambda f, u: (
        f"{f['count']} road ends missed another road by up to {u.length(f['largest_m'], 1)} and were joined to it "
        f"(the first by {u.length(f['first_m'], 1)} at {f['first_at']}).",
        "Look at these junctions if a route turns where no turn is possible.",
    ),
    "road_points_apart": lambda f, u: (
        f"{f['count']} points of the road layer say of a barrier or a limit, but no road comes within "
        f"{u.first.keep(f['reach_m'])} of them: they stop nobody in this plan.",
        "Check where they belong; move them onto their roads.",
    ),
    "road_border_irregular": lambda f, u: (
        f"The road data end along no box, and {_count(f['count'], 'road', 'roads')} may go on beyond them or not: "
        "where that makes a difference, the ways out of the area are shown as not known.",
        "Give layers.exits: a point or a line where roads lead outside.",
    ),
    "closure_without_road": _closure_idle,
    "roads_closed": _closed,
    "roads_open_at_times": _at_times,
    "roads_not_for_rig": _not_for_rig,
    "roads_blocked_at_points": _blocked,
    "road_keys_unread": _unread,
    "road_surface_unknown": lambda f, u: (
        f"{f['count']} of {f['of']} road lines have a surface that is not known here ({', '.join(f['written'])}): "
        "unpaved and forbidden surfaces among them are not seen.",
        "Say what each code means in the mission: layers.road_values.surface, e.g. D = 'dirt'.",
    ),
    "ferries_left_out": lambda f, u: (
        f"{_count(f['count'], 'ferry is', 'ferries are')} in the roads and not part of any drive.",
        "Plan a mission from the far bank if the rig can be shipped.",
    ),
    "staging_no_way": _from_start(_no_start),
    "road_limits_not_stated": _not_stated,
    "roads_not_reached": _from_start(_not_reached),
    "staging_off_road": _from_start(_off_road),
    "route_not_for_through_traffic": lambda f, u: (
        f"The drive passes through {u.distance(f['length_m'])} of road that is not open to through traffic.",
        "Ask who keeps the road, or go round.",
    ),
    "one_way_in": lambda f, u: (
        f"There is one way in from staging: {along_words(f['length_m'], u)} of {along_words(f['of_m'], u)} have "
        f"no way round{_with_bridges(f['bridges'])}.",
        "Have that road looked at before the rig leaves and watched while it stands; agree when to leave.",
    ),
    "one_way_out": lambda f, u: (
        f"There is one way out of the area: {along_words(f['length_m'], u)} of road without a way round"
        f"{_with_bridges(f['bridges'])}.",
        "Keep the way clear, keep radio contact, and agree when to leave.",
    ),
    "hazard_beside_drive": _beside,
    **{f"route_{kind.replace(' ', '_')}": _on_the_way for kind in KINDS},
}
