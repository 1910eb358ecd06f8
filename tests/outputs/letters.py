"""How small the letters of a printed page are, as they come out on paper."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any


def least_letter_pt(pages: Iterable[Any]) -> float:
    """The smallest size of a letter on pages of `pypdf`, in points, drawings included.

    A letter's size is what its font is set to, times what the text's matrix and the page's make of its height
    (ISO 32000-1, section 9.4.4).
    """
    least = math.inf

    def seen(text: str, cm: list[float], tm: list[float], font: Any, size: float) -> None:
        nonlocal least
        if text.strip():
            least = min(least, abs(size) * math.hypot(tm[2], tm[3]) * math.hypot(cm[2], cm[3]))

    for page in pages:
        page.extract_text(visitor_text=seen)
    return least
