"""Names and grid references as they are read aloud over a radio."""

from __future__ import annotations

import re

# International Telecommunication Union, Radio Regulations, Appendix 14
ALPHABET = {
    word[0]: word for word in (
        "Alfa", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot", "Golf", "Hotel", "India", "Juliett", "Kilo", "Lima",
        "Mike", "November", "Oscar", "Papa", "Quebec", "Romeo", "Sierra", "Tango", "Uniform", "Victor", "Whiskey",
        "X-ray", "Yankee", "Zulu",
    )
}  # fmt: skip


def spelled_name(name: str) -> str:
    """A spot's name aloud: `B` is `Bravo`, `AC` is `Alfa Charlie`; a name that is a word stays as it is."""
    return " ".join(ALPHABET[c] for c in name) if re.fullmatch(r"[A-Z]{1,2}", name) else name


def name_and_spelling(name: str) -> str:
    """`B (Bravo)`, for a paper from which one reads aloud."""
    aloud = spelled_name(name)
    return name if aloud == name else f"{name} ({aloud})"


def spelled_reference(reference: str) -> str:
    """A grid reference aloud, letter by letter and figure by figure: `1 2 Tango, Uniform Quebec, 3 5 0 0 5, ...`."""
    groups = re.fullmatch(r"(\d{1,2}[A-Z])\s*([A-Z]{2})\s*(\d+)", reference.replace(" ", ""))
    if groups is None:
        return reference
    zone, square, figures = groups.groups()
    half = len(figures) // 2
    parts = (zone, square, figures[:half], figures[half:]) if len(figures) % 2 == 0 else (zone, square, figures)
    return ", ".join(" ".join(ALPHABET.get(c, c) for c in part) for part in parts if part)
