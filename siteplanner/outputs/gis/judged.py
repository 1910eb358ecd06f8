"""Every judged spot as a flat row: for a table and for a layer of points."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from siteplanner.outputs.gis.road_layers import known
from siteplanner.outputs.words.text import csv_text
from siteplanner.planning.choose.dominance import hanging
from siteplanner.planning.plan.decision import nearby
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.decision_record import judged_of, judged_row

LONGEST = 40  # letters of a name in a column's name


def judged_rows(plan: Plan) -> list[dict[str, Any]]:
    """One row a judged spot, best first, units in the names; unknown is None. Columns are the same in every row.

    Polygons and points have a column each: `served_1_valley`, `chance_2_camp`, numbered as their layer has them.
    """
    options = {o.ranked.spot.key for o in plan.options}
    listed = {r.spot.key for r in plan.spots}
    of, rows = judged_of(plan), []
    for ranked, near in zip(plan.judged, nearby(plan), strict=True):
        full = judged_row(ranked, hanging(ranked.evaluation.access, plan.scene.roads), near)
        row: dict[str, Any] = {
            "rank": full["rank"],
            "name": full["name"],
            "option": ranked.spot.key in options,
            "listed": ranked.spot.key in listed,
            "score_of_100": known(full["score"], 2),
        }
        row |= {k: full[k] for k in ("origin", "latitude", "longitude", "grid_reference")}
        row |= {"share": full["share"], "area_share": full["area_share"], "people_served": full["people_served"]}
        for head, names, values in (
            ("served", of["polygons"], full["polygons"]),
            ("chance", of["points"], full["points"]),
        ):
            row |= {f"{head}_{n}_{plainly(name)}": v for n, (name, v) in enumerate(zip(names, values, strict=True), 1)}
        row |= {f"points_{name}": known(c["contribution"], 2) for name, c in full["criteria"].items()}
        row |= {"backhaul": full["backhaul"], "mast_height_m": full["mast_height_m"], "slope_deg": full["slope_deg"]}
        hangs = full["lifeline"] or {}
        for key in ("cut_m", "bridges", "ways_in", "out_cut_m", "ways_out"):
            row[f"lifeline_{key}"] = _number(hangs.get(key))
        early, mean, late = full["on_air_min"] or (None, None, None)
        row |= {
            "drive_min": full["drive_min"],
            "last_leg_m": full["last_leg_m"],
            "steepest_pct": _number(full["steepest_pct"]),
        }
        row |= {"on_air_early_min": early, "on_air_mean_min": mean, "on_air_late_min": late}
        row |= {key: _number(full[key]) for key in ("hazard_m", "water_m", "above_channel_m")}
        rows.append(row)
    return rows


def _number(value: Any) -> Any:
    return known(value) if isinstance(value, float) else value


def plainly(name: str) -> str:
    """A name as a part of a column's name: small letters, figures and `_` only."""
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "_", letters).strip("_")[:LONGEST].rstrip("_") or "unnamed"


def judged_csv(plan: Plan) -> str:
    """All judged spots as CSV, as `ranking.ranking_csv` writes it."""
    rows = judged_rows(plan)
    header = list(dict.fromkeys(name for row in rows for name in row)) or [
        "rank",
        "name",
        "option",
        "listed",
        "score_of_100",
    ]
    return csv_text(header, rows)
