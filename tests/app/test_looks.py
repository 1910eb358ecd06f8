"""The pages' colors as their style sheet and theme give them: small text can be read in the sun and at night."""

from __future__ import annotations

import re

import pytest

from siteplanner.app.serve import THEMES
from siteplanner.app.style import CSS
from siteplanner.outputs.words.palettes import rgb
from tests.contrast import contrast_ratio

LEAST = 4.5  # W3C WCAG 2.1, success criterion 1.4.3 (AA), text below 18 point
GROUNDS = {"page": "BACKGROUND_COLOR", "side panel": "SECONDARY_BACKGROUND_COLOR"}


def rule(selector: str) -> str:
    """What the style sheet says of a selector; '' where it does not name it."""
    return " ".join(
        body
        for names, body in re.findall(r"([^{}]+)\{([^{}]*)\}", re.sub(r"/\*.*?\*/", "", CSS))
        if selector in (name.strip() for name in names.split(","))
    )


def over(ink: str, ground: str, share: float) -> str:
    """An ink of some opacity on a ground, as one color."""
    mixed = (round(a * share + b * (1 - share)) for a, b in zip(rgb(ink), rgb(ground), strict=True))
    return "#" + "".join(f"{v:02X}" for v in mixed)


@pytest.mark.parametrize("side", ["LIGHT", "DARK"])
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("selector", ['[data-testid="stCaptionContainer"]', "input::placeholder"])
def test_captions_can_be_read_on_page_and_side_panel(side, ground, selector):
    # without a rule the kit draws them at 60 % of the text's color: 4.2 on the page, 4.0 in the side panel
    held = re.search(r"color: light-dark\((#\w{6}), (#\w{6})\) !important", rule(selector))
    assert held, f"no color for {selector}"
    assert "opacity: 1 !important" in rule(selector)
    ink = held[1 if side == "LIGHT" else 2]
    assert contrast_ratio(ink, THEMES[side][GROUNDS[ground]]) >= LEAST


@pytest.mark.parametrize("side", ["LIGHT", "DARK"])
def test_faint_text_of_our_own_can_be_read(side):
    theme = THEMES[side]
    shares = {float(v) for v in re.findall(r"opacity: (0?\.\d+)", CSS)}
    assert shares
    for share in shares:
        for ground in GROUNDS.values():
            faint = over(theme["TEXT_COLOR"], theme[ground], share)
            assert contrast_ratio(faint, theme[ground]) >= LEAST, (share, ground)


def test_the_kit_s_stop_and_menu_are_not_shown():
    for selector in ('[data-testid="stStatusWidget"]', '[data-testid="stMainMenu"]'):
        assert "display: none !important" in rule(selector)
