"""A trailer that stands, beside the map: whether a limit is broken, then row by row against its plan."""

from __future__ import annotations

from siteplanner.outputs.words.text import named, shown
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.as_built import broken_sentences, limits_sentence
from siteplanner.planning.telling.as_built_rows import COLUMNS, as_built_rows, turn_sectors_words
from siteplanner.planning.telling.units import reader_units


def as_built_html(plan: Plan) -> str:
    """The section of the saved page; nothing before a trailer stands."""
    made = plan.as_built
    if made is None:
        return ""
    units = reader_units(plan.mission).first
    broken = "".join(f'<li class="sp-warning">{named(text)}</li>' for text in broken_sentences(made, units))
    head = "".join(f"<th>{shown(cell)}</th>" for cell in COLUMNS)
    rows = "".join(
        "<tr>" + "".join(f"<td>{named(cell)}</td>" for cell in row) + "</tr>"
        for row in as_built_rows(made, plan.spots[0].evaluation, units)
    )
    turn = turn_sectors_words(made, units)
    return (
        f'<section class="sp-notes"><h2>As built against the plan</h2><p>{named(limits_sentence(made, units))}</p>'
        + (f"<ul>{broken}</ul>" if broken else "")
        + (f"<p>{named(turn)}</p>" if turn else "")
        + f"<details><summary>Row by row</summary><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
        "</details></section>"
    )
