"""What rules a spot out, as the reader gets it."""

from __future__ import annotations

from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.limits import breach_words


def reasons_of(evaluation: Evaluation) -> dict[str, str]:
    """Limit code -> sentence."""
    return {breach.code: breach_words(breach) for breach in evaluation.failed}
