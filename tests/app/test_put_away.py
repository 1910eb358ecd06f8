"""Memory is for those who look: a plan that nobody looks at waits on the disk and comes back as it was left."""

from __future__ import annotations

import gc
import json
import shutil
import weakref
from dataclasses import replace
from types import SimpleNamespace

import pytest

from siteplanner.app import earlier, earlier_work, private, session
from siteplanner.app.brought_back import is_back
from siteplanner.app.running import Run
from siteplanner.app.weighing import weigh
from siteplanner.errors import InputError
from siteplanner.planning.telling.record import plan_record
from tests.outputs.factory import make_plan


@pytest.fixture
def held(tmp_path, monkeypatch):
    """Makes closed pieces of work with their plans kept on the disk."""
    monkeypatch.setenv(private.ASKED, str(tmp_path / "held"))
    monkeypatch.setattr(session, "_HELD", {})
    monkeypatch.setattr(earlier_work, "watch", lambda run: None)
    gone = [0.0]
    real = session.time.monotonic
    monkeypatch.setattr(session.time, "monotonic", lambda: real() + gone[0])

    def make():
        gone[0] += 1.0
        plan = make_plan()
        work = session.work_of(None)
        work.open(plan.mission.parameters(), tmp_path, "Sample")
        work.take(plan)
        work.kept_at = earlier.keep(plan, work.draft, tmp_path, tmp_path, "Sample", earlier.owner_of(work.token))
        return work

    make.later = lambda seconds: gone.__setitem__(0, gone[0] + seconds)
    return make


def test_only_the_latest_closed_plans_stay_in_memory_and_the_others_come_back_as_they_were_left(held):
    works = [held() for _ in range(session.MAX_FULL + 2)]
    first = works[0]
    told = json.dumps(plan_record(first.plan))
    first.memory["weights"] = first.plan.mission.weights.model_dump()
    weigh(first, {"coverage": 0.0})
    first.chosen = session.spot_key(first.plan.spots[2])
    scores = [r.score for r in first.plan.spots]
    plans = [weakref.ref(w.planned) for w in works]
    session.work_of(None)
    assert all(w.plan is not None for w in works)  # a page that is loaded again soon finds everything
    held.later(session.EMPTY_S + 5)
    session.work_of(None)
    gc.collect()
    assert [p() is None for p in plans] == [True, True, False, False, False]

    back = session.work_of(first.token)
    assert back is first
    assert not is_back(back)
    back.opening.wait(60)
    assert is_back(back)
    assert json.dumps(plan_record(back.planned)) == told
    assert [r.score for r in back.plan.spots] == pytest.approx(scores)
    assert back.chosen == session.spot_key(back.spot())
    assert back.memory["weights"]["coverage"] == 0.0
    assert back.away is None
    assert back.opening is None
    assert is_back(back)


def test_a_plan_whose_page_was_closed_during_the_run_goes_to_the_disk_too(held):
    work = held()
    plan, where = work.plan, work.kept_at
    work.open(dict(work.draft), work.base, "Again")
    work.run = Run(plan.mission, lambda mission, progress: plan).start()
    work.run.wait(60)
    work.kept_at = where
    newest = [held() for _ in range(session.MAX_FULL)]
    held.later(session.EMPTY_S + 5)
    session.work_of(None)
    assert work.away is not None
    assert work.run is None
    assert all(w.plan is not None for w in newest)


def test_what_the_disk_does_not_hold_stays_in_memory(held):
    looked_at, unkept, required, changed = (held() for _ in range(4))
    looked_at.pages.add("open")
    unkept.kept_at = None
    required.plan = replace(required.plan, points=(SimpleNamespace(name="Landing", required=True),))
    changed.again = SimpleNamespace(state="done")
    newest = [held() for _ in range(session.MAX_FULL)]
    held.later(session.EMPTY_S + 5)
    session.work_of(None, {"open"}.__contains__)
    assert all(work.plan is not None for work in (looked_at, unkept, required, changed, *newest))


def test_a_plan_that_has_gone_from_the_disk_is_said(held):
    work = held()
    assert session.put_away(work)
    shutil.rmtree(work.away.folder)
    with pytest.raises(InputError, match="no longer kept"):
        is_back(work)
    assert is_back(work)
    assert work.draft is not None  # its mission is in hand still


def test_another_mission_or_run_does_not_wait_for_the_plan_before(held):
    work = held()
    assert session.put_away(work)
    work.open(dict(work.draft), work.base, "Another")
    assert work.away is None
