"""The guide: pages of plain text that travel inside the package, so that they can be read with no network."""

from __future__ import annotations

import re
from pathlib import Path

from siteplanner.errors import InputError

PAGES: dict[str, str] = {
    "start": "From nothing to a plan of your own",
    "data": "Where layers may come from",
    "laptop": "Getting a laptop ready before it goes offline",
    "roads": "Road rules: what rules a road out, what is reported",
    "limits": "Limits and criteria",
    "backhauls": "Satellite, open sky, donor link",
    "leave": "Whom to ask first: owners, who flies, who sends, the license",
    "trailers": "Several trailers",
    "atlas": "A region judged before the call comes",
    "outputs": "What the files are",
    "sheets": "How to read the sheets",
    "arrived": "After arrival: what was built against what was planned",
    "handover": "While it runs: log, next shift, stay or move",
    "readings": "Readings of the signal, once the trailer is on air",
    "ready": "The fleet: which unit can go",
    "methods": "Methods and sources",
    "unknown": "What the tool does not know",
}
"""Page -> its title, in the order in which a newcomer needs them."""
_LINK = re.compile(r"\[([^\]]+)\]\(([a-z]+)\.md\)")


def page(name: str) -> str:
    """A page as Markdown. Raises InputError for a name that is none."""
    if name not in PAGES:
        raise InputError(
            f"The guide has no page {name[:40]!r}.", remedy=f"Name one of {', '.join(PAGES)}.", field="PAGE"
        )
    return (Path(__file__).parent / f"{name}.md").read_text(encoding="utf-8")


def without_links(text: str) -> str:
    """The page with its links to other pages as their names, for a reader that cannot follow them."""
    return _LINK.sub(r"\1 (page `\2`)", text)
