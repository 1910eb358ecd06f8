"""Colours of the map and the contrast between two of them: classes from published colour-blind-safe schemes; lines,
relief and the night's are our own, checked for contrast and for each kind of sight.

Categories: Paul Tol, Colour Schemes, SRON/EPS/TN/09-002, issue 3.2, `muted` scheme; its grey stands for
missing data. Lines and points: M. Okabe and K. Ito, Color Universal Design, 2008. Sequences: C. Brewer,
ColorBrewer 2.0, YlGnBu and BuPu with five classes, YlOrBr with four (marked colour-blind safe by their author).
Colour never stands alone: the legend, the tooltips and the readout name the same things in words.
"""

from __future__ import annotations

from siteplanner.planning.limits.ruling import TABLE

RULING_COLOURS: dict[str, str] = {limit.code: limit.colour for limit in TABLE}
PASSES_COLOUR = "#44AA99"  # Tol's teal: ground that passes every limit
SPARE_COLOURS = ("#E69F00", "#56B4E9", "#0072B2")
"""Okabe and Ito, for limits that the table above does not know."""

# Okabe and Ito
ORANGE, SKY_BLUE, BLUE = "#E69F00", "#56B4E9", "#0072B2"
DARK_VERMILION, DARK_GREEN = "#B84A00", "#007A59"  # theirs, darkened until lines stand out from the relief

SERVICE_CLASSES: tuple[tuple[float, str, str], ...] = (  # from probability, colour, words; ColorBrewer YlGnBu
    (0.50, "#FFFFCC", "50 to 70 %"),
    (0.70, "#A1DAB4", "70 to 80 %"),
    (0.80, "#41B6C4", "80 to 90 %"),
    (0.90, "#2C7FB8", "90 to 95 %"),
    (0.95, "#253494", "95 % and more"),
)
SERVER_COLOURS = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#D55E00")
"""Okabe and Ito: which trailer of a set serves."""
SLOPE_COLOURS = ("#FFFFD4", "#FED98E", "#FE9929", "#CC4C02")  # ColorBrewer YlOrBr, four classes
SKY_COLOURS = ("#810F7C", "#8856A7", "#8C96C6", "#B3CDE3", "#EDF8FB")  # ColorBrewer BuPu: dark where the sky is shut
SKY_UNKNOWN_COLOUR = RULING_COLOURS["sky_unknown"]  # the same ground in the same colour as where it is ruled out
RELIEF_COLOURS = ("#E4E6DA", "#EDE9DC", "#E6DFD0", "#DAD5CE", "#F2F1EE")  # pale, so that everything stands out

CLASS_OPACITY = 0.62  # of a picture of the ground over the relief
NIGHT_CLASSES, NIGHT_RELIEF = 0.62, 0.30  # brightness that the night view leaves them: own/map.css

INK, PAPER = "#1C2430", "#FBFAF7"  # text and panel by day
NIGHT_INK, NIGHT_PAPER = "#D9CFC0", "#15171B"  # text and panel by night: warm and dim


def ruling_colours(codes: tuple[str, ...] | list[str]) -> dict[str, str]:
    """One colour for each limit, the same for the same limit in every plan."""
    spare = iter(SPARE_COLOURS)
    out = {}
    for code in codes:
        out[code] = RULING_COLOURS[code] if code in RULING_COLOURS else next(spare, "#777777")
    return out


def rgb(colour: str) -> tuple[int, int, int]:
    """`#RRGGBB` as three numbers 0..255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def drawn(colour: str) -> tuple[str, str]:
    """A class's colour as it lies over the relief's mean tint, by day and by night: what a legend must show."""
    tints = [rgb(c) for c in RELIEF_COLOURS]
    ground = [sum(t[k] for t in tints) / len(tints) for k in range(3)]
    day = [CLASS_OPACITY * c + (1 - CLASS_OPACITY) * g for c, g in zip(rgb(colour), ground, strict=True)]
    night = [
        CLASS_OPACITY * NIGHT_CLASSES * c + (1 - CLASS_OPACITY) * NIGHT_RELIEF * g
        for c, g in zip(rgb(colour), ground, strict=True)
    ]
    return hex_of(day), hex_of(night)


def hex_of(parts: list[float]) -> str:
    """Three numbers 0..255 as `#RRGGBB`."""
    return "#" + "".join(f"{round(v):02X}" for v in parts)
