"""README and guide against the code: fields, commands, files, links and figures that they name are there."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tomllib
from fnmatch import fnmatchcase
from pathlib import Path

import pytest
import typer
from streamlit.testing.v1 import AppTest

from siteplanner import guide
from siteplanner.app import earlier, guide_page
from siteplanner.app.intake import NEEDED, ROLES
from siteplanner.cli import app, run
from siteplanner.demo import SAMPLES
from siteplanner.guide import PAGES, page, without_links
from siteplanner.mission import Mission, load_mission, mission_from_dict
from siteplanner.mission.criteria import CRITERIA
from siteplanner.mission.fields import fields, found
from siteplanner.mission.fleet import Fleet, TakeDown
from siteplanner.mission.region import Extent
from siteplanner.outputs.write import WRITERS, write_outputs
from siteplanner.planning.limits.ruling import TABLE
from siteplanner.planning.plan.pipeline import plan
from siteplanner.planning.spots import evaluation, surroundings
from siteplanner.planning.telling.units import SHORT_TON_LB
from siteplanner.roads import closures, network, noding, start
from tests.planning.conftest import write_mission

ROOT = Path(__file__).parents[1]
FOLDER = Path(guide.__file__).parent
TEXTS = {"README": (ROOT / "README.md").read_text("utf-8"), **{name: page(name) for name in PAGES}}
PATHS = {f.path for f in fields()} | {f"region.{name}" for name in Extent.model_fields}
TABLES = {f.table for f in fields()} | set(Mission.model_fields)
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
TICKED = re.compile(r"`([^`\n]+)`")
BRITISH = re.compile(
    r"\b(met(re)s?|kilomet(re)s?|cent(re)s?|colo(u)r\w*|gr(ey)\w*|energ(ise)d|optim(ise)d?|licen(ce)[sd]?|cancel(le)d|level(ling)|"
    r"neighbo(u)r\w*|organ(is)\w*|recogn(is)\w*|bea(riz)e|tyres?|kerb\w*|programme\w*)\b",
    re.IGNORECASE,
)


def every_text() -> list[str]:
    return list(TEXTS)


def code_blocks(text: str, kind: str) -> list[str]:
    return re.findall(rf"```{kind}\n(.*?)```", text, re.S)


def prose(text: str) -> str:
    return re.sub(r"```.*?```", "", text, flags=re.S)


def test_the_list_of_pages_is_the_files():
    assert set(PAGES) == {p.stem for p in FOLDER.glob("*.md")}
    for name in PAGES:
        assert page(name).startswith("# ")


@pytest.mark.parametrize("name", every_text())
def test_every_field_named_is_one(name):
    tables = {p.split(".")[0] for p in PATHS if "." in p and "[" not in p}
    dotted = [t for t in TICKED.findall(prose(TEXTS[name])) if re.fullmatch(r"[a-z_]+(\.[a-z_]+)+", t)]
    files = re.compile(r"\.(toml|json|csv|html|pdf|txt|gpx|kml|tif|gpkg|zip|geojson|osm|pbf|md|xml|parquet|jsonl)$")
    named = [t for t in dotted if t.split(".")[0] in tables]
    assert not [t for t in named if t not in PATHS and t not in TABLES]
    others = [t for t in dotted if t not in named and not files.search(t)]
    assert all(t.startswith("siteplanner.") for t in others), others


def test_the_test_of_fields_sees_a_slip():
    assert "trailer.max_slope_degrees" not in PATHS
    assert "trailer.max_slope_deg" in PATHS
    assert sum(t in PATHS for text in TEXTS.values() for t in TICKED.findall(text)) > 60


@pytest.mark.parametrize("name", every_text())
def test_every_mission_in_a_block_is_one(name):
    for block in code_blocks(TEXTS[name], "toml"):
        held = tomllib.loads(block)
        if name == "ready":  # the page of the fleet: its files are no missions
            (Fleet if "units" in held else TakeDown).model_validate(held)
            continue
        Extent.model_validate(held.pop("region", {"outline": "o"}))
        whole = {
            "layers": {"elevation": "e", "incident_area": "a", "roads": "r"},
            "staging": {"latitude": 1, "longitude": 2},
        }
        whole["staging"] = {"name": "East yard", **whole["staging"]}
        whole["times"] = {"dispatch": "2026-06-03T04:40:00-06:00"}
        held = {**whole, **held, "layers": {**whole["layers"], **held.get("layers", {})}}
        mission_from_dict(held)


def test_the_smallest_mission_is_as_small_as_it_can_be():
    (block, *_) = code_blocks(TEXTS["README"], "toml")
    assert len(block.strip().splitlines()) <= 10
    held = tomllib.loads(block)
    mission_from_dict(held)
    for table, key in (
        ("layers", "elevation"),
        ("layers", "incident_area"),
        ("layers", "roads"),
        ("staging", "latitude"),
    ):
        less = {**held, table: {k: v for k, v in held[table].items() if k != key}}
        with pytest.raises(ValueError, match="missing"):
            mission_from_dict(less)


@pytest.mark.parametrize("name", every_text())
def test_every_command_named_exists_with_its_options(name):
    for spoken in TICKED.findall(TEXTS[name]):
        if not spoken.startswith("siteplanner ") or spoken.startswith("siteplanner --version"):
            continue
        _, command, *rest = shlex.split(spoken.replace("[", "").replace("]", ""))
        assert command in COMMANDS, spoken
        named = COMMANDS[command]
        named = named.commands[rest.pop(0)] if hasattr(named, "commands") and rest else named
        known = {option for p in named.params for option in (*p.opts, *p.secondary_opts)}
        assert {r for r in rest if r.startswith("--")} <= known, spoken
        words = [r for r in rest if r.islower() and not r.startswith("-")]
        if command == "guide":
            assert set(words) <= set(PAGES), spoken
        if command == "fields":
            assert not words or found(words), spoken


def test_the_readme_lists_every_command_and_sample_and_required_layer():
    told = TEXTS["README"]
    rows = re.findall(r"^\| `siteplanner (\w+)", told, re.M)
    assert sorted(rows) == sorted(COMMANDS)
    assert set(re.findall(r"^\| `(\w+)`.* \| ", told[told.index("## Samples") : told.index("## Inputs")], re.M)) >= set(
        SAMPLES
    )
    inputs = told[told.index("## Inputs") : told.index("## Outputs")]
    first_cells = [line.split("|")[1] for line in inputs.splitlines() if line.startswith("| `")]
    assert {r for cell in first_cells for r in TICKED.findall(cell)} == set(ROLES)
    assert {TICKED.findall(c)[0] for c in first_cells if "(required)" in c} == set(NEEDED)


def test_limits_and_criteria_are_those_of_the_code():
    rows = [line.split("|")[1].strip() for line in TEXTS["limits"].splitlines() if line.startswith("| ")]
    limits = rows[1 : rows.index("criterion")]
    assert limits == [limit.label for limit in TABLE]
    assert rows[rows.index("criterion") + 1 :] == [c.words.slider for c in CRITERIA.values()]


def test_every_file_named_is_written_and_every_file_written_is_named(tmp_path):
    mission = load_mission(write_mission(tmp_path / "m"))
    written = {p.name for p in write_outputs(plan(mission), tmp_path / "out")}
    for name in ("README", "outputs"):
        text = TEXTS[name]
        text = text[text.index("## Outputs") : text.index("## How it works")] if name == "README" else text
        cells = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `")]
        named = {t for cell in cells for t in TICKED.findall(cell)}
        assert not written - named - {p for p in written if p.startswith("service_")}, name
        sometimes = {n for n in named if "second_trailer" in n or n.startswith(("set_", "service_", "as_built_"))}
        assert named - sometimes <= written, name
        assert all(
            any(fnmatchcase(n, w) for w in (*WRITERS, "crew_*.pdf")) for n in sometimes if not n.endswith(".aux.xml")
        )
        known = {n for n in WRITERS if "*" not in n}
        assert known <= named, name


@pytest.mark.parametrize("name", [*every_text(), "DEVELOPERS"])
def test_every_relative_link_resolves(name):
    place = FOLDER if name in PAGES else ROOT
    text = TEXTS[name] if name in TEXTS else (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+)", text):
        assert not re.match(r"[a-z]+:", target), target
        assert (place / target).is_file(), target


FIGURES = [
    ("data", f"closes the nearest road within {closures.POINT_REACH_M:g} m"),
    ("README", f"closes the nearest road within {closures.POINT_REACH_M:g} m"),
    ("data", f"miss by up to {noding.DRAWN_REACH_M:g} m"),
    ("data", f"trees up to {surroundings.MOST_TREE_M:g} m may hide the sky"),
    ("start", f"more than {start.TOLD_GAP_M:g} m beside its road"),
    ("start", f"more than {start.MOST_GAP_M:g} m from a road"),
    (
        "roads",
        f"unless any other way takes {['', 'one', 'two', 'three', 'four', 'five'][int(network.THROUGH_FACTOR)]} times",
    ),
    ("unknown", f"cells of {evaluation.TOO_WIDE_M:g} m on"),
    ("README", f"the newest {earlier.MAX_KEPT},"),
    ("laptop", f"the newest {earlier.MAX_KEPT},"),
    ("start", f"US tons of {SHORT_TON_LB:,} lb"),
]


@pytest.mark.parametrize(("name", "words"), FIGURES)
def test_figures_told_are_those_of_the_code(name, words):
    assert words in " ".join(TEXTS[name].split())


def test_defaults_told_are_those_of_the_code():
    by_path = {f.path: f.default for f in fields()}
    assert by_path["search.sets"] == 3
    assert by_path["layers.default_clutter"] == "suburban"
    assert by_path["backhaul.wanted"] == ["geostationary"]
    assert by_path["sheets.units"] == "both"
    assert by_path["search.service_rasters"] == "options"
    assert not by_path["site.soft_ground_rules_out"]


@pytest.mark.parametrize("name", every_text())
def test_us_english(name):
    assert not BRITISH.search(TEXTS[name]), BRITISH.search(TEXTS[name])


def test_the_terminal_lists_the_pages_and_shows_one(capsys):
    assert run(lambda: app(args=["guide"], standalone_mode=False)) == 0
    out = capsys.readouterr().out
    assert all(name in out and title in out for name, title in PAGES.items())
    assert run(lambda: app(args=["guide", "roads"], standalone_mode=False)) == 0
    out = capsys.readouterr().out
    assert out.strip() == without_links(page("roads")).strip()
    assert run(lambda: app(args=["guide", "secrets"], standalone_mode=False)) == 2
    held = capsys.readouterr()
    assert "no page" in held.err
    assert "roads" in held.err


@pytest.mark.parametrize("name", ["../../pyproject", "/etc/passwd", "ROADS", ""])
def test_no_other_file_is_a_page(name, capsys):
    assert run(lambda: app(args=["guide", name], standalone_mode=False)) == 2
    capsys.readouterr()


def test_the_app_draws_every_page_as_text_alone():
    """Markdown without any markup of its own gets through; no page holds some."""

    def script():
        from siteplanner.app import guide_page

        guide_page.draw()

    for name in PAGES:
        at = AppTest.from_function(script)
        at.session_state["guide_page"] = name
        at.run(timeout=60)
        assert not at.exception
        assert [m.value.strip() for m in at.markdown] == [without_links(page(name)).strip()]
        assert not [m for m in at.markdown if m.allow_html]
        assert not re.search(r"<[a-z/!]", prose(page(name)))
    assert guide_page.draw.__doc__


def test_the_guide_travels_in_the_package(tmp_path):
    """Read from where the package is, whatever the folder one stands in."""
    done = subprocess.run(
        [sys.executable, "-m", "siteplanner", "guide", "unknown"],
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
        env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "does not know" in done.stdout


IN_FORCE = {"P.525": "P.525-5", "P.526": "P.526-16", "P.618": "P.618-14", "P.1812": "P.1812-8"}
"""ITU-R recommendations and their editions in force in 2026, by the ITU's own list."""


def test_an_edition_that_is_cited_and_not_in_force_is_said_to_be_so():
    """Formulas were cited from editions that had been replaced, with no word of it."""
    sources = [*FOLDER.parent.rglob("*.py"), *FOLDER.glob("*.md")]
    cited = {m for f in sources for m in re.findall(r"P\.\d{3,4}-\d+", f.read_text("utf-8"))}
    _, said = page("methods").split("## Editions")
    older = {one for one in cited if (name := one.rsplit("-", 1)[0]) in IN_FORCE and one != IN_FORCE[name]}
    assert older >= {"P.526-15", "P.618-13"}  # where the published check profiles and the rain's package come from
    for one in older:
        assert one in said, one
        assert IN_FORCE[one.rsplit("-", 1)[0]] in said, one
