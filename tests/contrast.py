"""How well two colours stand apart, for the tests of every face."""

from siteplanner.outputs.words.palettes import rgb


def contrast_ratio(one: str, other: str) -> float:
    """Contrast of two colours, 1..21 (W3C WCAG 2.1, definitions of contrast ratio and relative luminance)."""

    def luminance(colour: str) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in rgb(colour))]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)
