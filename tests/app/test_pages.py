"""Pages drawn without a browser, on a plan made by hand, also with hostile names everywhere."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from siteplanner.app import decide, go_no_go, plan_map, serve, session, spot, spot_crew, spot_drive, spot_service
from siteplanner.app.decide import answer, breakdown, ruled_out_by_name
from siteplanner.app.labels import Units
from siteplanner.app.ranking_table import ranking_rows
from siteplanner.app.why import score_table, verdict
from siteplanner.core.link import BudgetLine
from siteplanner.errors import InputError
from siteplanner.outputs.map.legend import legend_html
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.explain import Explanation
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.telling.capacity import ASSUMED, capacity_rows
from siteplanner.planning.telling.clock import go_rows
from siteplanner.planning.telling.directions import step_words
from siteplanner.planning.telling.roads import ahead_words
from tests.outputs.factory import HOSTILE, make_plan

MAIN = str(Path(serve.__file__).with_name("main.py"))


@pytest.fixture(scope="module", params=["plain", "hostile"])
def plan(request):
    made = make_plan() if request.param == "plain" else make_plan(names=HOSTILE, mission_name="".join(HOSTILE))
    return replace(made, judged=made.spots)


def test_page_and_saved_map_have_one_name_for_each_picture_and_explain_its_shares(plan):
    """The shares of limits overlap: their sum said nothing where the page did not say so."""
    saved = legend_html(plan)
    for title in (plan_map.SERVICE, plan_map.RULED_OUT, plan_map.SKY, plan_map.SLOPE):
        assert f"> {title}</label>" in saved
    for page in (saved, plan_map.legend(plan, plan_map.RULED_OUT)):
        assert "a cell with several limits has the color of the first" in page


def asked(plan, evaluation):
    lines = plan.spots[0].criteria
    return Explanation(evaluation, True, lines, None if evaluation.failed else 50.0, None if evaluation.failed else 7)


def all_html(plan):
    ranked = plan.spots[0]
    e, units = ranked.evaluation, Units("US", place="grid reference")
    return "".join(
        [
            answer(plan, units),
            breakdown(ranked),
            ruled_out_by_name(plan, units),
            go_no_go.hours_html(ranked, units),
            go_no_go.carries_html(plan, ranked, units),
            plan_map.legend(plan, plan_map.RULED_OUT),
            plan_map.lines_legend(plan),
            verdict(asked(plan, plan.rejected[0]), plan, units),
            verdict(asked(plan, e), plan, units),
            spot.place(ranked, units),
            spot_drive.drive(e, units),
            spot_crew.park(e, units),
            spot_crew.raise_and_aim(e, units),
            spot_service.on_air(e),
            spot_service.service(e.coverage, e, units),
            spot_service.budget(e),
            spot_drive.turns(e, units),
            spot_crew.on_arrival(plan, ranked, units),
            spot_crew.dangers(plan, ranked, units),
        ]
    )


def test_only_our_own_tags_reach_the_page(plan):
    tags = set(re.findall(r"<\s*/?\s*([a-zA-Z!][a-zA-Z0-9]*)", all_html(plan)))
    assert tags <= {"div", "p", "b", "h3", "table", "thead", "tbody", "tfoot", "tr", "th", "td", "span", "bdi", "i"}
    assert "onerror" not in re.sub(r">[^<]*<", "><", all_html(plan))


def test_the_points_shown_add_up_to_the_score_shown(plan):
    for ranked in plan.spots:
        figures = [float(v) for v in re.findall(r'<td class="num">(\d+\.\d)</td></tr>', score_table(ranked.criteria))]
        assert round(sum(figures[:-1]), 1) == figures[-1] == pytest.approx(ranked.score, abs=0.05)


def test_the_table_has_one_row_a_spot_in_order(plan):
    columns, rows = ranking_rows(plan)
    assert [row["rank"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    assert [row["name"] for row in rows] == [clean(r.spot.name) for r in plan.spots]
    assert len({row["key"] for row in rows}) == len(rows)
    assert all(len(row["cells"]) + 3 == len(columns) for row in rows)


def test_decide_says_until_when_and_what_the_spot_carries(plan):
    """The hours and the capacity of the sheets, for the spot in hand, in the reader's units."""
    chosen, units = plan.spots[1], Units("metric")
    hours = go_no_go.hours_html(chosen, units)
    assert hours
    assert clean(chosen.spot.name) in unescape(hours)
    for label, words in go_rows(chosen.on_site.clock, units):
        assert label in unescape(hours)
        assert words in unescape(hours)
    carries = go_no_go.carries_html(plan, chosen, units)
    rows = dict(capacity_rows(capacity_of(chosen.evaluation, plan.mission), units))
    assert set(rows) >= {"At once"}
    assert all(label in unescape(carries) and words in unescape(carries) for label, words in rows.items())
    assert ASSUMED in unescape(carries)


def test_why_not_here_says_reason_change_and_every_figure():
    plan = make_plan()
    out = plan.rejected[0]
    text = re.sub(r"<[^>]+>", " ", verdict(asked(plan, out), plan, Units("metric", place="grid reference")))
    assert "Ruled out." in text
    assert "barn is 3.0 m away" in text
    assert "What would have to change" in text
    assert "farther from the structure" in text
    assert "nearest ground that passes every limit" in text
    for words in (
        "Elevation",
        "Roll, pitch",
        "Sky toward satellite at 103&#176; W",
        "Incident area served",
        "Command post",
        "Drive from staging",
        "Way out of the area",
        "On air",
        "Score",
    ):
        assert words in text, words
    assert re.search(r"\d{1,2}[C-X] [A-Z]{2} \d{5} \d{5}", text)
    passing = re.sub(r"<[^>]+>", " ", verdict(asked(plan, plan.spots[1].evaluation), plan, Units()))
    assert "It passes." in passing
    assert "What would have to change" not in passing
    assert "points behind A" in passing


def test_the_printed_link_budget_adds_up_and_ends_in_the_plans_margin():
    down, up = "downlink", "uplink"
    lines = (
        BudgetLine(down, "power", 33.04, "dBm"),
        BudgetLine(down, "share", -27.78, "dB"),
        BudgetLine(down, "path", -95.44, "dB"),
        BudgetLine(down, "RSRP at the handset", 33.04 - 27.78 - 95.44, "dBm", is_sum=True),
        BudgetLine(down, "least, taken off", 116.04, "dB"),
        BudgetLine(down, "margin", 33.04 - 27.78 - 95.44 + 116.04, "dB", is_sum=True, ends=True),
        BudgetLine(up, "power", 23.04, "dBm"),
        BudgetLine(up, "path", -95.44, "dB"),
        BudgetLine(up, "power at the base", -72.4, "dBm", is_sum=True),
        BudgetLine(up, "noise, taken off", 114.44, "dB"),
        BudgetLine(up, "margin", 42.04, "dB", is_sum=True, ends=True),
        BudgetLine("weaker", "margin", 25.86, "dB", is_sum=True, ends=True),
    )
    rows = spot_service.budget_rows(lines)
    assert [replace(row, value=0.0) for row in rows] == [replace(line, value=0.0) for line in lines]
    so_far = {down: 0.0, up: 0.0}
    for row in rows[:-1]:
        if row.is_sum:
            assert round(so_far[row.direction], 1) == row.value, row.item
        else:
            so_far[row.direction] += row.value
    assert rows[5].value == round(33.04 - 27.78 - 95.44 + 116.04, 1)
    assert rows[-2].value == 42.0
    assert rows[-1].value == 25.9


def test_directions_to_copy_are_those_of_the_drive():
    plan = make_plan()
    ranked = plan.spots[0]
    steps = spot_drive.steps_of(ranked.evaluation.access)
    text = spot_drive.directions_text(ranked, Units(), "here")
    lines = text.split("\n")
    assert lines[0].startswith("Drive to spot A at here: ")
    assert [line.split(". ")[0] for line in lines if line[0].isdigit()] == [str(n + 1) for n in range(len(steps))]
    for step in steps:
        assert step_words(step) in text
        for hazard in step.hazards:
            assert ahead_words(hazard) in text
    assert "Last leg" in lines[-1]
    assert " mi" in spot_drive.directions_text(ranked, Units("US"), "here")
    nowhere = replace(ranked, evaluation=replace(ranked.evaluation, access=None))
    assert spot_drive.directions_text(nowhere, Units(), "here") == ""


def test_sentences_hold_the_reader_s_units_and_no_others(plan):
    # 1 ft = 0.3048 m, 1 mile = 1609.344 m, both exact (NIST SP 811, appendix B.8)
    metric, us = (
        decide.answer(plan, Units(system)) + decide.reasons(plan, Units(system)) for system in ("metric", "US")
    )
    stop = plan.best.evaluation.coverage.mast_height_m
    assert f"mast at {stop:g} m" in metric
    assert f"mast at {stop / 0.3048:.1f} ft" in us
    assert not re.search(r"[0-9] (m|km)[^a-z]", us)


@pytest.fixture
def app(monkeypatch):
    monkeypatch.setattr(session, "_HELD", {})
    return AppTest.from_file(MAIN, default_timeout=60)


def test_the_first_page_says_what_to_do(app):
    app.run()
    assert not app.exception
    assert "Open the sample" in [b.label for b in app.button]


@pytest.mark.parametrize("name", ["decide", "spot", "downloads"])
def test_without_a_plan_a_page_says_where_to_go(name):
    def page_of(name):
        from importlib import import_module

        import streamlit as st

        from siteplanner.app import frame, session, start

        st.session_state[frame.WORK] = session.Work("token")
        st.session_state[frame.PAGES] = {"start": st.Page(start.page, title="Start")}
        import_module(f"siteplanner.app.{name}").page()

    app = AppTest.from_function(page_of, args=(name,)).run(timeout=60)
    assert [e.value for e in app.info] == ["There is no plan yet. Choose a mission on the first page and run it."]


def bare_plan():
    """A plan with the least it can hold: no service, no way in, no times, none of the user's spots."""
    made = make_plan(3, coverage=False, rejected=0)
    without = {"access": None, "on_air": None, "findings": ()}
    spots = tuple(replace(r, evaluation=replace(r.evaluation, **without)) for r in made.spots)
    return replace(made, spots=spots, judged=spots)


@pytest.mark.parametrize("name", ["decide", "spot"])
@pytest.mark.parametrize("made", [bare_plan, make_plan])
def test_pages_are_drawn_whatever_a_plan_lacks(name, made):
    def page_of(name, plan):
        from importlib import import_module

        import streamlit as st

        from siteplanner.app import frame, session, start

        work = session.Work("token")
        work.draft = {}
        work.take(plan)
        st.session_state[frame.WORK] = work
        st.session_state[frame.PAGES] = {"start": st.Page(start.page, title="Start")}
        import_module(f"siteplanner.app.{name}").page()

    app = AppTest.from_function(page_of, args=(name, made())).run(timeout=60)
    assert [e.value for e in app.exception] == []


def test_a_failing_page_is_a_sentence(app, monkeypatch, capfd):
    def broken(work):
        raise InputError("The *sample* is gone.", remedy="Build it again.")

    monkeypatch.setattr("siteplanner.app.start.sample", broken)
    app.run()
    assert not app.exception
    assert "sample" in app.error[0].value
    assert "Build it again" in app.error[0].value
    assert "Traceback" not in app.error[0].value


def test_a_taken_port_and_a_wrong_one_are_named():
    import socket

    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        port = held.getsockname()[1]
        with pytest.raises(InputError, match=f"Port {port} is taken"):
            serve.free_port(port)
    assert 1024 <= serve.free_port(0) <= 65535
    with pytest.raises(InputError, match="not a port"):
        serve.free_port(70000)


def test_a_failing_part_leaves_the_rest_of_the_page(app, monkeypatch, capfd):
    """The vetting fails in an unforeseen way: its place says so, the settings below are still drawn."""
    from siteplanner.app import start

    work = session.work_of(None)
    work.draft = {"name": "Half of it", "layers": {"elevation": ["a.tif"], "incident_area": "b", "roads": "c"}}

    def broken(work):
        raise ZeroDivisionError("deliberately")

    monkeypatch.setattr(start, "vetted", broken)
    app.query_params[session.ADDRESS_KEY] = work.token
    app.run()
    assert not app.exception
    assert "This part of the page failed (ZeroDivisionError)" in app.error[0].value
    assert "Mission name" in [t.label for t in app.text_input]
    assert "ZeroDivisionError: deliberately" in capfd.readouterr().err


def test_minutes_to_service_add_up_in_their_columns_and_the_mean_has_its_name(plan):
    for ranked in plan.spots:
        air = ranked.evaluation.on_air
        text = spot_service.on_air(ranked.evaluation)
        rows = [[float(v) for v in re.findall(r'<td class="num">(?:<bdi>)?(\d+)', row)] for row in text.split("<tr>")]
        *parts, foot = [row for row in rows if row]
        assert len(parts) == len(air.parts) > 3
        assert foot == [sum(column) for column in zip(*parts, strict=True)]
        assert foot[1] == round(sum(p.likely_min for p in air.parts))
        assert f"{air.mean_min:.0f} on average" in text


def test_the_first_page_is_drawn_without_the_libraries_of_layers_and_kernels():
    """What a page needs is loaded when it is opened: before, the first page waited for all that a plan can take."""
    code = (
        "import sys, streamlit, siteplanner.app.main, siteplanner.app.start\n"
        "held = {'numba', 'rasterio', 'geopandas', 'folium', 'streamlit_folium', 'typst'} & set(sys.modules)\n"
        "assert not held, held\n"
        "late = [m for m in sys.modules if m.startswith(('siteplanner.app.decide', 'siteplanner.app.spot', "
        "'siteplanner.planning.plan', 'siteplanner.roads'))]\n"
        "assert not late, late\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-800:]
