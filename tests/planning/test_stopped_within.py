"""A run that is stopped while it works over the whole ground ends within one block of it; nothing half done is kept."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np
import pytest

from siteplanner.core import flow as flow_module
from siteplanner.core import likely_ground as likely_module
from siteplanner.errors import Cancelled
from siteplanner.planning.limits import ruling
from siteplanner.planning.limits.cells import rule_ground
from siteplanner.planning.study import slope as slope_module
from siteplanner.planning.study.progress import Stages

BLOCKS = 4  # done before the stop


@pytest.fixture
def study(valley_plan):
    """The valley's, without what was worked out of it; blocks are small."""
    return replace(valley_plan.judge.study)


def stopping():
    """A tick that stops before the block after so many."""
    told = []

    def tick(share):
        told.append(share)
        if len(told) > BLOCKS:
            raise Cancelled

    return tick, told


class Read(np.ndarray):
    """An array that notes each part of it that is read."""

    seen: ClassVar[list] = []

    def __getitem__(self, part):
        self.seen.append(part)
        return super().__getitem__(part)


def test_the_likely_ground_stops_before_the_next_tile(study, monkeypatch):
    done, real = [], likely_module._parts
    monkeypatch.setattr(likely_module, "_TILE_CELLS", 32)
    monkeypatch.setattr(likely_module, "_parts", lambda *given: done.append(1) or real(*given))
    tick, told = stopping()
    with pytest.raises(Cancelled):
        study.work_out_likely(tick)
    assert len(done) == BLOCKS
    assert told == sorted(told)
    assert "likely" not in vars(study)
    assert study.likely.parts.any()  # and is made anew, whole


def test_flow_stops_before_the_next_band(study, monkeypatch):
    monkeypatch.setattr(flow_module, "_BAND_ROWS", 8)
    heights = study.elevation.values.view(Read)
    Read.seen.clear()
    tick, told = stopping()
    with pytest.raises(Cancelled):
        flow_module.flow(heights, 10.0, max_cells=heights.size // 9, tick=tick)
    assert len([part for part in Read.seen if isinstance(part, slice)]) == BLOCKS
    assert told == sorted(told)


@pytest.mark.parametrize("stage", ["Measuring slope", "Tracing where water runs"])
def test_the_ruling_is_stopped_within_slope_and_water(study, monkeypatch, stage):
    """Each hears of a stop in its midst, not only before and after it."""
    monkeypatch.setattr(ruling, "BAND_ROWS", 16)
    sloped, told, real = [], [], slope_module.slope_part_deg
    monkeypatch.setattr(slope_module, "slope_part_deg", lambda *given: sloped.append(1) or real(*given))

    def progress(now, share):
        if now == stage:
            told.append(share)
            if len(told) == 3:  # the first tells that the stage has begun
                raise Cancelled

    with pytest.raises(Cancelled):
        rule_ground(study, Stages(progress))
    assert len(told) == 3
    assert told[2] > told[0]
    assert "flow" not in vars(study)
    if stage == "Measuring slope":
        assert len(sloped) == 1
