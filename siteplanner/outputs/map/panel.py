"""The words beside the map as HTML: headline, list of spots, legend, findings, and each spot's popup."""

from __future__ import annotations

from siteplanner.data.grid_reference import grid_text
from siteplanner.errors import SEVERITIES, Finding
from siteplanner.mission import Mission
from siteplanner.outputs.words.map_legend import SKY_TITLE, SLOPE_TITLE, sky_rows, sky_shown, sky_words, slope_rows
from siteplanner.outputs.words.palettes import PASSES_COLOUR, SERVICE_CLASSES, ruling_colours
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import named, sentence, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.spots.evaluation import Access, Coverage, Evaluation, told_of
from siteplanner.planning.telling.aiming import aim, both_bearings
from siteplanner.planning.telling.backhaul_rows import backhaul_lines, names_in
from siteplanner.planning.telling.capacity import capacity_rows
from siteplanner.planning.telling.compass import SKEW_BRIEFLY
from siteplanner.planning.telling.directions import alternative_words
from siteplanner.planning.telling.driver import drive_time_words, no_way_or_time
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import lift_doubt_words
from siteplanner.planning.telling.lifeline import hazards_beside_words, way_in_short, way_in_words, way_out_words
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.places import (
    last_leg_length,
    point_words,
    ruled_out_share,
    service_words,
    spot_facts,
)
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.score import place_text, score_points, score_text
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
    return _table(["Criterion", "Value", "Utility", "Weight", "Points"], body, foot)


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
        _table(["Satellite", "True", "Magnetic", "Up", f"Skew, {SKEW_BRIEFLY}", "Margin", "Sky"], body) if body else ""
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
    rows.append(("Turning", named(turning_words(told.turning, units.first))))
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
        f'<div class="sp-spot"><h2>Spot {named(spot.name)}: {place_text(ranked.rank)} place</h2>'
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
    """The headline box: what to do, why, how firm, and what a plan is."""
    units = reader_units(plan.mission)
    told = recommend(plan)
    head, because = (
        head_words(told, units.first),
        " ".join(filter(None, (why_words(told, units.first), watch_words(told)))),
    )
    aiming = aim(plan.best, units.first) if plan.best else ""
    names = [ranked.spot.name for ranked in plan.spots]
    lines = "".join(
        f"<p>{sentence(line, names)}</p>" for line in (aiming, firmness_sentence(plan, units.first)) if line
    )
    return (
        f'<header class="sp-headline"><p class="sp-mission">{named(plan.mission.name)}</p>'
        f"<h1>{sentence(head, names)}</h1>"
        + (f"<p>{sentence(because, names)}</p>" if because else "")
        + f'<p class="sp-aid"><b>{CHECK}.</b> {shown(PLANNING_AID)}</p>{lines}</header>'
    )


def spots_html(plan: Plan) -> str:
    """The list of spots; the page's script pans to the spot whose button is pressed."""
    units = reader_units(plan.mission)
    if not plan.spots:
        return ""
    items = []
    for index, ranked in enumerate(plan.spots):
        items.append(
            f'<li><button type="button" data-spot="{index}" aria-pressed="false">'
            f'<span class="sp-mark">{named(ranked.spot.name)}</span>'
            f'<span class="sp-name">{place_text(ranked.rank)} place</span>'
            f'<span class="sp-score">{score_text(ranked.criteria)}</span>'
            f'<span class="sp-facts">{shown(spot_facts(ranked.evaluation, units.first))}</span>'
            "</button></li>"
        )
    return (
        '<section class="sp-list"><h2>Ranked spots <small>score of 100</small></h2><ol>'
        + "".join(items)
        + "</ol></section>"
    )


def sets_html(plan: Plan) -> str:
    """What a second and a third trailer add, and where; the places of two have a ring on the map."""
    lines = sheet_lines(plan, reader_units(plan.mission).first)
    if not lines:
        return ""
    items = "".join(f"<li>{sentence(line, names_of_sets(plan))}</li>" for line in lines)
    return f'<section class="sp-notes"><h2>More trailers</h2><ul>{items}</ul></section>'


DECISIONS = "Decision points of the drive"
DECISION_WORDS = "Numbered as on the driver's sheet. Point at one for its words; where they lie close, zoom in."
GROUND_LINES = (
    ("sp-structure", "Building, fence, tank", "structures"),
    ("sp-water", "Water", "water"),
    ("sp-soft", "Soft ground", "soft_ground"),
)


DONOR_LINES = (("sp-link", "Donor link that works"), ("sp-dark-sky", "Donor link that does not, or not known"))


def _swatch(colour: str, words: str, *, tall: bool = False) -> str:
    row = ' class="sp-tall"' if tall else ""
    return f'<li{row}><i class="sp-box" style="--c:{colour}"></i><span>{words}</span></li>'


def _switch(key: str, words: str) -> str:
    return f'<h3><label><input type="checkbox" data-layer="{key}"> {shown(words)}</label></h3>'


def legend_html(plan: Plan) -> str:
    """The legend, with switches for the layers and the share of ground that each limit rules out."""
    units = reader_units(plan.mission)
    colours = ruling_colours([r.code for r in plan.rulings])
    service = "".join(_swatch(colour, shown(words)) for _, colour, words in SERVICE_CLASSES)
    service += _swatch("transparent", "no color: below 50 &#37;")
    steep = "".join(_swatch(c, shown(w)) for c, w in slope_rows(plan))
    sky = "".join(_swatch(c, shown(w)) for c, w in sky_rows(plan)) if sky_shown(plan) else ""
    ruled = _swatch(PASSES_COLOUR, "Passes every limit") + "".join(
        _swatch(
            colours[r.code],
            f"{named(r.label)} <small>{shown(ruled_out_share(r.share, r.only_share, units.first))}</small>",
            tall=True,
        )
        for r in plan.rulings
    )
    lines = "".join(
        f'<li><i class="sp-line {kind}"></i>{words}</li>'
        for kind, words in (
            ("sp-route", "Drive to the chosen spot"),
            ("sp-otherway", "Another way to drive, where there is one"),
            ("sp-leg", "Last leg over ground"),
            ("sp-area", "Incident area"),
            ("sp-open", "Road the rig can use"),
            ("sp-unsure", "Road with limits not in the data"),
            ("sp-shut", "Road ruled out for the rig"),
            ("sp-closed", "Road closed"),
            ("sp-power", "Power line"),
            ("sp-danger", "Hazard area"),
            ("sp-keep", "Keep-out area"),
            *((css, words) for css, words, role in GROUND_LINES if role in plan.scene.overlays),
            ("sp-sector", "Sector bearing"),
            ("sp-dish", "Dish azimuth, sky clear"),
            ("sp-dark-sky", "Dish azimuth, sky not clear"),
            *(DONOR_LINES if any(b.donors for r in plan.spots for b in r.evaluation.backhauls) else ()),
        )
    )
    return (
        '<section class="sp-legend"><h2>Legend</h2>'
        + (_switch("service", "Predicted probability of service") + f"<ul>{service}</ul>" if plan.spots else "")
        + _switch("ruling", "Ground ruled out")
        + "<p>Share of the search ground; a cell with several limits has the color of the first. "
        "No color: outside the search ground, not checked.</p>"
        + f"<ul>{ruled}</ul>"
        + (_switch("sky", SKY_TITLE) + f"<p>{shown(sky_words(plan))}.</p><ul>{sky}</ul>" if sky else "")
        + _switch("slope", SLOPE_TITLE)
        + f"<ul>{steep}</ul>"
        + (_switch("decisions", DECISIONS) + f"<p>{shown(DECISION_WORDS)}</p>" if plan.spots else "")
        + f'<h3>Lines</h3><ul class="sp-lines">{lines}</ul></section>'
    )


def panel_html(plan: Plan) -> str:
    """The whole panel of the saved page."""
    units = reader_units(plan.mission)
    findings = findings_list(plan.findings, units)
    cautions = "".join(f"<li><b>{word}.</b> {shown(text)}</li>" for word, text in BEFORE_ACTING)
    more = (
        f'<section class="sp-notes"><h2>Findings</h2>{findings}</section>' if findings else ""
    ) + f'<section class="sp-notes"><h2>Before anyone acts on this</h2><ul>{cautions}</ul></section>'
    return (
        '<aside id="sp-panel">'
        + headline_html(plan)
        + spots_html(plan)
        + sets_html(plan)
        + legend_html(plan)
        + more
        + "</aside>"
        '<div id="sp-buttons"><button type="button" id="sp-night" aria-pressed="false">Night view</button>'
        '<button type="button" id="sp-hide" aria-pressed="false">Hide panel</button></div>'
    )
