"""Both samples as each reader gets them: no sentence tells a length in the other system only, what is driven by or
kept from is told in both where both are asked for."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest

from siteplanner.outputs.gis.gpx import routes_gpx
from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.gis.ranking import ranking_csv
from siteplanner.outputs.map.aim_shapes import aim_shapes
from siteplanner.outputs.map.legend import legend_html
from siteplanner.outputs.map.map import ground_shapes, must_serve
from siteplanner.outputs.map.panel import panel_html
from siteplanner.outputs.map.shapes import decision_shapes, drive_shapes, spot_marks
from siteplanner.outputs.sheets.briefing import briefing_text
from siteplanner.outputs.sheets.printing import sheet_content
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.units import METRIC, US
from tests.outputs.test_units_by_mission import METRIC_UNIT, MPH, US_UNIT, lengths

ONE_ONLY = re.compile(METRIC_UNIT.pattern + r"(?! \(| or \d)")
ROUGH = re.compile(
    r"[\d,.]+ (?:m|km) (?:past|beyond)|about [\d,.]+ (?:m|km) of backing|[\d,.]+ (?:m|km) before the stop"
)
"""What the eye judges while driving: one figure is enough (`Units.roughly`)."""


@pytest.fixture(scope="module", params=["county_plan", "hills_plan"])
def plan(request):
    return request.getfixturevalue(request.param)


def in_units(plan, system: str):
    sheets = plan.mission.sheets.model_copy(update={"units": system})
    return replace(plan, mission=plan.mission.model_copy(update={"sheets": sheets}))


def words_of(value) -> list[str]:
    """Each text of a sheet's plain data; of drawings the words in them."""
    if isinstance(value, dict):
        return [text for key, held in value.items() if key != "made" for text in words_of(held)]
    if isinstance(value, (list, tuple)):
        return [text for held in value for text in words_of(held)]
    if not isinstance(value, str):
        return []
    drawn = value.lstrip().startswith("<svg")
    return re.findall(r">([^<]+)</(?:text|title|desc)>", value) if drawn else [value]


def plain(text: str) -> str:
    """Without the marks around names and the blanks that keep a figure together."""
    return re.sub(r"[\u2066-\u2069\u200b]", "", html.unescape(text)).replace("\u00a0", " ").replace("\u202f", " ")


def texts_of(plan):
    """(output, text) of what a reader of any output meets, but for pages already seen: PDF and GeoPackage say these."""
    for kind in ("commander", "driver", "crew"):
        yield from ((kind, text) for text in words_of(sheet_content(plan, kind)))
    yield from (("briefing", line) for line in briefing_text(plan).splitlines())
    for what, page in (("panel", panel_html(plan)), ("legend", legend_html(plan))):
        yield from ((what, text) for text in re.split(r"<[^>]+>", page))
    best = plan.best
    layers = [*ground_shapes(plan), must_serve(plan)]
    features = [f for _, held, _ in layers for f in held] + [*spot_marks(plan), *drive_shapes(best, plan)]
    for shape in (*features, *decision_shapes(best, plan), *aim_shapes(best, plan)):
        for key in ("t", "p", "i"):
            yield from (("map", text) for text in re.split(r"<[^>]+>", str(shape["properties"].get(key, ""))))
    numbers = r"<(ele|coordinates)>[^<]*</\1>"  # GPX 1.1 and KML 2.2 set the unit of their numbers
    for what, page in (("gpx", routes_gpx(plan)), ("kml", places_kml(plan))):
        yield from ((what, text) for text in re.split(r"<[^>]+>", re.sub(numbers, "", page)))
    yield from (("ranking", line) for line in ranking_csv(plan).splitlines())


def findings_of(plan, units):
    for finding in (*plan.findings, *(f for r in plan.spots for f in r.evaluation.findings)):
        words = said(finding, units)
        yield from ((finding.code, text) for text in (words.message, words.remedy))


def test_a_us_reader_meets_no_meter(plan):
    told = [*texts_of(in_units(plan, "us")), *findings_of(plan, US)]
    assert sum(bool(lengths(plain(text), US_UNIT)) for _, text in told) > 50
    assert not [(what, found) for what, text in told for found in lengths(plain(text), METRIC_UNIT)]


def test_a_metric_reader_meets_no_foot(plan):
    told = [*texts_of(in_units(plan, "metric")), *findings_of(plan, METRIC)]
    assert sum(bool(lengths(plain(text), METRIC_UNIT)) for _, text in told) > 50
    assert not [(what, found) for what, text in told for found in lengths(MPH.sub(" ", plain(text)), US_UNIT)]


def test_of_both_systems_the_driver_meets_each_length_in_both(plan):
    """The one text message of 160 characters and what the eye judges are told once, and so are labels of drawings."""
    both = in_units(plan, "both")
    content = sheet_content(both, "driver")
    content = {key: held for key, held in content.items() if key != "first_line" and not key.endswith("_svg")}
    briefing = briefing_text(both).split("-" * 20)
    texts = [*words_of(content), *briefing[1].strip().splitlines()[1:]]
    found = [one for text in texts for one in ONE_ONLY.findall(ROUGH.sub(" ", plain(text)))]
    assert not found, [text for text in texts if ONE_ONLY.search(ROUGH.sub(" ", plain(text)))]
    assert any("ft)" in text for text in texts)
