"""The line to each satellite in words: its margin with its doubt, and what the elevation does not tell.

"9 in 10": the told figure more or less 1.645 standard deviations, the middle 90 % of a normal distribution.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.core.horizon_error import NINE_IN_TEN
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.telling.units import Units


def margin_text(look: Look, units: Units) -> str:
    """`26.6° ± 0.4°`; the margin alone where its doubt is not known."""
    return figure_with_doubt(look.margin_deg, look.margin_error_deg, units)


def horizon_text(look: Look, units: Units) -> str:
    """`10.0° ± 0.4°`, as `margin_text`."""
    return figure_with_doubt(look.horizon_deg, look.horizon_error_deg, units)


def figure_with_doubt(value: float | None, error: float | None, units: Units) -> str:
    """An angle with its doubt, from one standard deviation of it; None or NaN: not known."""
    text = units.angle(value)
    if value is None or error is None or not (math.isfinite(value) and math.isfinite(error)):
        return text
    doubt = NINE_IN_TEN * error
    # rounded up: a doubt is never told as none
    return f"{text} ± {units.figure(doubt, '°', 1, 'up')}" if doubt > 0 else text


def doubt_words(looks: Sequence[Look]) -> str:
    """What the ± of the margins means; '' where none is told."""
    if not any(math.isfinite(look.margin_deg) and look.margin_error_deg > 0 for look in looks):
        return ""
    return (
        "± holds in 9 cases of 10, from the error of the elevation alone: trees, roofs and banks that it does not show "
        "come on top."
    )


def sky_known_sentences(looks: Sequence[Look], units: Units) -> list[str]:
    """How well the lines to the satellites are known: what the ± means, and where the data end."""
    return [*filter(None, (doubt_words(looks), *known_to_words(looks, units)))]


def unknown_words(look: Look) -> str:
    """Why a line is not known to be clear, within a list: `skyline not known`."""
    return "trees on the way not known" if look.trees_unknown else "skyline not known"


def look_state(look: Look) -> str:
    """Clear or not, in a cell of a table."""
    if look.clear:
        return "clear"
    if look.state == "unknown":
        return "trees not known" if look.trees_unknown else "not known"
    return "too low" if look.too_low else "blocked"


def known_to_words(looks: Sequence[Look], units: Units) -> list[str]:
    """For each line that leaves the elevation before it is sure to pass all ground: where, and what is taken beyond.

    Lines that are clear under the same ceiling are told together.
    """
    out = []
    under: dict[tuple[float, str], list[Look]] = {}
    for look in looks:
        if look.trees_unknown:
            out.append(
                f"Line to {look.satellite_name}: not known to be clear. The surface layer has no data on the way to "
                "it; trees may stand there: look."
            )
        elif math.isfinite(look.known_to_m) and look.state != "blocked":
            if look.clear:
                under.setdefault((look.ceiling_m, look.ceiling_from), []).append(look)
                continue
            out.append(
                f"Line to {look.satellite_name}: not known to be clear. {_ends([look], units)}, where it is still "
                f"below {_ceiling(look, units)}."
            )
    for clear in under.values():
        lines = "Line to" if len(clear) == 1 else "Lines to"
        names = " and to ".join(look.satellite_name for look in clear)
        out.append(
            f"{lines} {names}: clear if no ground beyond is higher than {_ceiling(clear[0], units)}. "
            f"{_ends(clear, units)}."
        )
    return out


def _ceiling(look: Look, units: Units) -> str:
    source = {
        "elevation_files": "the highest ground that the elevation files have",
        "mission": "the highest ground of the region as the mission states it",
    }[look.ceiling_from]
    return f"{units.figure(look.ceiling_m, 'm', 0, 'up')}, {source}"


def _ends(looks: Sequence[Look], units: Units) -> str:
    far = " and ".join(dict.fromkeys(units.distance(look.known_to_m) for look in looks))
    return f"The elevation ends {far} along the {'line' if len(looks) == 1 else 'lines'}"
