"""The log in the app: what is typed is written with the plan, what is wrong is refused and nothing is lost."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from siteplanner.app.log_panel import log_at
from siteplanner.app.session import Work
from siteplanner.mission.log import read_log


@pytest.fixture
def page(tmp_path):
    def script():
        from pathlib import Path

        import streamlit as st

        from siteplanner.app.frame import part
        from siteplanner.app.log_panel import log_panel
        from siteplanner.app.session import Work
        from siteplanner.planning.telling.units import METRIC

        work = st.session_state.setdefault("work_in_hand", Work("token"))
        work.kept_at = Path(st.session_state["kept_at"])
        part(log_panel, work, METRIC)

    at = AppTest.from_function(script)
    at.session_state["kept_at"] = str(tmp_path)
    return at.run(timeout=60)


def test_an_entry_is_written_with_the_plan_and_shown(page, tmp_path):
    page.text_input[0].input("R. Diaz")
    page.text_area[0].input("Stay; <b>not</b> **bold**")
    page.text_input[2].input("60")
    page.button[0].click().run(timeout=60)
    assert not page.exception
    ((number, entry),) = read_log(tmp_path).entries
    assert (number, entry.who, entry.fuel_pct) == (1, "R. Diaz", 60.0)
    assert any("Stay; <b>not</b> **bold**" in t.value for t in page.text)


def test_what_is_wrong_is_refused(page, tmp_path):
    page.text_input[2].input("full")
    page.text_area[0].input("Gauge")
    page.button[0].click().run(timeout=60)
    assert not page.exception
    assert any("not a number" in told.value for told in page.error)
    assert not read_log(tmp_path).lines


def test_a_plan_that_is_not_kept_has_its_log_in_the_work(tmp_path):
    work = Work("token")
    assert str(log_at(work)) == work.folder.name
    work.kept_at = tmp_path
    assert log_at(work) == tmp_path
