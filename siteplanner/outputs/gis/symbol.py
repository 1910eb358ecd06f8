"""What a layer looks like in a GIS, before it is written down in any program's way."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Style:
    """One symbol for a layer, or one a value of a column. `kind`: point, line, polygon; `fill` '' for an outline.

    `classes` are (value, label, colour) of the column `by`; the colour replaces the line's or the filling's.
    """

    kind: str
    colour: str
    width_px: float
    fill: str = ""
    opacity: float = 1.0
    dashed: bool = False
    by: str = ""
    classes: tuple[tuple[str, str, str], ...] = ()
    boolean: bool = False  # the column holds yes and no: 1 and 0

    def coloured(self, colour: str) -> Style:
        return replace(self, colour=colour, by="") if self.kind == "line" else replace(self, fill=colour, by="")
