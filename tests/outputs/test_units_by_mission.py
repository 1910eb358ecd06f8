"""The mission says in which units its readers work; every output follows, none tells a length in the other alone."""

from __future__ import annotations

import ast
import html
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
from pypdf import PdfReader

from siteplanner.app.frame import starts_in_us
from siteplanner.app.labels import Units as PageUnits
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.outputs.gis.geopackage import write_geopackage
from siteplanner.outputs.gis.gpx import routes_gpx
from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.gis.ranking import ranking_csv
from siteplanner.outputs.map.map import map_html
from siteplanner.outputs.sheets.briefing import briefing_text
from siteplanner.outputs.sheets.printing import sheet_pdf
from siteplanner.planning.telling.units import BOTH, METRIC, US, Units, reader_units
from tests.outputs.factory import make_plan, waiting

PACKAGE = Path(__file__).parents[2] / "siteplanner"
BLANK = "[ \u00a0\u202f]?"
METRIC_UNIT = re.compile(
    rf"(?<![\w.])\d[\d,.]*{BLANK}(?:m|km|cm|mm|kg|t|km²|m²|l|km/h|m/s|meters?|kilometers?|metric tons?)\b"
)
US_UNIT = re.compile(
    rf"(?<![\w.])\d[\d,.]*{BLANK}(?:ft|in|mi|lb|sq mi|gal|US tons?|feet|foot|miles?|inch(?:es)?|pounds?)\b"
)
MPH = re.compile(r"\d+ mph\s+\(\d+ m/s\)")
MARKED = (
    # heights of a file that does not say its unit, as they would be in either
    re.compile(r"[\d,]+ to +[\d,]+ m if they are meters, [\d,]+ to +[\d,]+ m"),
    re.compile(r"9 in 10"),
    re.compile(r"29 CFR 1910\.\S+"),  # the number of a rule
    re.compile(r"\d+ MHz|\d[\d.]*[- ](?:GHz|dBm|dB)\b"),
)
"""What is the same for every reader and may look like a length: numbers of rules, frequencies."""
KINDS = ("commander", "driver", "crew")
OUTPUTS = (*KINDS, "briefing", "gpx", "kml", "map", "package", "table")


def plan_in(system: str):
    plan = waiting(make_plan())
    mission = plan.mission
    return replace(
        plan, mission=mission.model_copy(update={"sheets": mission.sheets.model_copy(update={"units": system})})
    )


def words_of_map(page: str) -> str:
    """The words that a reader of the saved map meets: text of the page and of its popups, tips and labels."""
    data = re.findall(r'"t": ?"((?:[^"\\]|\\.)*)"|"i": ?"((?:[^"\\]|\\.)*)"|"p": ?"((?:[^"\\]|\\.)*)"', page)
    body = re.sub(r"(?s)<(script|style)\b.*?</\1>", " ", page)
    text = body + " ".join(part for parts in data for part in parts)
    text = text.replace("\\u003c", "<").replace("\\u003e", ">").replace("\\u0026", "&")
    return html.unescape(re.sub(r"<[^>]*>", " ", text)).replace("\\u00a0", " ").replace("\\u00b0", "°")


def text_of(plan, what: str, folder: Path) -> str:
    """An output as its reader gets it, as plain text."""
    if what in KINDS:
        return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(sheet_pdf(plan, what))).pages)
    if what == "briefing":
        return briefing_text(plan)
    if what in ("gpx", "kml"):
        root = ET.fromstring((routes_gpx(plan) if what == "gpx" else places_kml(plan)).encode())
        numbers = ("ele", "coordinates")  # GPX 1.1 and KML 2.2 set the unit of their numbers
        return "\n".join(e.text or "" for e in root.iter() if e.tag.split("}")[-1] not in numbers)
    if what == "map":
        return words_of_map(map_html(plan))
    if what == "table":
        return ranking_csv(plan)
    path = folder / f"{plan.mission.sheets.units}.gpkg"
    write_geopackage(plan, path)
    cells = []
    for name, _ in pyogrio.list_layers(path):
        frame = gpd.read_file(path, layer=name)
        for column in frame.columns.drop("geometry", errors="ignore"):
            if not str(column).endswith("unit"):  # columns of figures name their unit, and the figures are in it
                cells += [str(v) for v in frame[column] if isinstance(v, str)]
    return "\n".join(cells)


def lengths(text: str, unit: re.Pattern[str]) -> list[str]:
    """Figures of a unit with what stands before them; what is marked as the same for everyone is left out."""
    text = text.replace("\n", " ")
    for mark in MARKED:
        text = mark.sub(" ", text)
    return [text[max(0, m.start() - 40) : m.end()] for m in unit.finditer(text)]


@pytest.fixture(scope="module")
def plans():
    return {system: plan_in(system) for system in ("us", "metric", "both")}


@pytest.mark.parametrize("what", OUTPUTS)
def test_no_output_tells_a_length_in_the_other_system_only(plans, what, tmp_path):
    us, metric = text_of(plans["us"], what, tmp_path), text_of(plans["metric"], what, tmp_path)
    assert not lengths(us, METRIC_UNIT)
    assert not lengths(MPH.sub(" ", metric), US_UNIT)
    assert lengths(us, US_UNIT), "a US reader is told lengths"
    assert lengths(metric, METRIC_UNIT), "a metric reader is told lengths"


def test_the_default_is_both_and_its_sheets_tell_both(plans, tmp_path):
    text = text_of(plans["both"], "driver", tmp_path)
    assert lengths(text, US_UNIT)
    assert lengths(text, METRIC_UNIT)
    assert mission_from_dict(MISSION).sheets.units == "both"


MISSION = {
    "layers": {"elevation": "dem.tif", "roads": "roads.geojson", "incident_area": "area.geojson"},
    "staging": {"latitude": 44.6, "longitude": -113.0},
}


@pytest.mark.parametrize(("word", "units"), [("us", US), ("metric", METRIC), ("both", BOTH)])
def test_one_word_at_the_top_is_the_same_as_in_its_table(word, units):
    short = mission_from_dict({**MISSION, "units": word})
    assert short == mission_from_dict({**MISSION, "sheets": {"units": word}})
    assert short == mission_from_dict({**MISSION, "units": word, "sheets": {"units": word, "paper": "letter"}})
    assert reader_units(short) == units


def test_two_words_that_contradict_each_other_are_refused():
    with pytest.raises(InputError, match=r"units = 'us' and sheets\.units = 'metric' contradict each other"):
        mission_from_dict({**MISSION, "units": "us", "sheets": {"units": "metric"}})
    with pytest.raises(InputError) as error:
        mission_from_dict({**MISSION, "units": "imperial"})
    assert error.value.field == "sheets.units"
    assert "'us', 'metric' or 'both'" in str(error.value)


@pytest.mark.parametrize(
    ("said", "held", "starts"),
    [
        ("us", METRIC, True),
        ("metric", US, False),
        ("both", US, True),  # what the reader chose before stays
        ("both", METRIC, False),
    ],
)
def test_the_pages_start_in_the_mission_s_units(said: str, held: Units, starts: bool):
    assert starts_in_us({"sheets": {"units": said}}, PageUnits(held.system)) is starts
    assert starts_in_us(None, PageUnits(held.system)) is (held == US)


def functions_with_units() -> dict[str, int | None]:
    """Name of each function of planning/telling that takes `units` -> its place among the arguments."""
    out = {}
    for path in (PACKAGE / "planning" / "telling").glob("*.py"):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef):
                names = [a.arg for a in node.args.args]
                if "units" in names + [a.arg for a in node.args.kwonlyargs]:
                    out[node.name] = names.index("units") if "units" in names else None
    return out


def test_every_output_hands_its_reader_s_units_to_every_sentence():
    """A sentence left to its default, or a fixed system, would tell one reader the other's figures."""
    takes, bad = functions_with_units(), []
    for path in sorted((PACKAGE / "outputs").rglob("*.py")):
        if path.name == "text.py":  # shares and bearings, the same in every system
            continue
        tree = ast.parse(path.read_text("utf-8"))
        from_telling = {
            name.asname or name.name
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("siteplanner.planning.telling")
            for name in node.names
        }
        bad += [f"{path.name}: {name}" for name in from_telling & {"METRIC", "BOTH", "US", "SPOKEN"}]
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in from_telling:
                name = node.func.id
                if name in takes and not any(k.arg == "units" for k in node.keywords):
                    place = takes[name]
                    if place is None or len(node.args) <= place:
                        bad.append(f"{path.name}:{node.lineno}: {name}")
    assert takes
    assert not bad
