"""A mission answered from an atlas in the app: words for a wrong folder, the same answer as the command, weights that
move it, and the exact pass of what is listed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from shapely.geometry import LineString, Point, box
from streamlit.testing.v1 import AppTest

from siteplanner import load_mission
from siteplanner.app import atlas_answer, session
from siteplanner.mission import Weights
from siteplanner.planning.atlas.answer import open_atlas, quick_answer
from siteplanner.planning.atlas.build import build_atlas
from siteplanner.planning.atlas.folder import HEAD
from tests.atlas.scene import save, write_day, write_region
from tests.outputs.factory import HOSTILE
from tests.planning.conftest import at

HOSTILE_POINT = f"camp {HOSTILE[0]} <img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def atlas(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("region")
    build_atlas(write_region(folder), folder / "atlas", workers=1)
    return folder / "atlas"


@pytest.fixture(scope="module")
def day(tmp_path_factory) -> Path:
    """A mission whose named point has a hostile name, and whose overhead line is not the atlas's."""
    mission = write_day(tmp_path_factory.mktemp("day"))
    save(mission.parent / "points.gpkg", [Point(at(1800, 1500))], name=[HOSTILE_POINT])
    save(mission.parent / "lines.gpkg", [LineString([at(100, 1000), at(1300, 1000)])], voltage_kv=[33])
    return mission


def work_on(mission: Path) -> session.Work:
    work, loaded = session.Work("token"), load_mission(mission)
    work.open(loaded.draft(), loaded.base, "a mission")
    return work


def asked(mission: Path, atlas: Path) -> session.Work:
    work = work_on(mission)
    atlas_answer.begin(work, load_mission(mission), atlas)
    work.atlas.run.wait(120)
    return work


def drawn(work: session.Work, module: str) -> AppTest:
    def page_of(work, module):
        from importlib import import_module

        import streamlit as st

        from siteplanner.app import frame, run, start

        st.session_state[frame.WORK] = work
        st.session_state[frame.PAGES] = {
            "start": st.Page(start.page, title="Start"), "run": st.Page(run.page, title="Run"),
        }  # fmt: skip
        module = import_module(f"siteplanner.app.{module}")
        module.expander(work) if hasattr(module, "expander") else module.page()

    return AppTest.from_function(page_of, args=(work, module)).run(timeout=60)


def html_of(app: AppTest) -> str:
    return " ".join(str(h.proto.body) for h in app.get("html"))


def test_a_folder_that_holds_no_whole_atlas_is_told_at_its_button(day, atlas, tmp_path):
    half = tmp_path / "half"
    (half / "tiles").mkdir(parents=True)
    forged = tmp_path / "forged"
    forged.mkdir()
    head = json.loads((atlas / HEAD).read_text())
    (forged / HEAD).write_text(json.dumps({**head, "tiles": {"../../etc": "x"}}))
    app = drawn(work_on(day), "atlas_choice")
    for folder, words in (
        ("", "No folder is named"),
        (str(tmp_path / "nowhere"), "There is no such folder"),
        ("~nobody-of-that-name/atlas", "There is no such folder"),
        ("x" * 5000, "There is no such folder"),
        (str(day.parent), "There is no atlas in this folder"),
        (str(day), "There is no atlas in this folder"),
        (str(half), "The atlas is not finished"),
        (str(forged), "it is damaged"),
    ):
        app.text_input[0].input(folder).run()
        app.button[0].click().run()
        assert [words in e.value and "What to do" in e.value for e in app.error] == [True], (folder[:80], app.error)
        assert not app.exception


def test_the_app_s_answer_is_the_command_s_and_names_stay_text(day, atlas):
    work = asked(day, atlas)
    app = drawn(work, "run")
    assert not app.exception
    assert "Judge the listed spots exactly" in [b.label for b in app.button]
    theirs = quick_answer(open_atlas(atlas), load_mission(day))
    shown = work.atlas.shown
    assert [(r.spot.key, r.score) for r in shown.ranked] == [(r.spot.key, r.score) for r in theirs.ranked]
    page = html_of(app)
    assert "<img" not in page
    assert page.count("<tr>") == 1 + min(len(theirs.ranked), theirs.mission.search.listed_spots)
    assert "Best 2 together" in page
    assert "This atlas was built from other files than the mission names: power lines." in page


def test_weights_move_the_answer_and_what_it_lists_is_judged_exactly_under_its_names(day, atlas):
    work = asked(day, atlas)
    drawn(work, "run")
    before = work.atlas.shown
    work.atlas.weigh({"coverage": 0, "must_serve": 0, "backhaul": 0, "ground": 0, "access": 0})
    assert work.atlas.shown is before  # nothing is said by that
    work.atlas.weigh({"access": 1})
    moved = work.atlas.shown
    drives = [r.evaluation.access.drive_time_s for r in moved.ranked]
    assert drives == sorted(drives)
    assert moved.ranked[0].spot.key != before.ranked[0].spot.key
    assert {r.spot.key: r.spot.name for r in moved.ranked} == {r.spot.key: r.spot.name for r in before.ranked}
    assert atlas_answer._judge(work) == "run"
    assert not work.atlas.in_front
    first = work.run
    work.begin_plan(work.atlas.mission, quick=work.run_of)  # pressed twice
    assert work.run is first
    work.run.wait(300)
    work.take_finished()
    assert work.run.error is None
    named = {r.spot.key: r.spot.name for r in moved.ranked}
    found = {r.spot.key: r.spot.name for r in work.planned.judged if r.spot.origin == "search"}
    assert found
    assert found.items() <= named.items()
    # the mission keeps its weights; the sliders stay where the hand left them
    assert work.planned.mission.weights == load_mission(day).weights
    assert work.plan.mission.weights == Weights(coverage=0, must_serve=0, backhaul=0, ground=0, access=1)
    assert work.memory["weights"]["access"] == 1


def test_an_area_outside_the_region_and_a_canceled_question_are_words_with_a_way_back(atlas, tmp_path):
    mission = write_day(tmp_path / "out")
    save(tmp_path / "out" / "area.gpkg", [box(*at(60_000, 0), *at(61_000, 900))])
    work = asked(mission, atlas)
    app = drawn(work, "run")
    assert "outside the region" in app.error[0].value
    assert [b.label for b in app.button] == ["Back to the first page"]
    work = work_on(mission)
    atlas_answer.begin(work, load_mission(mission), atlas)
    work.open(None, Path("."), "another")  # another mission: the question goes with the first
    assert work.atlas is None
    work = asked(mission, atlas)
    work.atlas.run.error, work.atlas.run.state = None, "cancelled"
    app = drawn(work, "run")
    assert [b.label for b in app.button] == ["Back to the first page"]
