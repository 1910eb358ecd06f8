"""No reader of either sample meets an old word: plan.json, sheets, briefing, map, files for devices, findings."""

from __future__ import annotations

import html
import io
import json
import re

import pytest
from pypdf import PdfReader

from siteplanner.outputs.gis.gpx import routes_gpx
from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.map.panel import panel_html
from siteplanner.outputs.sheets.briefing import briefing_text
from siteplanner.outputs.sheets.printing import sheet_pdf
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.screen import drive_lines
from siteplanner.planning.telling.units import BOTH, METRIC, US
from tests.glossary import told

SAMPLES = ["county_plan", "hills_plan"]


@pytest.fixture(scope="module", params=SAMPLES)
def plan(request):
    return request.getfixturevalue(request.param)


def sentences(value, path=""):
    """(path, text) of each text with a blank in it; the mission is the user's own."""
    if isinstance(value, dict):
        for key, item in value.items():
            if key not in ("mission", "inputs"):
                yield from sentences(item, f"{path}.{key}")
    elif isinstance(value, list):
        for item in value:
            yield from sentences(item, path)
    elif isinstance(value, str) and " " in value:
        yield path, value


def test_plan_json(plan):
    record = json.loads(json.dumps(plan_record(plan), default=str))
    found = [line for path, text in sentences(record) for line in told(f"plan.json{path}", [text])]
    assert not found, "\n".join(sorted(set(found)))


@pytest.mark.parametrize("kind", ["commander", "driver", "crew"])
def test_every_sheet_of_every_listed_spot(plan, kind):
    for ranked in (plan.spots[0], plan.spots[-1]):
        pages = PdfReader(io.BytesIO(sheet_pdf(plan, kind, ranked))).pages
        text = " ".join(" ".join(page.extract_text().split()) for page in pages)
        assert not told(f"{kind}.pdf, spot {ranked.spot.name}", [text])


def test_briefing_map_and_files_for_devices(plan):
    panel = html.unescape(re.sub(r"<[^>]+>", " ", panel_html(plan)))
    texts = {"briefing.txt": briefing_text(plan), "map.html": panel}
    texts |= {"routes.gpx": routes_gpx(plan), "places.kml": places_kml(plan)}
    assert not [line for source, text in texts.items() for line in told(source, text.splitlines())]


def test_findings_and_directions_in_each_system_of_units(plan):
    for units in (METRIC, US, BOTH):
        for f in (*plan.findings, *(f for r in plan.spots for f in r.evaluation.findings)):
            words = said(f, units)
            assert not told(f.code, [words.message, words.remedy])
        for ranked in plan.spots[:2]:
            access = ranked.evaluation.access
            assert not told("directions", drive_lines(ranked, access, access.told, "here", units))
