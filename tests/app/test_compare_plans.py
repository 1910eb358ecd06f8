"""Two plans of the earlier work compared in the app."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from siteplanner.app import earlier, private
from siteplanner.app.compare_plans import lines_html
from siteplanner.app.labels import Units
from siteplanner.errors import InputError
from siteplanner.planning.plan.compare import compare
from siteplanner.planning.telling.compare import comparison_lines
from tests.outputs.factory import HOSTILE, make_plan


def kept(plan, place):
    files = place / "files"
    files.mkdir(exist_ok=True)
    earlier.keep(plan, plan.mission.parameters(), files, files, "Your own files", "me")


def test_two_kept_plans_are_compared_as_on_the_command_line(tmp_path, monkeypatch):
    """The same record, the same lines; a plan of another version is refused in words."""
    monkeypatch.setenv(private.ASKED, str(tmp_path / "held"))
    plan = make_plan(names=HOSTILE, mission_name="".join(HOSTILE))
    kept(plan, tmp_path)
    weights = plan.mission.weights.model_copy(update={"access": 9.0})
    kept(replace(plan, mission=plan.mission.model_copy(update={"weights": weights})), tmp_path)
    new, old = (earlier.record_of(item) for item in earlier.listed())
    found = compare(old, new)
    assert [(p.path, p.new) for p in found.parameters] == [("weights.access", 9.0)]
    assert comparison_lines(found)[1].startswith("Settings: weights.access 2 -> 9")
    page = lines_html(found, Units())
    assert "<script" not in page
    assert page.count("<li>") == len(comparison_lines(found))
    for item in earlier.listed():
        file = item.folder / "plan.json"
        file.write_text(json.dumps({**json.loads(file.read_text("utf-8")), "format": 99}), "utf-8")
        with pytest.raises(InputError, match="another version"):
            earlier.record_of(item)
