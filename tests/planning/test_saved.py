"""A saved plan comes back whole: same record, same ranking under other weights, same judgement of any point."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from siteplanner import explain
from siteplanner.errors import InputError
from siteplanner.mission import Weights
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.plan.saved import FORMAT, decoded, encoded
from siteplanner.planning.telling.record import plan_record


@pytest.fixture(scope="module")
def saved(valley_plan):
    return encoded(valley_plan)


@pytest.fixture(scope="module")
def back(saved):
    return decoded(*saved)


def test_the_record_is_the_same_to_the_last_digit(valley_plan, back):
    assert json.dumps(plan_record(back)) == json.dumps(plan_record(valley_plan))


def test_it_can_be_asked_and_ranked_again(valley_plan, back):
    weights = Weights(coverage=1, access=9)
    one, two = rescore(valley_plan, weights), rescore(back, weights)
    assert json.dumps(plan_record(one)) == json.dumps(plan_record(two))
    place = valley_plan.rejected[0].spot
    one, two = (explain(p, place.latitude + 0.001, place.longitude) for p in (valley_plan, back))
    assert one.evaluation.sky == two.evaluation.sky
    assert one.evaluation.failed == two.evaluation.failed
    assert one.evaluation.coverage.share == two.evaluation.coverage.share


def test_no_object_hides_in_the_arrays_and_shared_parts_are_written_once(valley_plan, saved, back):
    _, arrays = saved
    assert all(a.dtype != object for a in arrays.values())
    assert sum(a is valley_plan.scene.elevation.values for a in arrays.values()) == 1
    assert back.judge.study.elevation is back.scene.elevation
    assert back.judge.study.network is back.scene.roads
    assert valley_plan.kept.results
    assert not back.kept.results
    assert not back.reused
    np.testing.assert_array_equal(back.scene.ruling.values, valley_plan.scene.ruling.values)


@pytest.mark.parametrize(
    "bad",
    [
        '{"dataclass": "os:system", "fields": {}}',
        '{"dataclass": "siteplanner.app.serve:serve", "fields": {}}',
        '{"dataclass": "siteplanner.planning.plan.model:replace", "fields": {}}',
        '{"array": "a0"}',
        '{"odd": 1}',
        "[]",
        "7",
        '{"model": "siteplanner.mission.parameters:Path", "base": "", "value": {}}',
        '{"ref": 5}',
    ],
)
def test_a_file_made_to_do_harm_or_damaged_is_refused(bad):
    text = json.dumps({"format": FORMAT, "version": "x", "parts": [], "root": json.loads(bad)})
    with pytest.raises(InputError, match=r"cannot be read|not a saved plan"):
        decoded(text, {})


def test_another_format_and_what_cannot_be_written_are_said(valley_plan):
    with pytest.raises(InputError, match="another version"):
        decoded('{"format": 99, "parts": [], "root": null}', {})
    with pytest.raises(InputError, match="cannot be read"):
        decoded("{", {})
    with pytest.raises(TypeError, match="object cannot be saved"):
        encoded(replace(valley_plan, firmness=object()))


def test_severities_of_plans_saved_before_are_read_as_they_were_meant(valley_plan, saved):
    text, arrays = saved
    head = json.loads(text)
    old = {"warning": "caution", "check": "warning", "notice": "caution", "unknown": "caution", "note": "note"}
    for part in head["parts"]:
        if isinstance(part, dict) and "severity" in part.get("fields", {}):
            part["fields"]["severity"] = old[part["fields"]["severity"]]
    back = decoded(json.dumps({**head, "format": 4}), arrays)
    meant = {"notice": "warning", "unknown": "warning"}
    for now, then in zip(valley_plan.spots, back.spots, strict=True):
        assert [f.severity for f in then.evaluation.findings] == [
            meant.get(f.severity, f.severity) for f in now.evaluation.findings
        ]
    assert {f.severity for f in back.findings} <= {"warning", "check", "note"}
    assert any(f.severity == "check" for f in (*valley_plan.findings, *valley_plan.spots[0].evaluation.findings))
