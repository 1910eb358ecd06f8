"""The legend of the saved page, in a corner of its map: the colours as they are drawn, with the switches of layers."""

from __future__ import annotations

from siteplanner.outputs.map.styles import key_class, legend_lines, line_css
from siteplanner.outputs.words.map_legend import (
    FIRST_LIMIT,
    RULED_TITLE,
    SERVICE_TITLE,
    SKY_TITLE,
    SLOPE_TITLE,
    sky_rows,
    sky_shown,
    sky_words,
    slope_rows,
)
from siteplanner.outputs.words.palettes import PASSES_COLOUR, SERVICE_CLASSES, drawn, ruling_colours
from siteplanner.outputs.words.text import named, shown
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.places import ruled_out_share
from siteplanner.planning.telling.units import reader_units

OF_DRIVE, OF_AIM = "Numbered steps of the drive", "Sectors and dish"
NARROW_PX = 1000  # a page narrower than this opens with its legend closed: the map first; the word stays in sight


def _swatch(colour: str, words: str) -> str:
    day, night = drawn(colour)
    return f'<li><i class="sp-box" style="--c:{day};--n:{night}"></i><span>{words}</span></li>'


def _switch(key: str, words: str) -> str:
    return f'<h3><label><input type="checkbox" data-layer="{key}"> {shown(words)}</label></h3>'


def _meaning(key: str, items: str, before: str = "") -> str:
    """What a picture's colours mean: seen while the picture is on."""
    first = f"<p>{before}</p>" if before else ""
    return f'<div class="sp-of" data-of="{key}">{first}<ul class="sp-classes-of">{items}</ul></div>'


def marks(plan: Plan) -> list[tuple[str, str, str]]:
    """(class, letter, words) of the marks that the map holds."""
    beside, rows = plan.beside_first is not None, []
    if plan.spots:
        rows.append(("sp-key-spot", "A", "Option" if plan.options else "Spot"))
    if any(o.ranked.rank for o in plan.options) and len(plan.spots) > len(plan.options):
        rows.append(("sp-key-minor", "F", "Another spot, from near by"))
    if beside:
        rows.append(("sp-key-pair", "A", "Place of a second trailer"))
    if plan.rejected:
        rows.append(("sp-key-out", "\u00d7", "Spot that is ruled out"))
    if "must_serve" in plan.scene.overlays:
        rows.append(("sp-key-must", "", "Named point"))
        if plan.missed_points:
            rows.append(("sp-key-missed", "", "Named point without service"))
    rows.append(("sp-key-staging", "S", "Staging point"))
    if plan.spots:
        rows.append(("sp-key-step", "1", "Step of the drive, as on the driver's sheet"))
    if "donor_sites" in plan.scene.overlays:
        rows.append(("sp-key-donor", "\u25b2", "Donor site"))
    return rows


def marks_html(plan: Plan) -> str:
    """The marks with their words."""
    return "".join(
        f'<li><i class="sp-key {shown(kind)}">{shown(letter)}</i><span>{shown(words)}</span></li>'
        for kind, letter, words in marks(plan)
    )


def lines_html(plan: Plan) -> str:
    """The lines with their words."""
    return "".join(
        f'<li><i class="{key_class(kind)}" style="{line_css(kind)}"></i><span>{shown(words)}</span></li>'
        for kind, words in legend_lines(plan)
    )


def legend_html(plan: Plan) -> str:
    """The legend, with switches for the layers and the share of ground that each limit rules out."""
    units = reader_units(plan.mission)
    colours = ruling_colours([r.code for r in plan.rulings])
    service = "".join(_swatch(colour, shown(words)) for _, colour, words in SERVICE_CLASSES)
    service += "<li><span>no color: below 50 &#37;</span></li>"
    steep = "".join(_swatch(c, shown(w)) for c, w in slope_rows(plan))
    sky = "".join(_swatch(c, shown(w)) for c, w in sky_rows(plan)) if sky_shown(plan) else ""
    ruled = _swatch(PASSES_COLOUR, "Passes every limit") + "".join(
        _swatch(
            colours[r.code],
            f"{named(r.label)} <small>{shown(ruled_out_share(r.share, r.only_share, units.first))}</small>",
        )
        for r in plan.rulings
    )
    pictures = [
        *([("service", SERVICE_TITLE, service, "")] if plan.spots else []),
        ("ruling", RULED_TITLE, ruled, FIRST_LIMIT),
        *([("sky", SKY_TITLE, sky, f"{shown(sky_words(plan))}.")] if sky else []),
        ("slope", SLOPE_TITLE, steep, ""),
    ]
    switches = "".join(_switch(key, title) for key, title, _, _ in pictures)
    if plan.spots:
        switches += _switch("decisions", OF_DRIVE) + _switch("aim", OF_AIM)
    return (
        '<details id="sp-legend" class="sp-legend" open><summary>Legend and layers</summary>'
        + f'<div class="sp-switches">{switches}</div>'
        + "".join(_meaning(key, items, before) for key, _, items, before in pictures)
        + f'<ul class="sp-marks">{marks_html(plan)}</ul><ul class="sp-lines">{lines_html(plan)}</ul></details>'
        # before the map measures the room that it opens in
        + f'<script>if (innerWidth < {NARROW_PX}) document.getElementById("sp-legend").open = false;</script>'
    )
