"""Downloads: what is offered for the spot in hand, the options and the other trailers; a sheet that cannot be made."""

from __future__ import annotations

from dataclasses import replace

from streamlit.testing.v1 import AppTest

from siteplanner.planning.choose.options import Option
from siteplanner.planning.choose.sets import TrailerAt, TrailerSet
from tests.outputs.factory import make_plan


def page_of(plan, folder):
    from pathlib import Path

    import streamlit as st

    from siteplanner.app import downloads, frame, session, start

    st.session_state.setdefault(frame.WORK, session.Work("token"))
    work = st.session_state[frame.WORK]
    if work.plan is None:
        work.draft = {}
        work.take(plan)
    st.session_state[frame.PAGES] = {"start": st.Page(start.page, title="Start")}
    downloads.write_job = lambda *_: [Path(folder) / "package.zip"]
    downloads.page()


def shown(plan, folder):
    (folder / "package.zip").write_bytes(b"held")
    return AppTest.from_function(page_of, args=(plan, str(folder))).run(timeout=60)


def labels(app):
    return [b.label for b in app.get("download_button")]


def with_options(plan):
    nothing = dict.fromkeys(Option.__dataclass_fields__)
    options = tuple(
        Option(**{**nothing, "ranked": r, "overlap": 1.0, "differs": (), "best_at": ()}) for r in plan.spots[:3]
    )
    trailers = tuple(
        TrailerAt(**{**dict.fromkeys(TrailerAt.__dataclass_fields__), "unit": "", "ranked": r}) for r in plan.spots[:2]
    )
    beside = TrailerSet(**{**dict.fromkeys(TrailerSet.__dataclass_fields__), "trailers": trailers})
    return replace(plan, options=options, beside_first=beside)


def test_sheets_are_offered_for_the_spot_in_hand_the_options_and_the_second_trailer(tmp_path):
    app = shown(with_options(make_plan()), tmp_path)
    assert not app.exception
    held = labels(app)
    for spot in "ABC":
        for kind in ("Commander", "Driver", "Crew"):
            assert f"{kind} sheet, spot {spot}" in held
    for kind in ("Driver", "Crew"):
        assert f"{kind} sheet, second trailer, spot B" in held
    assert "package\\.zip" in held


def test_a_font_that_is_none_does_not_take_the_page(tmp_path):
    bad = tmp_path / "bad.ttf"
    bad.write_bytes(b"no font at all")
    plan = make_plan()
    sheets = plan.mission.sheets.model_copy(update={"extra_fonts": (str(bad),)})
    mission = plan.mission.model_copy(update={"sheets": sheets, "base": tmp_path})
    app = shown(replace(plan, mission=mission), tmp_path)
    assert not app.exception
    said = " ".join(e.value for e in app.error)
    assert "font" in said
    assert "extra" in said  # the remedy names the field
    assert "package\\.zip" in labels(app)  # the rest of the page is there
