"""Which layers of a vector file are read, and by which name the reader opens them."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from siteplanner.data.archives import unpack_kmz, unpack_shapefiles
from siteplanner.data.bounded import MOST_FEATURES
from siteplanner.data.formats import VECTOR_FORMATS, vector_driver
from siteplanner.data.geometry import Box, Kind
from siteplanner.errors import Finding, InputError, SeveralLayers

UNPACKED = "siteplanner-unpacked-"
MOST_LAYERS = 200  # each folder of a KML is one, and each is opened for itself
_GPX_LAYERS: dict[str, Kind] = {"waypoints": "point", "routes": "line", "tracks": "line"}


@contextmanager
def opened(
    path: Path, role: str, kinds: set[Kind], layer: str | None, findings: list[Finding]
) -> Iterator[list[tuple[str, str | None]]]:
    """The (connection, layer) pairs to read; archives live in a temporary folder meanwhile.

    `layer`: the one asked for. Findings are added to `findings`. Raises InputError; SeveralLayers where more than one
    fits.
    """
    with tempfile.TemporaryDirectory(prefix=UNPACKED) as folder:
        try:
            yield _parts(path, Path(folder), role, kinds, layer, findings)
        except InputError as error:
            if error.file is None or not error.file.startswith(folder):
                raise
            what = f"In {Path(error.file).name}: {error.what}"  # the user knows the archive, not our folder
            raise error.placed(what=what, file=path) from None


def _parts(
    path: Path, folder: Path, role: str, kinds: set[Kind], layer: str | None, findings: list[Finding]
) -> list[tuple[str, str | None]]:
    import pyogrio

    driver = vector_driver(path)
    if driver == "ZIP":
        shapes = unpack_shapefiles(path, folder)
        for shape in shapes:
            vector_driver(shape)
        types = [(s.stem, str(info_of(str(s), None, path)["geometry_type"])) for s in shapes]
        chosen = _choose(types, role, kinds, layer, path)
        return [(str(next(s for s in shapes if s.stem == chosen)), None)]
    if driver == "KMZ":
        path = unpack_kmz(path, folder)
        driver = vector_driver(path)
    connection = f"GeoJSON:{path}" if driver == "GeoJSON" else str(path)
    if driver != "GeoJSON" and "!" in connection:
        raise InputError("Paths with '!' cannot be read.", remedy="Rename the file or folder.", file=path)
    if driver == "GPKG":
        _no_views(path)
    try:
        layers = [(str(name), str(kind)) for name, kind in pyogrio.list_layers(connection)]
    except (pyogrio.errors.DataSourceError, UnicodeDecodeError) as error:
        raise unreadable(error, path) from None
    if driver == "GPX":
        found: list[tuple[str, str | None]] = [(connection, n) for n, _ in layers if _GPX_LAYERS.get(n) in kinds]
        if kinds == {"polygon"}:
            raise InputError(
                "A GPX file has waypoints, routes and tracks, but no areas.",
                remedy=f"Draw the {role} as a polygon, e.g. in GeoJSON or KML.",
                file=path,
            )
        return found or [(connection, layers[0][0])]
    if len(layers) > MOST_LAYERS:
        raise InputError(
            f"The file has {len(layers):,} layers; at most {MOST_LAYERS} are read.",
            remedy="Export the one that is needed.",
            file=path,
        )
    if driver == "LIBKML" and layer is None:
        return [(connection, name) for name, _ in layers]
    if len(layers) == 1 and layer is None:
        return [(connection, layers[0][0])]
    chosen = _choose(layers, role, kinds, layer, path)
    if layer is None:
        others = tuple(name for name, _ in layers if name != chosen)
        findings.append(
            Finding(
                "layer_chosen",
                "note",
                file=path.name,
                facts={"layer": chosen, "others": others},
            )
        )
    return [(connection, chosen)]


def _no_views(path: Path) -> None:
    """Raises InputError for a GeoPackage whose layers are views: a view can be a query without end."""
    import sqlite3

    from siteplanner.data.sqlite_files import read_only

    try:
        with read_only(path) as base:
            views = base.execute(
                "select c.table_name from gpkg_contents c join sqlite_master m on lower(m.name) = lower(c.table_name) "
                "where m.type = 'view'"
            ).fetchall()
    except sqlite3.Error as error:
        raise unreadable(error, path) from None
    if views:
        raise InputError(
            f"The layer {str(views[0][0])[:60]} is a view, a stored query, not a table.",
            remedy="Export it as a layer of its own.",
            file=path,
        )


def _choose(layers: list[tuple[str, str]], role: str, kinds: set[Kind], layer: str | None, path: Path) -> str:
    """The layer asked for, or the only one that can hold the kinds, or the one that bears the role's name."""
    listed = ", ".join(f"{name} ({kind})" for name, kind in layers) or "none"
    names = [name for name, _ in layers]
    if layer is not None:
        if names.count(layer) == 1:
            return layer
        raise InputError(
            f"There is no single layer {layer!r} in the file. It has: {listed}.",
            remedy="Name one of these.",
            file=path,
        )
    if len(layers) == 1:
        return names[0]
    fitting = [name for name, kind in layers if _may_hold(kind, kinds)]
    chosen = fitting if len(fitting) == 1 else [name for name in fitting if name.lower() == role.lower()]
    if len(chosen) == 1:
        return chosen[0]
    remedy = f"Name one as {path.name}|layer."
    if fitting:
        raise SeveralLayers(f"Several layers fit; the file has: {listed}.", layers=fitting, remedy=remedy, file=path)
    raise InputError(f"No layer has a {' or '.join(sorted(kinds))}; the file has: {listed}.", remedy=remedy, file=path)


def _may_hold(ogr_type: str, kinds: set[Kind]) -> bool:
    if ogr_type == "None":
        return False
    words = {"polygon": ("Polygon", "Surface"), "line": ("Line", "Curve"), "point": ("Point",)}
    known = [kind for kind, parts in words.items() if any(part in ogr_type for part in parts)]
    return not known or any(kind in kinds for kind in known)


def info_of(connection: str, layer: str | None, path: Path) -> dict[str, Any]:
    """What the file says of a layer. Raises InputError."""
    import pyogrio

    try:
        info = pyogrio.read_info(connection, layer=layer, force_feature_count=True, force_total_bounds=True)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, UnicodeDecodeError) as error:
        raise unreadable(error, path) from None
    if info["driver"] not in VECTOR_FORMATS and info["driver"] != "KML":
        raise InputError(f"The driver {info['driver']} is not on the list.", remedy="Use a listed format.", file=path)
    return info


def table_of(connection: str, layer: str | None, box: Box | None, told: int) -> Any:
    """The features whose box meets `box` (all without it), `MOST_FEATURES` at most.

    `told`: how many the file says it has. That is not to be believed, but room is made for every feature that is asked
    for before the first is read (64 MB for two million of four columns): so one more than told is asked for first.
    Raises what `pyogrio` raises.
    """
    import pyogrio

    first = min(told + 1, MOST_FEATURES) if told >= 0 else MOST_FEATURES  # a count beyond 32 bits arrives below zero
    for most in (first, MOST_FEATURES):
        frame = pyogrio.read_dataframe(
            connection,
            layer=layer,
            bbox=box,
            on_invalid="fix",
            datetime_as_string=True,
            use_arrow=False,
            max_features=most,
        )
        if len(frame) < most:
            break
    return frame


def unreadable(error: Exception, path: Path) -> InputError:
    """The error of a library as one of ours."""
    if isinstance(error, UnicodeDecodeError):
        return InputError(
            f"Its text is not in the encoding it claims ({error.reason} at byte {error.start}).",
            remedy="Export it in UTF-8; a shapefile says its encoding in a .cpg file.",
            file=path,
        )
    return InputError(
        f"The file cannot be read; it may be damaged or cut short ({str(error)[:300]}).",
        remedy="Copy or export it again.",
        file=path,
    )
