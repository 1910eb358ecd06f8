"""A name from a file never becomes something to click on, nor markup, in what leaves the tool."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from siteplanner.outputs.gis.gpx import routes_gpx
from siteplanner.outputs.gis.kml import places_kml
from siteplanner.outputs.map.map import map_html
from siteplanner.outputs.sheets.print_map import write_print_map
from siteplanner.outputs.sheets.printing import sheet_pdf
from tests.outputs.factory import make_plan

ADDRESSES = (
    "http://host.example/a", "https://host.example", "javascript:alert(1)", "file:///etc/passwd", "www.host.example",
    "mailto:a@host.example", "a@host.example", "tel:+15550100", "data:text/html,x", "//host.example/b",
    "[x](http://host.example)", '#link("http://host.example")[x]', "<http://host.example>",
    '<img src="http://host.example/i.png">',
)  # fmt: skip
LINKED = re.compile(r"\w+://\w|www\.\w|\w@\w")
KML = "{http://www.opengis.net/kml/2.2}"


@pytest.fixture(scope="module")
def addressed():
    return make_plan(names=ADDRESSES, mission_name=" ".join(ADDRESSES))


def clickable(data: bytes) -> list[str]:
    """Annotations and actions of a PDF (ISO 32000-1, sections 12.5 and 12.6)."""
    held = PdfReader(io.BytesIO(data))
    root = held.trailer["/Root"]
    assert len(held.pages) > 0
    return [str(page["/Annots"]) for page in held.pages if "/Annots" in page] + [
        name for name in ("/OpenAction", "/AA", "/URI", "/AcroForm") if name in root
    ]


@pytest.mark.parametrize("kind", ["commander", "driver", "crew"])
def test_no_sheet_has_anything_to_click_on(kind, addressed):
    data = sheet_pdf(addressed, kind)
    assert clickable(data) == []
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    assert "host.example" in text.replace("\u200b", "")


def test_the_print_map_has_nothing_to_click_on(addressed, tmp_path):
    write_print_map(addressed, tmp_path / "print_map.pdf")
    assert clickable((tmp_path / "print_map.pdf").read_bytes()) == []


class Page(HTMLParser):
    """Tags of a page that lead or load somewhere, and its scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.leads: list[str] = []
        self.scripts: list[str] = []
        self.numbers: str | None = None

    def handle_starttag(self, tag, attrs):
        self.leads += [f"{tag} {k}={v[:60]}" for k, v in attrs if k in ("href", "src", "action") and v]
        if tag == "script":
            self.scripts.append("")
        if ("name", "format-detection") in attrs:
            self.numbers = dict(attrs)["content"]

    def handle_data(self, data):
        if self.lasttag == "script" and self.scripts:
            self.scripts[-1] += data


def test_the_map_leads_nowhere(addressed):
    page = Page()
    page.feed(map_html(addressed))
    assert [lead for lead in page.leads if "data:image/" not in lead] == []
    assert page.numbers == "telephone=no,date=no,address=no,email=no"
    # what scripts put into the page: popups are HTML inside JSON; names stand there with their corners escaped
    own = "".join(s for s in page.scripts if "L.map(" in s or "host.example" in s)
    assert "host.example" in own
    assert not re.findall(r"<(?:a|img|iframe|form|object)\b[^>]{0,80}host\.example", own)
    assert not re.findall(r"(?:href|src)\s*=\s*[\\\"']+[^\"'>]{0,20}host\.example", own)


def test_kml_is_read_as_html_and_makes_links_of_addresses(addressed):
    root = ET.fromstring(places_kml(addressed))
    assert not [e.tag for e in root.iter() if e.tag in (f"{KML}href", f"{KML}NetworkLink", f"{KML}link")]
    texts = [e.text or "" for name in ("name", "description") for e in root.iter(f"{KML}{name}")]
    assert any("host.example" in text for text in texts)
    for text in texts:
        assert "<" not in text
        assert not LINKED.search(text), text


def test_gpx_has_no_links(addressed):
    root = ET.fromstring(routes_gpx(addressed))
    assert not [e.tag for e in root.iter() if e.tag.rpartition("}")[2] in ("link", "url", "href")]
