"""What the tables of a mission share: frozen, unknown fields refused; one of a kind may stand for a list of one."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


class Part(BaseModel):
    """A table of the mission file."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True, allow_inf_nan=False)


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _figures(value: Any) -> Any:
    return [value] if isinstance(value, (int, float)) and not isinstance(value, bool) else value


OneOrMore = BeforeValidator(_listed)
"""One text where a list is meant is a list of one."""
OneOrMoreFigures = BeforeValidator(_figures)
"""One figure where a list is meant is a list of one."""
MOST_FILES = 5_000  # tiles of a large mosaic
Paths = Annotated[tuple[str, ...], OneOrMore, Field(max_length=MOST_FILES)]
