from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from siteplanner.outputs.map.map import NIGHT, STYLES
from siteplanner.outputs.map.page import file_text
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
