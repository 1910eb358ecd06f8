"""A saved plan's ground, read and ruled again from where its layers lie, so that any place can be judged by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from siteplanner.data.records import InputRecord
from siteplanner.errors import Finding, InputError
from siteplanner.planning.limits.cells import rule_ground
from siteplanner.planning.plan.detail import forecast_of
from siteplanner.planning.plan.mission_place import mission_of_record
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages


@dataclass(frozen=True, eq=False)
class Again:
    """What the places of a saved plan are judged by. `findings`: of its layers and sky, those of `changed` not among
    them: layers that are no longer what the plan was made from."""

    judge: Judge
    inputs: tuple[InputRecord, ...]
    findings: tuple[Finding, ...]
    changed: tuple[Finding, ...]


def judged_again(
    record: Mapping[str, Any], file: Path, layers_in: Path | None, samples: Sequence[Path], stages: Stages
) -> Again:
    """Raises InputError for a record that is not a plan's or a layer that is gone."""
    try:
        mission = mission_of_record(record, file, layers_in, samples)
        known = {i["file"]: i["sha256"] for i in record["inputs"]}
        lifted = any(f.get("code") == "required_unmet" for f in record["findings"])
    except InputError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError):
        raise InputError(
            "This is not a plan written by siteplanner.", remedy="Give the plan.json of a run.", file=file
        ) from None
    forecast, forecast_records = forecast_of(mission)
    study = load_study(mission, stages)
    ruling, way, sky_findings = rule_ground(study, stages)
    inputs = (*study.inputs, *forecast_records)
    changed = tuple(
        Finding("input_changed", "check", file=i.file) for i in inputs if known.get(i.file, i.sha256) != i.sha256
    )
    judge = Judge(study, ruling, way, forecast=forecast, required_holds=not lifted)
    return Again(judge, inputs, (*study.findings, *sky_findings), changed)
