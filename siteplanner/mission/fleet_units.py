"""The units of a mission filled from its fleet file."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from siteplanner.errors import InputError
from siteplanner.mission.fleet import FleetUnit, load_fleet
from siteplanner.mission.readiness import cannot_go
from siteplanner.mission.units import OWN_TABLES


def with_fleet(data: dict[str, Any], base: Path, file: str) -> dict[str, Any]:
    """Mission data whose units are filled from its fleet file; as they are without one.

    Units that the mission names by the fleet's names take what the fleet says and change it by their own tables; where
    it names none, all that can go are taken. Raises InputError for a fleet file outside the mission's folder.
    """
    name = data.get("fleet")
    if not isinstance(name, str) or not name:
        return data
    place = Path(os.path.realpath(base / name))
    if Path(os.path.realpath(base)) not in place.parents:
        raise InputError(
            "The fleet file must lie in the mission's folder.", remedy="Copy it there.", file=file, field="fleet"
        )
    fleet = load_fleet(place)
    known = {unit.name: unit for unit in fleet.units}
    given = data.get("units") or []
    given = [given] if isinstance(given, Mapping) else given
    if not isinstance(given, list) or not all(isinstance(unit, Mapping) for unit in given):
        return data  # the checks of the fields say what is wrong with it
    notes: list[list[str]] = []
    if not given:
        given = [{"name": unit.name} for unit in fleet.units if not cannot_go(unit)]
        notes = [["left_out", unit.name] for unit in fleet.units if cannot_go(unit)]
    else:
        notes = [["cannot_go", u["name"]] for u in given if u.get("name") in known and cannot_go(known[u["name"]])]
    if not given:
        raise InputError(
            "No unit of the fleet can go.", remedy="`siteplanner ready` says why.", file=str(place), field="units"
        )
    filled = [_filled(unit, known[unit["name"]]) if unit.get("name") in known else dict(unit) for unit in given]
    return {**data, "fleet": place.name, "units": filled, "fleet_notes": notes}


def _filled(given: Mapping[str, Any], unit: FleetUnit) -> dict[str, Any]:
    """A unit of a mission: the fleet's tables, the weight from the scale, and on top what the mission says."""
    own: dict[str, dict[str, Any]] = {name: dict(getattr(unit, name)) for name in OWN_TABLES}
    if unit.weighed is not None:
        own["rig"].setdefault("mass_kg", unit.weighed.rig_kg)
    out: dict[str, Any] = {"name": unit.name, **({"staging": unit.staging} if unit.staging else {})}
    out |= {k: v for k, v in given.items() if k not in OWN_TABLES}
    for name, table in own.items():
        more = given.get(name)
        whole = {**table, **more} if isinstance(more, Mapping) else table
        if whole:
            out[name] = whole
    return out
