"""What the tool says when something is wrong: errors that stop the work, findings that do not.

Every message names what is wrong, where (file, field) and the remedy, because the reader is often tired,
offline and unable to ask anyone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, Self

Severity = Literal["warning", "notice", "check", "unknown", "note"]
SEVERITIES: tuple[Severity, ...] = ("warning", "notice", "check", "unknown", "note")
"""The gravest first: people, the unit, the plan, what the data leave open, what was mended."""


class SiteplannerError(Exception):
    """Root of all errors raised on purpose. `what`, `file`, `field` and `remedy` are attributes."""

    def __init__(self, what: str, *, remedy: str, file: str | Path | None = None, field: str | None = None) -> None:
        self.what = what
        self.remedy = remedy
        self.file = str(file) if file is not None else None
        self.field = field
        super().__init__(str(self))

    def __str__(self) -> str:
        where = [part for part in (self.file, f"field {self.field}" if self.field else None) if part]
        place = f"{', '.join(where)}: " if where else ""
        return f"{place}{self.what} Remedy: {self.remedy}"

    def placed(self, *, what: str | None = None, file: str | Path | None = None, field: str | None = None) -> Self:
        """The same error with what is known by whoever passes it on; what is not given stays."""
        made = copy(self)
        made.what = self.what if what is None else what
        made.file = self.file if file is None else str(file)
        made.field = self.field if field is None else field
        made.args = (str(made),)
        return made

    def __reduce__(self):  # the keyword-only arguments must survive a trip between processes
        return (_rebuild, (type(self), self.what, self.remedy, self.file, self.field))


def _rebuild(kind, what, remedy, file, field):
    return kind(what, remedy=remedy, file=file, field=field)


class InputError(SiteplannerError, ValueError):
    """The mission or a layer cannot be used as it is."""


class SeveralLayers(InputError):
    """Several layers of a file fit, one must be named; `layers` are their names."""

    def __init__(self, what: str, *, layers: Iterable[str] = (), **kw: Any) -> None:
        super().__init__(what, **kw)
        self.layers = tuple(layers)

    def __reduce__(self):
        return (*super().__reduce__(), {"layers": self.layers})


class OutputError(SiteplannerError, OSError):
    """A result could not be written."""


class Cancelled(SiteplannerError):
    """The user stopped the run; nothing was written. `kept` is what the next run may take over."""

    kept: Any = None

    def __init__(self, what: str = "The run was canceled.", *, remedy: str = "Start it again.", **kw: Any) -> None:
        super().__init__(what, remedy=remedy, **kw)


@dataclass(frozen=True)
class Finding:
    """Something the user must know that does not stop the run.

    `code` is a stable short name (`elevation_in_feet`), `severity` is `warning` (can kill or hurt
    someone), `notice` (can harm the unit), `check` (may make the plan wrong), `unknown` (the data or the mission leave
    it open) or `note` (was mended, or is worth knowing). `facts` are its figures (SI, units in their names) and names;
    `planning.telling.findings` says them, `planning.telling.signal_words` has the word that stands before them.
    """

    code: str
    severity: Severity
    file: str | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)

    def __hash__(self) -> int:
        return hash((self.code, self.severity, self.file))
