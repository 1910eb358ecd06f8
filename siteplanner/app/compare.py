"""Compare: two or three spots point by point, what differs most in front, and in a sentence why one over the other."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import streamlit as st

from siteplanner.app import style
from siteplanner.app.labels import Units
from siteplanner.app.session import Work, spot_key
from siteplanner.errors import SEVERITIES
from siteplanner.mission.criteria import Figure
from siteplanner.outputs.words.text import named, percent_text, shown
from siteplanner.planning.choose.alike import alike
from siteplanner.planning.choose.certainty import doubt_of, leeway
from siteplanner.planning.choose.losses import sky_doubt_deg
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.lifeline import way_in_short, way_out_short
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.score import (
    behind_clause,
    difference_words,
    line_words,
    points_words,
    rank_text,
    score_points,
    score_text,
)
from siteplanner.planning.telling.words import on_air_words

MOST = 3
STEPS: dict[Figure, float] = {
    "count": 1.0, "percent": 1.0, "percent_at_least": 1.0, "degrees": 0.1, "minutes": 1.0, "decibels": 1.0,
}  # fmt: skip
"""In which figures are printed."""


@dataclass(frozen=True)
class Row:
    """One line of the comparison. `apart` 0..1 says how much it differs, `best` which columns are better (none: alike,
    or better cannot be said). `differs`: somebody could tell the figures apart (`choose.alike`)."""

    label: str
    texts: tuple[str, ...]
    apart: float
    differs: bool
    best: tuple[int, ...] = ()


def compared(plan: Plan, spots: list[RankedSpot], units: Units) -> list[Row]:
    """The rows, those that differ most first; rows alike in every column come last, in their own order."""
    rows = [*_criteria(plan, spots, units), *_points(plan, spots), *_figures(plan, spots, units)]
    return sorted(rows, key=lambda row: (not row.differs, -row.apart if row.differs else 0.0))


def _row(
    label: str, texts: list[str], values: list[float], scale: float, *, more: bool | None, step: float,
    doubts: Iterable[float] = (), figures: list[float] | None = None,
) -> Row:  # fmt: skip
    """`scale`: the difference that counts as a whole; `more`: whether more is better (None: neither is). `step`: in
    which the figures are printed, `doubts`: to what each is known. `figures`: what is printed, where `values` is what
    it is worth."""
    known = [v for v in values if math.isfinite(v)]
    shown_as = values if figures is None else figures
    doubt = max((d for d in doubts if math.isfinite(d)), default=math.nan)
    differs = any(not alike(a, b, step, doubt) for a, b in combinations(shown_as, 2))
    apart = min((max(known) - min(known)) / scale, 1.0) if len(known) > 1 else 0.0
    if len(known) < len(values):
        apart = 1.0 if known else 0.0  # known for one and not for the other is as far apart as it gets
    best: tuple[int, ...] = ()
    if more is not None and known and differs:
        top = max(known) if more else min(known)
        first = values.index(top)
        best = tuple(
            n for n in range(len(texts))
            if abs(values[n] - top) < 1e-9 or alike(shown_as[n], shown_as[first], step, doubt)
        )  # fmt: skip
        best = best if len(best) < len(texts) else ()  # more of something beyond full marks is not better
    return Row(label, tuple(texts), apart, differs, best)


def _criteria(plan: Plan, spots: list[RankedSpot], units: Units) -> list[Row]:
    """Each criterion with its points; the difference is that of the share of full marks."""
    points = [score_points(r.criteria) for r in spots]
    out = []
    for n, c in enumerate(spots[0].criteria):
        texts = [points_words(r.criteria[n], points[k][n], units) for k, r in enumerate(spots)]
        out.append(
            _row(
                f"{c.label} (of {100 * c.weight:.0f} points)",
                texts,
                [r.criteria[n].utility for r in spots],
                1.0,
                more=True,
                step=STEPS[c.gauge.figure],
                doubts=[doubt_of(c.name, r.evaluation, plan.mission) for r in spots],
                figures=[r.criteria[n].value for r in spots],
            )
        )
    return out


def _points(plan: Plan, spots: list[RankedSpot]) -> list[Row]:
    """Each must-serve point by its chance of service."""
    served = [{p.name: p for p in r.evaluation.coverage.must_serve} if r.evaluation.coverage else {} for r in spots]
    out = []
    for name in dict.fromkeys(name for held in served for name in held):
        chance = [held[name].probability if name in held else float("nan") for held in served]
        out.append(_row(f"Must-serve: {name}", [percent_text(v) for v in chance], chance, 1.0, more=True,
                        step=0.01, doubts=[plan.mission.doubts.must_serve * leeway(v) for v in chance]))  # fmt: skip
    return out


def _figures(plan: Plan, spots: list[RankedSpot], units: Units) -> list[Row]:
    """On air, way in, mast, satellites one by one."""
    mission, every = plan.mission, [r.evaluation for r in spots]
    nothing = float("nan")
    air = [e.on_air for e in every]
    ways = [(e.access.lifeline.staging.ways if e.access and e.access.lifeline else None) for e in every]
    outs = [e.access.ways_out if e.access else None for e in every]
    mast = [e.coverage.mast_height_m if e.coverage else nothing for e in every]
    drive = [e.access.drive_distance_m if e.access else nothing for e in every]
    steep = [abs(e.access.worst_grade_pct) if e.access else nothing for e in every]
    leg = [e.access.last_leg_m if e.access else nothing for e in every]
    unsaid = [len(unknown_along_words(e.access.unknown, units)) if e.access else 0 for e in every]
    rows = [
        _row(
            "On air",
            [on_air_words(a, units) if a else "not known" for a in air],
            [a.mean_min if a else nothing for a in air],
            60.0,
            more=False,
            step=1.0,
        ),
        _row(
            "Way in from staging",
            [way_in_short(e.access, units) if e.access else "none" for e in every],
            [float(w) if w else nothing for w in ways],
            1.0,
            more=True,
            step=1.0,
        ),
        _row(
            "Way out of the area",
            [way_out_short(e.access, units) if e.access else "none" for e in every],
            [float(w) if w else nothing for w in outs],
            1.0,
            more=True,
            step=1.0,
        ),
        _row("Mast", [units.length(v) for v in mast], mast, max(mission.trailer.mast_stops_m), more=None, step=0.5),
        _row(
            "Drive",
            [units.distance(v) for v in drive],
            drive,
            max([*filter(math.isfinite, drive), 1.0]),
            more=False,
            step=100.0,
        ),
        _row(
            "Steepest on the drive",
            [
                units.grade(e.access.worst_grade_pct, e.access.worst_grade_error_pct) if e.access else "not known"
                for e in every
            ],
            steep,
            mission.rig.max_grade_pct,
            more=False,
            step=1.0,
            doubts=[e.access.worst_grade_error_pct if e.access else nothing for e in every],
        ),
        _row(
            "Last leg over ground",
            [units.distance(v) for v in leg],
            leg,
            mission.rig.last_leg_max_m,
            more=False,
            step=1.0,
        ),
        _row(
            "Limits the road data do not state",
            [str(n) for n in unsaid],
            [float(n) for n in unsaid],
            3.0,
            more=False,
            step=1.0,
        ),
        _row(
            "Elevation",
            [units.length(r.spot.elevation_m) for r in spots],
            [r.spot.elevation_m for r in spots],
            1e4,
            more=None,
            step=1.0,
        ),
    ]
    for n, look in enumerate(every[0].sky):
        margins = [e.sky[n].margin_deg if n < len(e.sky) else nothing for e in every]
        rows.append(
            _row(
                f"Sky margin toward {look.satellite_name}",
                [units.angle(v) for v in margins],
                margins,
                max(mission.scales.sky_full_margin_deg, 1.0),
                more=True,
                step=STEPS["degrees"],
                doubts=[sky_doubt_deg(e, mission) for e in every],
            )
        )
    return rows


def own_findings(spots: list[RankedSpot], units: Units) -> list[tuple[RankedSpot, str, str]]:
    """(spot, severity, message) of what was found at some of the spots only; gravest first, notes left out."""
    codes = [{f.code for f in r.evaluation.findings} for r in spots]
    common = set.intersection(*codes)
    found = [
        (r, f.severity, said(f, units).message)
        for r in spots
        for f in r.evaluation.findings
        if f.code not in common and f.severity != "note"
    ]
    return sorted(found, key=lambda item: SEVERITIES.index(item[1]))


def over(one: RankedSpot, other: RankedSpot, units: Units) -> str:
    """`A over B because ...`, by the points that each reason is worth; says so when nothing speaks for it."""
    reasons = []
    theirs = {c.name: c for c in other.criteria}
    for c in one.criteria:
        against = theirs.get(c.name)
        if against is None:
            continue
        lead = c.contribution - against.contribution
        if lead >= 0.05 and line_words(c, units) != line_words(against, units):
            reasons.append((lead, f"{difference_words(c, against, units)} ({lead:+.1f} points)"))
    because = [text for _, text in sorted(reasons, reverse=True)]
    ways = [_ways(r.evaluation) for r in (one, other)]
    if ways[0] > ways[1] > 0:
        because.append("more than one road leads out" if ways[1] == 1 else f"{ways[0]} roads lead out, not {ways[1]}")
    pair = f"{one.spot.name} over {other.spot.name}"
    said = f"{pair} because {'; '.join(because)}." if because else f"{pair}: no criterion speaks for it."
    steep = [r.spot.name for r in (one, other) if stands_back(r.evaluation)]
    return f"{said} {behind_clause(steep[0])}" if len(steep) == 1 else said


def _ways(e: Evaluation) -> int:
    return (e.access.ways_out or 0) if e.access else 0


def compare_table(plan: Plan, spots: list[RankedSpot], units: Units) -> str:
    """Sentences, table and what was found at one spot only, as HTML."""
    first, *others = sorted(spots, key=lambda r: r.rank)
    order = [first, *others]
    lines = [line for other in others for line in (over(first, other, units), over(other, first, units))]
    head = "".join(
        f'<th>{named(r.spot.name)}<span class="sp-place">{rank_text(r.rank)}, {shown(total(r))}</span></th>'
        for r in order
    )
    body = ""
    for row in compared(plan, order, units):
        cells = "".join(
            f'<td class="{"better" if n in row.best else ""}">{named(text)}'
            + ('<b class="sp-tag">better</b>' if n in row.best else "")
            + "</td>"
            for n, text in enumerate(row.texts)
        )
        body += f'<tr class="{"differs" if row.differs else "alike"}"><th>{named(row.label)}</th>{cells}</tr>'
    found = "".join(
        style.note(severity, f"Only {r.spot.name}.", message) for r, severity, message in own_findings(order, units)
    )
    return (
        "".join(f'<p class="sp-over">{named(line)}</p>' for line in lines)
        + f'<div class="sp-scroll"><table class="sp-table sp-compare"><thead><tr><th></th>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>" + found
    )


def total(ranked: RankedSpot) -> str:
    """The score as every table prints it."""
    return f"{score_text(ranked.criteria)} points"


def picker(work: Work, plan: Plan) -> None:
    """Which spots stand side by side; the first two until the user says otherwise."""
    keys = [spot_key(r) for r in plan.spots]
    held = [key for key in work.memory.get("compared", []) if key in keys]
    names = {spot_key(r): style.button_text(r.spot.name) for r in plan.spots}
    picked = st.pills(
        "Spots side by side, two or three",
        keys,
        selection_mode="multi",
        default=held or keys[:2],
        format_func=lambda key: names[key],
        key=f"compare_{work.edition}_{'_'.join(sorted(keys))}",
    )
    work.memory["compared"] = list(picked)


def chosen_for(work: Work, plan: Plan) -> list[RankedSpot]:
    """The spots picked, as the plan of the moment ranks them; None picked yet: the first two."""
    held = work.memory.get("compared", [spot_key(r) for r in plan.spots[:2]])
    return [r for r in plan.spots if spot_key(r) in held]


def table_or_word(work: Work, plan: Plan, units: Units) -> str:
    """The comparison, or what to do when fewer than two spots are picked."""
    spots = chosen_for(work, plan)
    if len(spots) < 2:
        return f'<p class="sp-small">{shown("Pick at least two spots.")}</p>'
    more = f'<p class="sp-small">{shown("Three at most: the best of those picked are shown.")}</p>'
    return (more if len(spots) > MOST else "") + compare_table(plan, spots[:MOST], units)
