"""The deployment package: every output in one zip, with a plain README and a manifest of hashes."""

from __future__ import annotations

import hashlib
import json
import zipfile
from fnmatch import fnmatchcase
from pathlib import Path

from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.units import reader_units
from siteplanner.planning.telling.words import BEFORE_ACTING, recommendation

FIRST_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold: same files, same bytes
CONTENTS: dict[str, str] = {
    "commander.pdf": "one page for the commander",
    "driver.pdf": "way, hazards and rig limits for the driver",
    "crew.pdf": "set-up, aiming and cautions for the crew",
    "driver_*.pdf": "the driver's sheet of a second trailer, or of a unit",
    "crew_*.pdf": "the crew's sheet of a second trailer, or of a unit",
    "print_map.pdf": "a map to print, true to scale, with grid, scale bar and legend",
    "print_map.tif": "the picture of that map with its place on Earth, for GIS and phones (GeoTIFF)",
    "briefing.txt": "the three sheets as short plain text, to send over a weak link",
    "as_built_report.toml": "what the crew reported, where this is of a trailer that stands already",
    "map.html": "the map; open it in a browser, no network needed",
    "ranking.csv": "the spots handed over in full, as a table",
    "judged.csv": "every spot that was judged and passes, a row a spot",
    "routes.gpx": "drives and places for navigation devices",
    "places.kml": "places and drives for globes and phones",
    "package.gpkg": "all layers with styles for GIS (GeoPackage)",
    "coverage.tif": "predicted service of the best spot, 0 to 1 (GeoTIFF)",
    "service_*.tif": "predicted service of one spot each, per cent (GeoTIFF; the spot's grid reference in the name)",
    "set_service.tif": "predicted service of the best two trailers together, per cent (GeoTIFF)",
    "set_server.tif": "which of the two trailers serves each cell (GeoTIFF; names in set_server.tif.aux.xml)",
    "ruling.tif": "first limit that rules each cell out (GeoTIFF; names in ruling.tif.aux.xml)",
    "ruling_bits.tif": "every limit, one bit each (GeoTIFF)",
    "plan.json": "every figure, parameter and input fingerprint",
}


def readme_text(plan: Plan, names: list[str]) -> str:
    """What the package is and what is in it, for someone who has never seen the tool."""
    units = reader_units(plan.mission)
    width = max((len(name) for name in names), default=0)
    rows = [f"  {name.ljust(width)}  {_what(name)}".rstrip() for name in names]
    return "\n".join(
        [
            f"Deployment package: {clean(plan.mission.name)}",
            "",
            clean(recommendation(plan, units.first)),
            "",
            "Print commander.pdf, driver.pdf and crew.pdf, or open map.html. Nothing here needs the Internet.",
            "",
            *rows,
            "  manifest.json  SHA-256 of every file above",
            "",
            "Cautions",
            *(f"- {word}: {text}" for word, text in BEFORE_ACTING),
            f"- {PLANNING_AID}",
            "",
            f"Made by {plan.software.get('name', 'siteplanner')} {plan.software.get('version', '')} "
            f"{plan.software.get('created', '')}".rstrip(),
            "",
        ]
    )


def _what(name: str) -> str:
    return next((text for pattern, text in CONTENTS.items() if fnmatchcase(name, pattern)), "")


def sha256_hex(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def write_package(plan: Plan, path: Path) -> None:
    """Zip the files that stand beside `path`, with README.txt and manifest.json, names in order.

    The manifest holds name, size and SHA-256 of every other file in the zip.
    """
    path = Path(path)
    files = sorted(p for p in path.parent.iterdir() if p.is_file() and p != path and p.suffix != ".zip")
    readme = readme_text(plan, [p.name for p in files]).encode()
    rows = []
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as held:
        for name, data in [("README.txt", readme), *((p.name, None) for p in files)]:
            content = data if data is not None else (path.parent / name).read_bytes()
            rows.append({"file": name, "bytes": len(content), "sha256": sha256_hex(content)})
            _add(held, name, content)
        manifest = {"package": clean(plan.mission.name), "software": plan.software, "files": rows}
        _add(held, "manifest.json", (json.dumps(manifest, ensure_ascii=False, indent=1) + "\n").encode())


def _add(held: zipfile.ZipFile, name: str, data: bytes) -> None:
    entry = zipfile.ZipInfo(name, FIRST_DATE)
    entry.external_attr = 0o644 << 16
    packed = (".tif", ".pdf")  # packed already
    entry.compress_type = zipfile.ZIP_STORED if name.endswith(packed) else zipfile.ZIP_DEFLATED
    held.writestr(entry, data)
