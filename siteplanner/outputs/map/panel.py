"""The words beside the map as HTML: headline, list of spots, legend, findings, and each spot's popup."""

from __future__ import annotations

from siteplanner.data.grid_reference import grid_text
from siteplanner.errors import SEVERITIES, Finding
from siteplanner.mission import Mission
from siteplanner.outputs.map.as_built import as_built_html
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import named, sentence, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.spots.evaluation import Access, Coverage, Evaluation, told_of
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.aiming import aim, both_bearings
from siteplanner.planning.telling.answer import figure_row, runner_words, worst_words
from siteplanner.planning.telling.backhaul_rows import backhaul_lines, names_in
from siteplanner.planning.telling.capacity import capacity_rows
from siteplanner.planning.telling.compass import SKEW_BRIEFLY
from siteplanner.planning.telling.directions import alternative_words
from siteplanner.planning.telling.driver import drive_time_words, no_way_or_time
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import lift_doubt_words
from siteplanner.planning.telling.keep_clear import hazards_near_sentences
from siteplanner.planning.telling.lifeline import hazards_beside_words, way_in_short, way_in_words, way_out_words
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.options import NO_OTHER, missed_lines, option_sentences, tied_words
from siteplanner.planning.telling.places import (
    last_leg_length,
    point_words,
    rank_words,
    service_words,
    spot_facts,
)
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.score import rank_text, score_points, score_text
from siteplanner.planning.telling.service import polygon_words, service_sentence
from siteplanner.planning.telling.sets import names_of_sets, sheet_lines
from siteplanner.planning.telling.signal_words import CHECK, signal_word
from siteplanner.planning.telling.stand import ground_words, jack_lifts
from siteplanner.planning.telling.timeline import on_air_in_hours
from siteplanner.planning.telling.units import Units, reader_units, rounded_text
from siteplanner.planning.telling.words import (
    BEFORE_ACTING,
    firmness_sentence,
    head_words,
    recommend,
    watch_words,
    why_words,
)

MOST_DANGERS = 4


def _rows(rows: list[tuple[str, str]]) -> str:
    """Two columns; the right one is HTML already."""
    return "<table>" + "".join(f"<tr><th>{shown(a)}</th><td>{b}</td></tr>" for a, b in rows) + "</table>"


def _table(head: list[str], body: list[list[str]], foot: list[str] | None = None) -> str:
    """Cells of `body` and `foot` are HTML already; the first column is text, the others figures."""
    top = "".join(f"<th>{shown(cell)}</th>" for cell in head)
    rows = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in body)
    end = "<tfoot><tr>" + "".join(f"<td>{cell}</td>" for cell in foot) + "</tr></tfoot>" if foot else ""
    return f'<table class="sp-figures"><thead><tr>{top}</tr></thead><tbody>{rows}</tbody>{end}</table>'


def score_table(ranked: RankedSpot, units: Units) -> str:
    """Value, weight and points of each criterion; the points shown add up to the score shown."""
    points = score_points(ranked.criteria)
    body = [
        [
            named(c.label),
            shown(units.first.measured(c.value, c.unit)),
            rounded_text(c.utility, 2),
            rounded_text(c.weight, 2),
            rounded_text(p, 1),
        ]
        for c, p in zip(ranked.criteria, points, strict=True)
    ]
    foot = ["Score, of 100", "", "", "", f"<b>{score_text(ranked.criteria)}</b>"]
    return _table(["Criterion", "Value", "Earned", "Weight", "Points"], body, foot)


def sky_table(evaluation: Evaluation, units: Units) -> str:
    """Look angles, skyline and margin of each satellite."""
    body = []
    for look in evaluation.sky:
        label = look.satellite_name or units.first.angle(look.satellite_longitude_deg)
        angles = [units.first.angle(v) for v in (look.elevation_deg, look.skew_deg, look.margin_deg)]
        body.append(
            [
                named(label),
                shown(units.first.bearing(look.azimuth_deg)),
                shown(units.first.bearing(look.azimuth_magnetic_deg)),
                *map(shown, angles),
                "clear" if look.clear else "<b>not clear</b>",
            ]
        )
    return (
        _table(["Satellite", "True", "Magnetic", "Elevation angle", f"Skew, {SKEW_BRIEFLY}", "Margin", "Sky"], body)
        if body
        else ""
    )


def _coverage_rows(coverage: Coverage, evaluation: Evaluation, units: Units) -> list[tuple[str, str]]:
    bearings = "<br>".join(shown(both_bearings(b, evaluation, units.first)) for b in coverage.sector_bearings_deg)
    rows = [
        ("Predicted service", shown(service_words(coverage, units.first))),
        *(
            ("Of it", named(text))
            for text in (polygon_words(coverage.service, units.first) if coverage.service else ())
        ),
        *(("Service", shown(service_sentence(coverage, units.first))) for _ in range(coverage.service is not None)),
        ("Mast", shown(units.first.length(coverage.mast_height_m))),
        ("Sectors", bearings or "none"),
    ]
    for point in coverage.must_serve:
        rows.append(("Must-serve", sentence(point_words(point, evaluation, units), [point.name])))
    return rows


def _access_rows(access: Access, units: Units) -> list[tuple[str, str]]:
    rows = [
        ("Drive", shown(f"{units.distance(access.drive_distance_m)}, {drive_time_words(access, units)}")),
        *(
            (
                "From" if n == 0 else "Or from",
                f"{named(s.name)}: {shown(no_way_or_time(s.drive_time_s, units))}",
            )
            for n, s in enumerate(access.by_staging)
        ),
        ("Steepest", shown(units.grade(access.worst_grade_pct, access.worst_grade_error_pct))),
        ("Last leg", shown(last_leg_length(access, units))),
        ("Way in from staging", named(way_in_words(access, units.first) or way_in_short(access, units.first))),
        ("Way out of the area", named(way_out_words(access, units.first))),
        *(("Beside the drive", named(words)) for words in hazards_beside_words(access, units.first)),
    ]
    told = told_of(access)
    rows.append(("Other way", named(alternative_words(told.alternative, units.first))))
    rows.append(("Turning around", named(turning_words(told.turning, units.first))))
    if access.unknown:
        rows.append(
            (
                "Not known from the road data",
                "; ".join(named(item) for item in unknown_along_words(access.unknown, units.first)),
            )
        )
    return rows


def findings_list(findings: tuple[Finding, ...], units: Units) -> str:
    """Findings as a list, the gravest first."""
    if not findings:
        return ""
    one = units.first
    items = "".join(
        f'<li class="sp-{shown(f.severity)}"><b>{signal_word(f.severity)}.</b> '
        + named(said(f, one).message)
        + (f" {named(said(f, one).remedy)}" if said(f, one).remedy else "")
        + "</li>"
        for f in sorted(findings, key=lambda f: SEVERITIES.index(f.severity))
    )
    return f'<ul class="sp-findings">{items}</ul>'


def spot_popup(ranked: RankedSpot, units: Units, mission: Mission | None = None) -> str:
    """Everything the commander may ask about one spot; with the mission also what it carries."""
    spot, evaluation, ground = ranked.spot, ranked.evaluation, ranked.evaluation.ground
    where = f"{spot.latitude:.5f}, {spot.longitude:.5f}"
    reference = f"{named(grid_text(spot.grid_reference))}<br>" if spot.grid_reference else ""
    jacks = jack_lifts(ground, units.first)
    rows = [
        ("Place", f"{reference}{shown(where)}<br>{shown(units.first.length(spot.elevation_m))} elevation"),
        (
            "Ground",
            shown(ground_words(ground, both_bearings(ground.heading_deg, evaluation, units.first), units.first)),
        ),
    ]
    if jacks:
        doubt = lift_doubt_words(ground, units.first)
        rows.append(("Jack lifts", shown(jacks) + (f"<br>{shown(doubt)}" if doubt else "")))
    if evaluation.backhauls:
        rows.append(("Backhaul", backhaul_html(evaluation, units)))
    if evaluation.coverage:
        rows += _coverage_rows(evaluation.coverage, evaluation, units)
    if mission is not None:
        rows += [(label, shown(text)) for label, text in capacity_rows(capacity_of(evaluation, mission), units.first)]
    if evaluation.access:
        rows += _access_rows(evaluation.access, units)
    if evaluation.on_air:
        rows.append(("On air", shown(on_air_in_hours(evaluation.on_air, units.first))))
    sky = sky_table(evaluation, units) if evaluation.dish_wanted else ""
    return (
        f'<div class="sp-spot"><h2>Spot {named(spot.name)}: {rank_text(ranked.rank)}</h2>'
        f"{score_table(ranked, units)}{sky}{_rows(rows)}{findings_list(evaluation.findings, units)}</div>"
    )


def backhaul_html(evaluation: Evaluation, units: Units) -> str:
    """Every wanted backhaul, one a line, the one in use in bold."""
    names = names_in(evaluation)
    lines = []
    for verdict, text in backhaul_lines(evaluation, units.first):
        line = sentence(text, names)
        lines.append(f"<b>{line}</b> (used)" if verdict == "used" else line)
    return "<br>".join(lines)


def rejected_popup(evaluation: Evaluation, units: Units) -> str:
    """Why a spot that was evaluated is out."""
    why = "".join(f"<li>{named(breach_words(breach, units.first))}</li>" for breach in evaluation.failed)
    return f'<div class="sp-spot"><h2>Spot {named(evaluation.spot.name)}: ruled out</h2><ul>{why}</ul></div>'


def headline_html(plan: Plan) -> str:
    """The headline box: what to do, in figures, the worst of it, the runner-up; then the caution and the reasons."""
    units = reader_units(plan.mission).first
    told = recommend(plan)
    names = [*(ranked.spot.name for ranked in plan.spots), *(p.name for p in plan.points)]
    head = head_words(told, units)
    row = out = second = where = ""
    if told.best is not None:
        spot = told.best.spot
        row = "".join(f"<div><b>{shown(figure)}</b>{shown(of)}</div>" for figure, of in figure_row(told.best, units))
        out, second = worst_words(plan, told.best, units), runner_words(plan, told.best, units)
        place = grid_text(spot.grid_reference) or f"{spot.latitude:.5f}, {spot.longitude:.5f}"
        where = f'<p class="sp-where">{named(place)}</p>'
    more = [aim(plan.best, units) if plan.best else "", why_words(told, units), watch_words(told)]
    lines = "".join(f"<p>{sentence(line, names)}</p>" for line in (*more, firmness_sentence(plan, units)) if line)
    return (
        f'<header class="sp-headline"><p class="sp-mission">{named(plan.mission.name)}</p>'
        f"<h1>{sentence(head, names)}</h1>{where}"
        + (f'<div class="sp-tiles">{row}</div>' if row else "")
        + (f'<p class="sp-worst">{sentence(out, names)}</p>' if out else "")
        + (f'<p class="sp-runner">{sentence(second, names)}</p>' if second else "")
        + f'<p class="sp-aid"><b>{CHECK}.</b> {shown(PLANNING_AID)}</p>'
        + (f"<details><summary>Why, and how sure</summary>{lines}</details>" if lines else "")
        + "</header>"
    )


def dangers_html(plan: Plan) -> str:
    """What can hurt somebody at the best spot and on the way to it, and what holds everywhere."""
    units = reader_units(plan.mission)
    items = []
    if plan.best is not None:
        e, site = plan.best.evaluation, plan.best.evaluation.on_site
        items = [named(said(f, units.first).message) for f in e.findings if f.severity == "warning"]
        items += [named(words) for words in hazards_near_sentences(site.hazards if site else (), units.first)[:2]]
    word = f"<b>{signal_word('warning')}.</b>"
    near = "".join(f'<li class="sp-warning">{word} {item}</li>' for item in items[:MOST_DANGERS])
    everywhere = "".join(f"<li><b>{before}.</b> {shown(text)}</li>" for before, text in BEFORE_ACTING)
    return (
        '<section class="sp-notes"><h2>Dangers</h2>'
        + (f"<ul>{near}</ul>" if near else "")
        + f"<details><summary>Before anyone acts on this</summary><ul>{everywhere}</ul></details></section>"
    )


def points_html(plan: Plan) -> str:
    """The named points with their chance at the best spot; a missed one with who serves it."""
    units = reader_units(plan.mission).first
    coverage = plan.best.evaluation.coverage if plan.best else None
    if coverage is None or not coverage.must_serve:
        return ""
    missed = {p.name for p in plan.missed_points}
    items = "".join(
        f'<li class="{"sp-missed-row" if p.name in missed or p.probability < SERVED else ""}">'
        f"<span>{named(p.name)}</span><b>{shown(units.share(p.probability))}</b></li>"
        for p in sorted(coverage.must_serve, key=lambda p: (p.probability, p.name))
    )
    names = [*(ranked.spot.name for ranked in plan.spots), *(p.name for p in plan.points)]
    who = "".join(f"<p>{sentence(line, names)}</p>" for line in missed_lines(plan.missed_points, units))
    return (
        '<section class="sp-points"><h2>Named points <small>chance of service from the best spot</small></h2>'
        f"<ul>{items}</ul>{who}</section>"
    )


def _spot_button(index: int, ranked: RankedSpot, words: str, units: Units) -> str:
    return (
        f'<li><button type="button" data-spot="{index}" aria-pressed="false">'
        f'<span class="sp-mark">{named(ranked.spot.name)}</span>'
        f'<span class="sp-name">{words}</span>'
        f'<span class="sp-score">{score_text(ranked.criteria)}</span>'
        f'<span class="sp-facts">{shown(spot_facts(ranked.evaluation, units.first))}</span>'
        "</button></li>"
    )


def options_html(plan: Plan) -> str:
    """The options, what each is best at, and when to choose it; nothing where the plan holds none."""
    if not plan.options:
        return ""
    units = reader_units(plan.mission)
    names = [*(r.spot.name for r in plan.spots), *(p.name for p in plan.points)]
    index = {r.spot.key: k for k, r in enumerate(plan.spots)}
    items, dispatch = [], plan.mission.times.dispatch
    for o in plan.options:
        told = option_sentences(o, dispatch, units.first)
        words = f'<span class="sp-rank">{shown(rank_words(o.ranked))}</span>'
        more = "".join(f"<p>{sentence(told[k], names)}</p>" for k in ("best_at", "trigger") if told[k])
        price = sentence(told["price"], names)
        rest = f"<details><summary>Against the first</summary><p>{price}</p></details>" if price else ""
        item = _spot_button(index[o.ranked.spot.key], o.ranked, words, units)
        items.append(item.replace("</button></li>", f'</button><div class="sp-option">{more}{rest}</div></li>'))
    note = tied_words(plan.tied) or (NO_OTHER if len(plan.options) == 1 else "")
    return (
        '<section class="sp-list"><h2>Options <small>score of 100</small></h2>'
        + (f"<p>{sentence(note, names)}</p>" if note else "")
        + f"<ol>{''.join(items)}</ol></section>"
    )


def spots_html(plan: Plan) -> str:
    """The spots that are no options; the page's script pans to the spot whose button is pressed."""
    units = reader_units(plan.mission)
    options = {o.ranked.spot.key for o in plan.options}
    items = "".join(
        _spot_button(index, ranked, shown(rank_words(ranked)), units)
        for index, ranked in enumerate(plan.spots)
        if ranked.spot.key not in options
    )
    if not items:
        return ""
    if not options:
        return f'<section class="sp-list"><h2>Ranked spots <small>score of 100</small></h2><ol>{items}</ol></section>'
    return (
        f'<section class="sp-list"><details><summary>Other spots of the list</summary><ol>{items}</ol></details>'
        "</section>"
    )


def sets_html(plan: Plan) -> str:
    """What a second and a third trailer add, and where; the places of two have a ring on the map."""
    lines = sheet_lines(plan, reader_units(plan.mission).first)
    if not lines:
        return ""
    items = "".join(f"<li>{sentence(line, names_of_sets(plan))}</li>" for line in lines)
    return f'<section class="sp-notes"><h2>More trailers</h2><ul>{items}</ul></section>'


def panel_html(plan: Plan) -> str:
    """The whole panel of the saved page."""
    findings = findings_list(plan.findings, reader_units(plan.mission))
    found = f'<section class="sp-notes"><h2>Findings</h2>{findings}</section>' if findings else ""
    return (
        '<aside id="sp-panel">'
        + headline_html(plan)
        + as_built_html(plan)
        + points_html(plan)
        + dangers_html(plan)
        + options_html(plan)
        + sets_html(plan)
        + spots_html(plan)
        + found
        + "</aside>"
        '<div id="sp-buttons" class="sp-corner"><button type="button" id="sp-night" aria-pressed="false">Night view'
        '</button><button type="button" id="sp-hide" aria-pressed="false">Hide panel</button></div>'
    )
