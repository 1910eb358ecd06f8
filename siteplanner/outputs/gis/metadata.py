"""The package's metadata record: ISO 19115 in the XML of ISO/TS 19139 (namespaces gmd, gco of 2005).

Elements stand in the order of that schema. What is not known carries `gco:nilReason`, as the schema asks.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable
from typing import Any

from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.data_record import (
    PURPOSE,
    abstract_words,
    accuracy_words,
    lineage_words,
    source_words,
    use_limits,
)
from siteplanner.planning.telling.units import reader_units

GMD, GCO = "http://www.isotc211.org/2005/gmd", "http://www.isotc211.org/2005/gco"
CODES = "http://www.isotc211.org/2005/resources/codeList.xml"
KEYWORDS = ("communications trailer", "site selection", "radio coverage", "emergency response")


def _gmd(tag: str, *children: ET.Element, **attributes: str) -> ET.Element:
    made = ET.Element(f"{{{GMD}}}{tag}", attributes)
    made.extend(children)
    return made


def _gco(tag: str, text: str) -> ET.Element:
    made = ET.Element(f"{{{GCO}}}{tag}")
    made.text = clean(text)
    return made


def _text(tag: str, text: str) -> ET.Element:
    return _gmd(tag, _gco("CharacterString", text)) if text else _nil(tag)


def _nil(tag: str) -> ET.Element:
    return _gmd(tag, **{f"{{{GCO}}}nilReason": "unknown"})


def _code(tag: str, kind: str, value: str) -> ET.Element:
    return _gmd(tag, _gmd(kind, codeList=f"{CODES}#{kind}", codeListValue=value))


def _wrapped(tag: str, inner: str, children: Iterable[ET.Element]) -> ET.Element:
    return _gmd(tag, _gmd(inner, *children))


def metadata_xml(plan: Plan, made: str) -> str:
    """The record as XML text. `made`: date and time of the plan, ISO 8601; ''."""
    ET.register_namespace("gmd", GMD)
    ET.register_namespace("gco", GCO)
    name = clean(plan.mission.name)
    root = _gmd(
        "MD_Metadata",
        _text("language", "eng"),
        _code("characterSet", "MD_CharacterSetCode", "utf8"),
        _code("hierarchyLevel", "MD_ScopeCode", "dataset"),
        _contact("contact", plan),
        _moment("dateStamp", made) if made else _nil("dateStamp"),
        _text("metadataStandardName", "ISO 19115 Geographic information - Metadata"),
        _text("metadataStandardVersion", "ISO/TS 19139:2007"),
        _reference_system(plan),
        _identification(plan, name, made),
        _quality(plan),
    )
    ET.indent(root, " ")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def _contact(tag: str, plan: Plan) -> ET.Element:
    """Who to ask stands on no file: the mission is named, and what made the data."""
    software = f"{plan.software.get('name', 'siteplanner')} {plan.software.get('version', '')}"
    parts = (
        _text("organisationName", clean(plan.mission.name)),
        _text("positionName", f"Whoever ran {software} for this mission"),
        _code("role", "CI_RoleCode", "pointOfContact"),
    )
    return _wrapped(tag, "CI_ResponsibleParty", parts)


def _reference_system(plan: Plan) -> ET.Element:
    authority = plan.scene.elevation.crs.to_authority()
    code, space = (authority[1], authority[0]) if authority else (plan.scene.elevation.crs.name, "")
    parts = [_text("code", code), *([_text("codeSpace", space)] if space else [])]
    identifier = _wrapped("referenceSystemIdentifier", "RS_Identifier", parts)
    return _wrapped("referenceSystemInfo", "MD_ReferenceSystem", [identifier])


def _citation(tag: str, title: str, made: str) -> ET.Element:
    created = [_moment("date", made), _code("dateType", "CI_DateTypeCode", "creation")]
    date = _wrapped("date", "CI_Date", created) if made else _nil("date")
    return _wrapped(tag, "CI_Citation", [_text("title", title), date])


def _moment(tag: str, made: str) -> ET.Element:
    """A date, or a date with its time."""
    return _gmd(tag, _gco("DateTime" if "T" in made else "Date", made))


def _identification(plan: Plan, name: str, made: str) -> ET.Element:
    limits = [_text("useLimitation", text) for text in (*use_limits(plan), PLANNING_AID)]
    words = [*(_text("keyword", word) for word in KEYWORDS), _code("type", "MD_KeywordTypeCode", "theme")]
    cell = _gco("Distance", f"{plan.scene.elevation.cell_size_m:g}")
    cell.set("uom", "m")
    return _wrapped(
        "identificationInfo",
        "MD_DataIdentification",
        [
            _citation("citation", name, made),
            _text("abstract", abstract_words(plan, reader_units(plan.mission))),
            _text("purpose", PURPOSE),
            _code("status", "MD_ProgressCode", "completed"),
            _contact("pointOfContact", plan),
            _wrapped("descriptiveKeywords", "MD_Keywords", words),
            _wrapped("resourceConstraints", "MD_Constraints", limits),
            _code("spatialRepresentationType", "MD_SpatialRepresentationTypeCode", "vector"),
            _wrapped("spatialResolution", "MD_Resolution", [_gmd("distance", cell)]),
            _text("language", "eng"),
            _code("characterSet", "MD_CharacterSetCode", "utf8"),
            _gmd("topicCategory", _gmd_text("MD_TopicCategoryCode", "utilitiesCommunication")),
            _extent(plan),
        ],
    )


def _gmd_text(tag: str, text: str) -> ET.Element:
    made = _gmd(tag)
    made.text = text
    return made


def _extent(plan: Plan) -> ET.Element:
    """Of the search ground's raster."""
    west, south, east, north = bounds_lonlat(plan)
    edges = (
        ("westBoundLongitude", west),
        ("eastBoundLongitude", east),
        ("southBoundLatitude", south),
        ("northBoundLatitude", north),
    )
    box = [_gmd(tag, _gco("Decimal", f"{value:.6f}")) for tag, value in edges]
    return _wrapped("extent", "EX_Extent", [_wrapped("geographicElement", "EX_GeographicBoundingBox", box)])


def bounds_lonlat(plan: Plan) -> tuple[float, float, float, float]:
    """West, south, east, north of the plan's raster, degrees; along its edges, not its corners alone."""
    import numpy as np

    grid: Any = plan.scene.elevation
    rows, cols = grid.shape
    r, c = np.linspace(-0.5, rows - 0.5, 21), np.linspace(-0.5, cols - 0.5, 21)
    around = (
        (r, np.full(21, -0.5)),
        (r, np.full(21, cols - 0.5)),
        (np.full(21, -0.5), c),
        (np.full(21, rows - 0.5), c),
    )
    x, y = (np.concatenate(v) for v in zip(*(grid.xy(a, b) for a, b in around), strict=True))
    lon, lat = grid.lonlat(x, y)
    return float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max())


def _quality(plan: Plan) -> ET.Element:
    level = _code("level", "MD_ScopeCode", "dataset")
    reports = [_report(text) for text in accuracy_words(plan)]
    steps = [_wrapped("processStep", "LI_ProcessStep", [_text("description", lineage_words(plan))])]
    sources = [_wrapped("source", "LI_Source", [_text("description", source_words(r))]) for r in plan.inputs]
    lineage = _wrapped("lineage", "LI_Lineage", [_text("statement", lineage_words(plan)), *steps, *sources])
    return _wrapped("dataQualityInfo", "DQ_DataQuality", [_wrapped("scope", "DQ_Scope", [level]), *reports, lineage])


def _report(text: str) -> ET.Element:
    """Accuracy in words: no figure that was measured against the world is to hand."""
    result = _wrapped(
        "result", "DQ_QuantitativeResult", [_nil("valueUnit"), _gmd("value", _gco("Record", "not measured"))]
    )
    return _wrapped("report", "DQ_QuantitativeAttributeAccuracy", [_text("measureDescription", text), result])
