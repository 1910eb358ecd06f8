"""The units of a call-out: several trailers, each with its own place and time of start, and what differs of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import AwareDatetime, Field

from siteplanner.mission.links import Radio, Sky
from siteplanner.mission.parts import Part
from siteplanner.mission.trailer import Rig, Trailer

OWN_TABLES = ("trailer", "radio", "sky", "rig")


class Unit(Part):
    """One trailer with its tow vehicle and crew. A field that its tables leave out is the mission's own."""

    name: str = Field(min_length=1, description="As it is called: on sheets, map and radio.")
    staging: str = Field(
        "", description="Name of the staging point where its rig waits; empty: the one whose rig arrives first."
    )
    ready_from: AwareDatetime | None = Field(
        None,
        description="When rig and crew are ready to hitch up, with its offset; needs times.dispatch. None: at "
        "dispatch.",
    )
    trailer: Trailer | None = Field(None, description="What differs of its trailer; the rest as [trailer].")
    radio: Radio | None = Field(None, description="What differs of its radio; the rest as [radio].")
    sky: Sky | None = Field(None, description="What differs of its dish and satellites; the rest as [sky].")
    rig: Rig | None = Field(None, description="What differs of its tow vehicle; the rest as [rig].")


def with_own_tables(data: Any) -> Any:
    """Mission data in which each unit's tables hold the mission's own fields where the unit gives none.

    Data of another shape is left as it is: the checks of the fields tell what is wrong with it.
    """
    given = data.get("units") if isinstance(data, Mapping) else None
    if isinstance(given, Mapping):
        given = [given]  # one table where several may stand is a list of one
    if not isinstance(given, Sequence) or isinstance(given, str):
        return data
    filled = []
    for unit in given:
        if isinstance(unit, Mapping):
            own = {n: unit[n] for n in OWN_TABLES if isinstance(unit.get(n), Mapping)}
            whole = {n: data[n] for n in own if isinstance(data.get(n), Mapping)}
            unit = {**unit, **{n: {**whole.get(n, {}), **table} for n, table in own.items()}}
        filled.append(unit)
    return {**data, "units": filled}


def check_units(units: Sequence[Unit], starts: Mapping[str, bool], dispatch: Any) -> None:
    """Raises ValueError for units of one name, a staging point that is none or has no rig, a time without dispatch.

    `starts`: staging points by name, whether a rig is there; empty where they are not read yet.
    """
    names = [unit.name for unit in units]
    if len(set(names)) < len(names):
        raise ValueError("units need different names")
    for number, unit in enumerate(units, 1):
        if unit.ready_from is not None and dispatch is None:
            raise ValueError(f"units[{number}].ready_from needs times.dispatch, so that both are times of one clock")
        if not unit.staging or not starts:
            continue
        if unit.staging not in starts:
            known = ", ".join(starts)
            raise ValueError(
                f"units[{number}].staging is {unit.staging!r}, which is no staging point; there is {known}"
            )
        if not starts[unit.staging]:
            raise ValueError(f"units[{number}].staging is {unit.staging!r}, where rig_available is false")
