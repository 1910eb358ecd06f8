"""The answer on top of the page: what to do, a row of figures, the worst of it, the runner-up; the reasons apart."""

from __future__ import annotations

from siteplanner.app import coordinates
from siteplanner.app.labels import Units
from siteplanner.outputs.words.text import named, shown
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.answer import figure_row, runner_words, worst_words
from siteplanner.planning.telling.words import firmness_sentence, head_words, recommend, risk_words, why_words


def answer(plan: Plan, units: Units) -> str:
    """What to do, in figures; the worst of it before anything that speaks for it."""
    told = recommend(plan)
    if told.best is None:
        return (
            f'<div class="sp-answer none"><p class="over">{named(plan.mission.name)}</p>'
            f'<p class="say">{named(head_words(told, units))}</p></div>'
        )
    spot = told.best.spot
    where = f"<span>{shown(coordinates.written(spot.latitude, spot.longitude, units.place))}</span>"
    row = "".join(f"<div><b>{named(figure)}</b>{named(of)}</div>" for figure, of in figure_row(told.best, units))
    out, second = worst_words(plan, told.best, units), runner_words(plan, told.best, units)
    return (
        f'<div class="sp-answer"><p class="over">{named(plan.mission.name)}</p>'
        f'<p class="say">{named(head_words(told, units))} {where}</p>'
        f'<div class="sp-tiles">{row}</div>'
        + (f'<p class="watch">{named(out)}</p>' if out else "")
        + (f'<p class="firm">{named(second)}</p>' if second else "")
        + "</div>"
    )


def reasons(plan: Plan, units: Units) -> str:
    """Why there, what else to watch out for, how firm the first place is."""
    told = recommend(plan)
    risks = risk_words(told.risks)
    texts = (why_words(told, units), risks, firmness_sentence(plan, units))
    return "".join(f'<p class="sp-over">{named(text)}</p>' for text in texts if text)
