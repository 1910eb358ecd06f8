"""What readings have told before a mission is changed: it holds for the same cell, so the changed mission keeps it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.mission.links import Radio
from siteplanner.planning.choose.shared_errors import OF_THE_SIGNAL
from siteplanner.planning.plan.records import list_of, of

OF_READINGS = ("measured_offset_db", "model_sigma_db", "location_sigma_db", "measured_files")


def with_readings(record: Mapping[str, Any], mission: Mission, file: str | Path) -> tuple[Mission, int]:
    """(the mission with what the readings of a plan.json said of the signal, how many files of readings it took over).

    A mission that has those readings in it already is left as it is. Raises InputError: the record's figures are none.
    """
    radio = of(record, "mission", "radio")
    counted = [f for f in list_of(of(radio, "measured_files")) if isinstance(f, str)]
    new = [f for f in counted if f not in mission.radio.measured_files]
    if not new:
        return mission, 0
    more = {name: of(radio, name) for name in OF_READINGS}
    try:
        changed = {"radio": _with(mission.radio, more)}
        told = of(record, "mission", "doubts") or {}
        narrowed = {name: of(told, name) for name in OF_THE_SIGNAL if name in told}  # an older plan had fewer
        doubts = type(mission.doubts).model_validate({**mission.doubts.model_dump(), **narrowed})
        units = tuple(u if u.radio is None else u.model_copy(update={"radio": _with(u.radio, more)})
                      for u in mission.units)  # fmt: skip
    except ValidationError:
        raise InputError(
            "What the readings said of the signal cannot be read from this plan.",
            remedy="Run `siteplanner measured` again, and name the plan.json that it writes.",
            file=file,
            field="mission.radio",
        ) from None
    return mission.model_copy(update={**changed, "doubts": doubts, "units": units}), len(new)


def _with(radio: Radio, more: Mapping[str, Any]) -> Radio:
    return Radio.model_validate({**radio.model_dump(), **more})
