"""The figures of two first spots side by side, each with its step and its doubt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from siteplanner.planning.plan.comparison import FigureChange, Kind
from siteplanner.planning.plan.records import number, of, rows, text


def first_spot(record: Mapping[str, Any]) -> Mapping[str, Any]:
    """The spot of the best rank, empty without one."""
    found = rows(record, "spots")
    return min(found, key=lambda r: r_rank if math.isfinite(r_rank := number(r.get("rank"))) else math.inf, default={})


def first_figures(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[FigureChange, ...]:
    """The figures of both first spots, those that decide first."""
    if not first_spot(old) or not first_spot(new):
        return ()
    was, now = _told(first_spot(old)), _told(first_spot(new))
    out = []
    for name, (kind, step, more, _, _, unit) in now.items():
        doubts = [d for d in (was[name][4], now[name][4]) if math.isfinite(d)]
        doubt = max(doubts, default=math.nan)
        if math.isfinite(was[name][3]) or math.isfinite(now[name][3]):
            out.append(FigureChange(name, kind, unit, was[name][3], now[name][3], step, doubt, more))
    return tuple(out)


def _told(spot: Mapping[str, Any]) -> dict[str, tuple[Kind, float, bool | None, float, float, str]]:
    """Name -> (kind, step, whether more is better, value, doubt, unit)."""
    doubt = {text(f.get("name")): number(f.get("doubt")) for f in rows(spot, "certainty", "figures")}
    share, people = number(of(spot, "coverage", "share")), number(of(spot, "service", "people_served"))
    everyone = number(of(spot, "service", "people"))
    unsure = doubt.get("coverage", math.nan) / 100
    points = number(of(spot, "criteria", "must_serve", "value")) / 100
    margin, unit = number(of(spot, "criteria", "backhaul", "value")), text(of(spot, "criteria", "backhaul", "unit"))
    return {
        "share": ("share", 0.01, True, share, unsure, ""),
        "people": ("people", max(1.0, everyone / 100) if everyone > 0 else 1.0, True, people, unsure * everyone, ""),
        "must_serve": ("share", 0.01, True, points, doubt.get("must_serve", math.nan) / 100, ""),
        "on_air": ("minutes", 1.0, False, number(of(spot, "on_air", "mean_min")), math.nan, ""),
        "drive": ("minutes", 1.0, False, number(of(spot, "access", "drive_time_s")) / 60,
                  doubt.get("access", math.nan), ""),
        "steepest": ("percent", 1.0, False, abs(number(of(spot, "access", "worst_grade_pct"))),
                     number(of(spot, "access", "worst_grade_error_pct")), ""),
        "ways_in": ("count", 1.0, True, number(of(spot, "access", "lifeline", "staging", "ways")), math.nan, ""),
        "backhaul": ("margin", 1.0, True, margin, doubt.get("backhaul", math.nan), unit),
        "slope": ("degrees", 0.5, False, number(of(spot, "ground", "slope_deg")), doubt.get("ground", math.nan), ""),
        "mast": ("metres", 0.5, None, number(of(spot, "coverage", "mast_height_m")), math.nan, ""),
        "score": ("points", 0.1, True, number(spot.get("score")), math.nan, ""),
    }  # fmt: skip
