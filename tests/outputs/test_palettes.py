from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from siteplanner.outputs.map.page import file_text
from siteplanner.outputs.map.styles import GAPS, NIGHT, STYLES
from siteplanner.outputs.words import palettes
from siteplanner.planning.limits.ruling import LIMITS
from tests.contrast import contrast_ratio

# G. Machado, M. Oliveira, L. Fernandes, A Physiologically-based Model for Simulation of Color Vision Deficiency,
# IEEE TVCG 15 (2009), tables for severity 1.0; from memory
SIGHT = {
    "full": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}


def _lab(colour: str, sight: str) -> np.ndarray:
    """CIE 1976 L*a*b* of an sRGB colour (D65) as it looks with that sight."""
    v = np.array(palettes.rgb(colour)) / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    linear = np.clip(SIGHT[sight] @ linear, 0, 1)
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > 0.008856, np.cbrt(t), 7.787 * t + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_contrast_of_known_pairs():
    # W3C, Understanding WCAG 2.1, 1.4.3: #777 on white is 4.48:1, just short of 4.5
    assert contrast_ratio("#FFFFFF", "#000000") == pytest.approx(21)
    assert contrast_ratio("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)


def test_text_meets_the_enhanced_contrast():
    # WCAG 2.1, success criterion 1.4.6: 7:1; the softer text 4.5:1 (1.4.3)
    css = file_text("own/map.css")
    blocks = re.findall(r"(?:root|dark) \{([^}]*--ink[^}]*)\}", css)
    themes = [dict(re.findall(r"--(\w+): (#\w{6})", block)) for block in blocks]
    assert len(themes) == 2
    day, night = themes
    assert (day["ink"], day["paper"]) == (palettes.INK, palettes.PAPER)
    assert (night["ink"], night["paper"]) == (palettes.NIGHT_INK, palettes.NIGHT_PAPER)
    for theme in themes:
        assert contrast_ratio(theme["ink"], theme["paper"]) >= 7
        assert contrast_ratio(theme["ink"], theme["press"]) >= 7
        assert contrast_ratio(theme["soft"], theme["paper"]) >= 4.5
        assert contrast_ratio(theme["soft"], theme["press"]) >= 4.5
        assert contrast_ratio(theme["strong"], theme["paper"]) >= 4.5


def test_lines_stand_out_from_the_relief_by_day_and_by_night():
    # WCAG 2.1, success criterion 1.4.11: 3:1 for graphics. Lines with a white edge of their own are left out.
    lines = (
        "area",
        "bearing",
        "hazard",
        "keep_out",
        "power_line",
        "structure",
        "water",
        "soft_ground",
        "open",
        "unsure",
        "shut",
        "route",
        "dish",
        "dish_blocked",
        "water",
        "soft_ground",
        "structure",
        "closure",
        "other",
    )
    share = re.search(r"sp-dark .sp-relief \{ filter: brightness\((\.\d+)\); \}", file_text("own/map.css"))
    assert share
    for ground in palettes.RELIEF_COLOURS:  # level ground; shaded slopes are darker, which helps by night only
        night = "#" + "".join(f"{round(float(share[1]) * v):02X}" for v in palettes.rgb(ground))
        for kind in lines:
            assert contrast_ratio(STYLES[kind]["color"], ground) >= 3, (kind, ground)
            colour = {**STYLES[kind], **NIGHT.get(kind, {})}["color"]
            assert contrast_ratio(colour, night) >= 3, (kind, night)


def test_each_limit_has_its_own_colour():
    colours = palettes.ruling_colours([*LIMITS, "another", "one more"])
    assert len(set(colours.values()) | {palettes.PASSES_COLOUR}) == len(LIMITS) + 3
    assert set(LIMITS) <= set(palettes.RULING_COLOURS)


@pytest.mark.parametrize("sight", SIGHT)
def test_limits_can_be_told_apart(sight):
    # a difference of 10 in CIE 1976 is several times the just noticeable 2.3 (Mahy et al. 1994, from memory)
    colours = [*palettes.ruling_colours(list(LIMITS)).values(), palettes.PASSES_COLOUR]
    least = min(
        (float(np.linalg.norm(_lab(a, sight) - _lab(b, sight))), a, b) for a, b in itertools.combinations(colours, 2)
    )
    assert least[0] > 10, least


@pytest.mark.parametrize("sight", SIGHT)
def test_unknown_sky_looks_like_no_known_margin(sight):
    unknown = _lab(palettes.SKY_UNKNOWN_COLOUR, sight)
    assert min(float(np.linalg.norm(unknown - _lab(c, sight))) for c in palettes.SKY_COLOURS) > 40


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize(
    "colours",
    [[c for _, c, _ in palettes.SERVICE_CLASSES], list(palettes.SLOPE_COLOURS), list(palettes.SKY_COLOURS[::-1])],
)
def test_sequences_darken_step_by_step_for_everyone(sight, colours):
    light = [_lab(colour, sight)[0] for colour in colours]
    assert all(a - b > 4 for a, b in itertools.pairwise(light)), light


NOT_LINES = {"route_edge", "shut_gap", "must_serve"}  # under and over a line; a point


def _form(kind: str) -> tuple[bool, str, bool, bool]:
    """Filled or not, the rhythm of its dashes, thick or thin, of two colours or one: what eyes without colour see."""
    style = STYLES[kind]
    return "fillColor" in style, str(style.get("dashArray", "")), style["weight"] >= 5, kind in GAPS


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("night", [False, True])
def test_no_two_lines_are_told_apart_by_colour_alone_where_colours_come_close(sight, night):
    colours = {k: {**s, **(NIGHT.get(k, {}) if night else {})}["color"] for k, s in STYLES.items()}
    close = [
        (a, b)
        for a, b in itertools.combinations([k for k in STYLES if k not in NOT_LINES], 2)
        if np.linalg.norm(_lab(colours[a], sight) - _lab(colours[b], sight)) <= 10 and _form(a) == _form(b)
    ]
    assert not close


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("night", [False, True])
@pytest.mark.parametrize("other", ["unsure", "open", "closed", "structure", "hazard", "keep_out", "power_line"])
def test_a_road_not_for_the_rig_differs_in_colour_and_in_form(sight, night, other):
    # with #A3123F it lay 5.8 from a road with limits not stated (deuteranopia), 2.4 from structures (protanopia)
    colours = {k: {**STYLES[k], **(NIGHT.get(k, {}) if night else {})}["color"] for k in ("shut", "shut_gap", other)}
    apart = float(np.linalg.norm(_lab(colours["shut"], sight) - _lab(colours[other], sight)))
    gaps = float(np.linalg.norm(_lab(colours["shut_gap"], sight) - _lab(colours[other], sight)))
    assert max(apart, gaps) > 25
    assert min(apart, gaps) > 10 or other == "structure"
    assert _form("shut") != _form(other)


def test_the_legend_shows_the_colours_as_they_lie_over_the_relief():
    # read off a screen: class #253494 is (109, 120, 174) by day, (40, 46, 81) by night, give or take the shading
    day, night = palettes.drawn("#253494")
    assert np.abs(np.array(palettes.rgb(day)) - (109, 120, 174)).max() <= 3
    assert np.abs(np.array(palettes.rgb(night)) - (40, 46, 81)).max() <= 3
    css = file_text("own/map.css")
    assert f".sp-dark .sp-classes {{ filter: brightness({palettes.NIGHT_CLASSES:.2f}); }}".replace("0.", ".") in css
    assert f".sp-dark .sp-relief {{ filter: brightness({palettes.NIGHT_RELIEF:.2f}); }}".replace("0.", ".") in css
