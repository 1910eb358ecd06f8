"""Files that a user brings: saved under safe names, looked at, and taken for something.

What a file is taken for is a guess that the user can correct; the guess looks at the kind of shapes, then the
file's name, then its columns. Nothing here opens a layer: `siteplanner.data` does, by its allow-list.
"""

from __future__ import annotations

import os
import re
import shutil
import unicodedata
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from siteplanner.app.roles import Role, roles_of_layers
from siteplanner.data.records import SHAPEFILE_PARTS, Held, InputRecord, sha256_of
from siteplanner.errors import Finding, InputError, SeveralLayers
from siteplanner.outputs.words.text import clean
from siteplanner.planning.telling.first_mission import Clue
from siteplanner.planning.telling.inputs import holds_words

Kind = Literal["raster", "polygon", "line", "point", "table", "mission", "part", "unknown"]
ROLES: dict[str, Role] = roles_of_layers()
"""Every layer that a mission can name, as the mission's own model says."""
UNUSED = "unused"
NEEDED = tuple(role for role, held in ROLES.items() if held.needed)
NAME_WORDS: dict[str, tuple[str, ...]] = {
    "donor_sites": ("donor", "radiotower", "repeater", "basestation", "backhaul"),
    "parcels": ("parcel", "cadast", "landowner"),
    "landing_zones": ("airport", "heliport", "helispot", "helibase", "landing", "runway", "airstrip"),
    "known_cells": ("knowncell", "othercell", "celltower", "neighborcell", "cellsite"),
    "license_area": ("license", "licence"),
    "staging": ("staging", "yard", "depot"),
    "closures": ("roadclos", "closedroad", "roadblock", "bridgeout"),
    "extra_tracks": ("extratrack", "newtrack", "addedtrack", "drawntrack", "dozerline"),
    "land_cover": ("landcover", "landuse", "landclass"),
    "people": ("people", "population", "inhabitant", "persons"),
    "surface": ("surface", "dsm", "canopy", "tree", "firstreturn", "vegetation"),
    "elevation": ("elevation", "dem", "dtm", "terrain", "bareearth", "height", "ground", "srtm"),
    "hazards": ("hazard", "flood", "slide", "danger", "burn", "avalanche", "plume", "risk"),
    "keep_out": ("keepout", "exclusion", "nogo", "closed", "closure", "private", "protected", "cultural", "wilderness"),
    "structures": ("structure", "building", "fence", "wall", "tank", "house"),
    "soft_ground": ("softground", "soft", "wetland", "marsh", "swamp", "bog", "peat", "wetsoil"),
    "water": ("water", "stream", "river", "lake", "creek", "hydro", "pond"),
    "incident_area": ("incident", "area", "perimeter", "aoi", "fire", "search", "zone", "extent", "boundary"),
    "power_lines": ("power", "electric", "transmission", "overhead", "utility", "voltage", "wire"),
    "roads": ("road", "street", "highway", "track", "way", "transport"),
    "spots": ("spot", "candidate", "site", "pad", "parking", "proposed"),
    "must_serve": ("must", "serve", "camp", "post", "facility", "shelter", "drop", "point", "place"),
}
COLUMN_WORDS: dict[str, tuple[str, ...]] = {
    "power_lines": ("voltage", "voltage_kv", "kv"),
    "roads": ("highway", "surface", "oneway", "maxheight", "maxweight", "tracktype"),
    "water": ("waterway", "water"),
    "structures": ("building", "barrier"),
}
FALLBACK: dict[Kind, str] = {
    "raster": "elevation",
    "polygon": "incident_area",
    "line": "roads",
    "point": "must_serve",
    "table": "wind_forecast",
}
BY_HAND = Clue("user")
MAX_FILES, MAX_BYTES = 200, 4 << 30
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)$", re.IGNORECASE)


@dataclass(frozen=True)
class Brought:
    """One file (or one kind of shapes in it) as it was taken. `path` may name a layer: `file.gpkg|roads`."""

    path: str  # bare name inside the work folder
    kind: Kind
    role: str
    record: InputRecord | None = None
    findings: tuple[Finding, ...] = ()
    problem: InputError | None = None
    clue: Clue = BY_HAND
    columns: tuple[str, ...] = ()  # as the file spells them
    mapped: tuple[tuple[str, str, Clue], ...] = ()  # of a road layer with other columns: key, column, by what

    @property
    def usable(self) -> bool:
        return self.problem is None and self.kind in FALLBACK


def safe_name(name: str) -> str:
    """A bare file name that every system takes and that leads nowhere: letters, digits, `.`, `-`, `_`.

    Raises InputError when nothing is left.
    """
    bare = unicodedata.normalize("NFKC", re.split(r"[\\/]", name)[-1])
    kept = re.sub(r"[^\w.\-]+", "_", bare).strip("._- ")
    stem, dot, ending = kept.rpartition(".")
    stem, ending = (stem, ending) if dot else (ending, "")
    if not stem:
        raise InputError(f"The file name {name[:40]!r} cannot be used.", remedy="Rename the file with plain letters.")
    if _RESERVED.match(stem.split(".")[0]):
        stem = f"{stem}_"
    return _cut(stem[:80], 160) + (f".{_cut(ending[:12], 24)}" if ending else "")


def _cut(text: str, most_bytes: int) -> str:
    """A name of as many letters as fit into so many bytes: file systems count bytes, and some letters take four."""
    return text.encode("utf-8", "replace")[:most_bytes].decode("utf-8", "ignore")


def save(name: str, content: bytes | Path, folder: Path) -> Path:
    """Put one upload, from memory or from where it lies, into the work folder; the same name again replaces it.

    Raises InputError for an empty file and for more than MAX_FILES files or MAX_BYTES together, and for a file that
    cannot be kept.
    """
    safe = safe_name(name)
    size = _size(content, safe)
    if not size:
        raise InputError("The file is empty (0 bytes).", remedy="Copy it again.", file=safe)
    others = [p for p in folder.iterdir() if p.is_file() and p.name != safe]
    if len(others) >= MAX_FILES:
        raise InputError(
            f"There are {len(others)} files already.", remedy="Remove some, or zip a layer's parts.", file=safe
        )
    if sum(p.stat().st_size for p in others) + size > MAX_BYTES:
        raise InputError(
            "The files together are larger than 4 GB.",
            remedy="Crop the rasters to the incident first, or name the files in a mission file and open that.",
            file=safe,
        )
    path = folder / safe
    staged = path.with_name(f".{safe}.part")
    try:
        if isinstance(content, bytes):
            staged.write_bytes(content)
        else:
            _second_name(content, staged)
        staged.replace(path)
    except OSError as error:
        with suppress(OSError):
            staged.unlink(missing_ok=True)
        raise InputError(
            f"The file could not be kept ({error.strerror}).",
            remedy="Free space on the disk of this computer, then drop it again.",
            file=safe,
        ) from None
    return path


def _size(content: bytes | Path, name: str) -> int:
    try:
        return len(content) if isinstance(content, bytes) else content.stat().st_size
    except OSError:
        raise InputError("The file can no longer be read.", remedy="Drop it again.", file=name) from None


def _second_name(source: Path, place: Path) -> None:
    """The same file under another name, or a copy where it can have only one. Raises OSError."""
    place.unlink(missing_ok=True)
    try:
        os.link(source, place)
    except (OSError, NotImplementedError):
        shutil.copyfile(source, place)


def look_at(path: Path) -> list[Brought]:
    """What a saved file is taken for: one entry, or one for each kind of shapes in it."""
    ending = path.suffix.lower()
    if ending == ".toml" and _is_fleet(path):
        return [Brought(path.name, "part", UNUSED)]
    if ending in (".toml",) or _is_mission_json(path):
        return [Brought(path.name, "mission", "mission")]
    if ending in (".ttf", ".otf"):
        return [Brought(path.name, "part", UNUSED)]
    if (ending in SHAPEFILE_PARTS and ending != ".shp") or ending in (".tfw", ".aux", ".xml", ".sbn", ".sbx", ".qmd"):
        return [Brought(path.name, "part", UNUSED)]
    if ending == ".csv":
        return [_look_at_table(path)]
    if path.name.lower().endswith((".osm", ".pbf")):
        return [_look_at_extract(path)]
    try:
        raster = _look_at_raster(path)
    except InputError as not_raster:
        try:
            return _look_at_vector(path)
        except InputError as not_vector:
            problem = not_raster if _is_raster_ending(ending) else not_vector
            return [Brought(path.name, "unknown", UNUSED, problem=problem)]
    return [raster]


def _is_fleet(path: Path) -> bool:
    """A fleet file that came along with the mission that names it."""
    import tomllib

    try:
        held = tomllib.loads(path.read_text("utf-8-sig")) if path.stat().st_size <= 1 << 20 else {}
    except (ValueError, OSError, RecursionError):
        return False
    return "layers" not in held and isinstance(held.get("units"), list)


def _is_mission_json(path: Path) -> bool:
    if path.suffix.lower() != ".json" or path.stat().st_size > 1 << 20:
        return False
    import json

    try:
        held = json.loads(path.read_text("utf-8-sig"))
    except (ValueError, OSError):
        return False
    return isinstance(held, dict) and "layers" in held and "type" not in held


def _is_raster_ending(ending: str) -> bool:
    return ending in (".tif", ".tiff", ".asc", ".hgt", ".dem", ".img", ".nc", ".dt0", ".dt1", ".dt2", ".bil")


def _look_at_table(path: Path) -> Brought:
    from siteplanner.data.forecast import read_forecast
    from siteplanner.data.rise import read_rise

    try:
        return Brought(path.name, "table", "wind_forecast", read_forecast(path, "m/s")[1], clue=Clue("column", "speed"))
    except InputError as problem:
        try:
            return Brought(path.name, "table", "rise_forecast", read_rise(path)[1], clue=Clue("column", "level_m"))
        except InputError:
            return Brought(path.name, "unknown", UNUSED, problem=problem)


def _look_at_extract(path: Path) -> Brought:
    """An OpenStreetMap extract: known by its format and not read here, for it may be that of a whole country."""
    from siteplanner.data.formats import local_file, vector_driver

    try:
        if vector_driver(local_file(path)) != "OSM":
            raise InputError("This is no OpenStreetMap extract.", remedy="Rename it to what it is.", file=path)
    except InputError as problem:
        return Brought(path.name, "unknown", UNUSED, problem=problem)
    return Brought(path.name, "line", "roads", clue=Clue("format", "an OpenStreetMap extract"))


def _look_at_raster(path: Path) -> Brought:
    from siteplanner.data.raster_source import open_raster
    from siteplanner.data.records import crs_name

    with open_raster(path) as source:
        d = source.dataset
        record = InputRecord(
            "",
            path.name,
            sha256_of(path),
            crs_name(source.crs),
            source.unit or "not stated",
            source.extent_lonlat,
            d.width * d.height,
            Held("cells", columns=d.width, rows=d.height, driver=d.driver),
        )
        role, clue = guess("raster", path.name, ())
        return Brought(path.name, "raster", role, record, source.findings, clue=clue)


def _look_at_vector(path: Path) -> list[Brought]:
    """All shapes at once; one entry for each layer of a file with several, and for each kind of a mixed one."""
    kinds: tuple[Kind, ...] = ("polygon", "line", "point")
    try:
        return [_taken(path, set(kinds))]
    except SeveralLayers as several:
        return [_layer(path, set(kinds), name) for name in several.layers]
    except InputError as error:
        found, problem = [], error
        for kind in kinds:
            try:
                found.append(_taken(path, {kind}))
            except SeveralLayers as several:
                found += [_layer(path, {kind}, name) for name in several.layers]
            except InputError:
                continue
        if not found:
            raise problem from None
        return found


def _layer(path: Path, kinds: set[Any], name: str) -> Brought:
    """One of several layers of a file; what cannot be read of it stands in its place."""
    try:
        return _taken(path, kinds, name)
    except InputError as problem:
        return Brought(f"{path.name}|{name}", "unknown", UNUSED, problem=problem)


def _taken(path: Path, kinds: set[Any], name: str | None = None) -> Brought:
    from siteplanner.app.column_guess import road_columns
    from siteplanner.data.grid import WGS84
    from siteplanner.data.vectors import read_layer

    layer = read_layer(path, path.name, target_crs=WGS84, kinds=kinds, layer=name)
    counts = layer.frame.geometry.geom_type.str.lower().str.removeprefix("multi").value_counts()
    tally = {
        kind: sum(int(n) for name, n in counts.items() if kind in str(name)) for kind in ("polygon", "line", "point")
    }
    kind: Any = max(tally, key=lambda k: tally[k])
    columns = tuple(str(c) for c in layer.frame.columns if c != layer.frame.geometry.name)
    record = replace(layer.record, held=Held("features", kept=len(layer.frame), shape=kind))
    mapped = road_columns(layer.frame) if kind == "line" else ()
    role, clue = guess(
        kind, name or path.name, [c.lower() for c in columns], bool(mapped) and mapped[0][0] == "highway"
    )
    where = path.name if name is None else f"{path.name}|{name}"
    return Brought(where, kind, role, record, layer.findings, None, clue, columns, mapped)


def held_words(item: Brought) -> str:
    """Count, CRS, unit and extent in a line."""
    r = item.record
    if r is None:
        return ""
    box = ", ".join(f"{v:.3f}" for v in r.extent_lonlat)
    unit = (
        f"; heights in {r.unit}"
        if item.kind == "raster" and r.unit != "not stated"
        else ("; unit of heights not stated" if item.kind == "raster" else "")
    )
    return clean(f"{holds_words(r.held)}; {r.crs}{unit}; west, south, east, north {box}")


def roles_for(kind: Kind) -> list[str]:
    """Roles that shapes of a kind can have; roads are closed by points, lines and polygons alike."""
    return [role for role, held in ROLES.items() if kind in held.kinds]


def guess(kind: Kind, name: str, columns: Iterable[str], road_values: bool = False) -> tuple[str, Clue]:
    """The likeliest role of a file of some kind and by what: its name, its columns, its values, what is most common.

    `columns`: in lower case; `road_values`: whether a column holds classes of roads.
    """
    fitting = roles_for(kind)
    if not fitting:
        return UNUSED, Clue("shapes", kind)
    words = re.sub(r"[^a-z]", "", Path(name).stem.lower())
    for role in NAME_WORDS:  # the telling words first: `hazard_areas` are hazards
        told = next((word for word in NAME_WORDS[role] if word in words), None)
        if role in fitting and told:
            return role, Clue("name", told)
    if kind in ("point", "line") and "clos" in words:
        return "closures", Clue("name", "clos")
    held = set(columns)
    for role, wanted in COLUMN_WORDS.items():
        if role in fitting and held & set(wanted):
            return role, Clue("column", next(w for w in wanted if w in held))
    if road_values and "roads" in fitting:
        return "roads", Clue("values", "classes of roads")
    return FALLBACK[kind], Clue("shapes", kind)


def one_each(brought: Iterable[Brought]) -> list[Brought]:
    """Where a role takes one file and several were guessed, the later ones move to a role that takes several."""
    out, taken = [], set()
    spill = {"incident_area": "keep_out"}
    for item in brought:
        role = item.role
        clue = item.clue
        if role in taken and role in ROLES and not ROLES[role].several:
            clue = Clue("place taken", ROLES[role].words.lower())
            role = spill.get(role, UNUSED)
        taken.add(role)
        out.append(replace(item, role=role, clue=clue))
    return out


def layers_of(brought: Iterable[Brought]) -> dict[str, Any]:
    """The mission's `layers` from the roles as they stand. Raises InputError: a role is missing or given twice."""
    layers: dict[str, Any] = {}
    for item in brought:
        if not item.usable or item.role not in ROLES:
            continue
        words, several = ROLES[item.role].words, ROLES[item.role].several
        if several:
            layers.setdefault(item.role, []).append(item.path)
        elif item.role in layers:
            raise InputError(
                f"Two files are used as {words.lower()}: {layers[item.role]} and {item.path}.",
                remedy="Choose another role for one of them.",
                field=f"layers.{item.role}",
            )
        else:
            layers[item.role] = item.path
    missing = [ROLES[role].words.lower() for role in NEEDED if role not in layers]
    if missing:
        raise InputError(
            f"Still missing: {', '.join(missing)}.", remedy="Bring the file, or choose its role below.", field="layers"
        )
    return layers
