"""What signs at points of an OpenStreetMap extract tell a driver: where to wait, and the numbers of exits."""

from __future__ import annotations

from collections.abc import Mapping

SIGN_KEYS = ("wait", "wait:direction")
"""Columns that points of the road table get beside the keys of the data."""


def point_signs(tags: Mapping[str, str]) -> dict[str, str]:
    """The columns SIGN_KEYS and `junction:ref` of a node; none for a node that tells nothing of the kind.

    Key:highway, Key:crossing, Key:railway and Key:traffic_signals:direction of the OpenStreetMap wiki.
    """
    out: dict[str, str] = {}
    highway = tags.get("highway", "")
    with_signals = tags.get("crossing", "") == "traffic_signals" or tags.get("crossing:signals", "") == "yes"
    if highway == "traffic_signals" or (highway == "crossing" and with_signals):
        out["wait"] = "signal"
    elif highway in ("stop", "give_way"):
        out["wait"] = highway
    elif tags.get("railway", "") == "level_crossing":
        out["wait"] = "level_crossing"
    if "wait" in out:
        way = tags.get("traffic_signals:direction", "") or tags.get("direction", "")
        if way in ("forward", "backward"):
            out["wait:direction"] = way
    if highway == "motorway_junction" and tags.get("ref"):
        out["junction:ref"] = tags["ref"]
    return out
