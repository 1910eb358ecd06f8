"""Which files may be opened at all, decided by what is inside them before GDAL sees them.

GDAL also reads virtual datasets, web services and catalogues that name other files or hosts. A layer that comes
by mail must not do that, so the first bytes pick one driver of the lists below and GDAL gets no other choice.
"""

from __future__ import annotations

import errno
import re
from difflib import get_close_matches
from pathlib import Path
from xml.parsers import expat

from siteplanner.data.geojson_crs import stated_crs
from siteplanner.data.hdf5_files import check_own_storage
from siteplanner.errors import InputError

VECTOR_FORMATS = {
    "GeoJSON": (".geojson", ".json"),
    "GPKG": (".gpkg",),
    "ESRI Shapefile": (".shp",),
    "FlatGeobuf": (".fgb",),
    "LIBKML": (".kml",),
    "GPX": (".gpx",),
    "KMZ": (".kmz",),
    "ZIP": (".zip",),
    "OSM": (".pbf", ".osm"),
}
VECTOR_WORDS = "GeoJSON, GeoPackage, Shapefile (.shp or .zip), KML, KMZ, GPX, FlatGeobuf; roads as .osm.pbf too"
RASTER_WORDS = "GeoTIFF, ASCII grid, SRTM HGT, DTED, ERDAS IMG, USGS DEM, netCDF grid, GeoPackage raster"
_SQLITE = b"SQLite format 3\x00"
_VECTOR_REMEDY = f"Export the layer as one of: {VECTOR_WORDS}."
_RASTER_REMEDY = f"Export the raster as one of: {RASTER_WORDS}."


def local_file(path: str | Path) -> Path:
    """The absolute path of a plain local file.

    Raises InputError for names of other places (URLs, GDAL's virtual file systems), for what does not exist and
    for what is not a file (folders, pipes, devices).
    """
    text = str(path)
    if "\x00" in text:
        raise InputError("The file name contains a NUL character.", remedy="Correct the name.", file=repr(text))
    if re.match(r"/?vsi|[a-z][a-z0-9+.-]+:/", text, re.IGNORECASE) and not Path(text).exists():
        raise InputError(
            "Only local files are read, not web addresses or GDAL's virtual paths.",
            remedy="Download the file and name the copy.",
            file=text,
        )
    full = Path(path).absolute()
    try:
        full.stat()
    except OSError as error:
        if error.errno not in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP):
            raise InputError(
                f"The file cannot be read ({error.strerror}).",
                remedy="Check the length of its name and the permissions of its folder.",
                file=text[:200],
            ) from None
    if full.is_dir():
        raise InputError(
            "This is a folder.",
            remedy='Name the file in it; where several are allowed, list them: ["a", "b"].',
            file=text,
        )
    if not full.exists():
        raise _not_there(full, text)
    if not full.is_file():
        raise InputError("This is not a plain file.", remedy="Name a plain file.", file=text)
    try:
        with full.open("rb") as stream:
            if not stream.read(1):
                raise InputError("The file is empty (0 bytes).", remedy="Copy it again.", file=text)
    except OSError as error:
        raise InputError(
            f"The file cannot be read ({error.strerror}).", remedy="Check its permissions.", file=text
        ) from None
    return full


def _not_there(full: Path, text: str) -> InputError:
    if full.is_symlink():
        return InputError("This link leads nowhere, or round in a circle.", remedy="Name the file itself.", file=text)
    if "*" in full.name or "?" in full.name:
        return InputError(
            "There is no such file; patterns with * are not read.", remedy='List the files: ["a", "b"].', file=text
        )
    try:
        names = {p.name.lower(): p.name for p in full.parent.iterdir() if p.is_file()}
    except OSError:
        return InputError(
            "There is no such file, nor a folder that could hold it.", remedy="Check the path.", file=text
        )
    close = [names[n] for n in get_close_matches(full.name.lower(), names, n=2, cutoff=0.75)]
    hint = f" Close, in the same folder: {', '.join(close)}." if close else ""
    return InputError(f"There is no such file.{hint}", remedy="Check the path.", file=text)


def _head(path: Path, size: int = 4096) -> bytes:
    with path.open("rb") as stream:
        return stream.read(size)


def _is_geopackage(head: bytes) -> bool:
    # application id at byte 68: "GPKG" since 1.2, "GP10"/"GP11" before (OGC 12-128r18, requirement 2)
    return head.startswith(_SQLITE) and head[68:72] in (b"GPKG", b"GP10", b"GP11")


def vector_driver(path: Path) -> str:
    """The driver for a vector file, from its content: a key of VECTOR_FORMATS.

    Raises InputError for anything off the list, for XML with a document type (entities can name files and can
    blow up) or that is not well formed, for a GeoJSON whose CRS is a link, and for a shapefile shorter than its own
    header says.
    """
    head = _head(path)
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith(b"PK\x03\x04"):
        return "KMZ" if path.suffix.lower() == ".kmz" else "ZIP"
    if _is_geopackage(head):
        return "GPKG"
    if head.startswith(b"fgb\x03fgb"):
        return "FlatGeobuf"
    if head.startswith(b"\x00\x00\x27\x0a"):  # 9994, big-endian: ESRI Shapefile Technical Description, p. 4
        _check_shapefile(path, head)
        return "ESRI Shapefile"
    if b"OSMHeader" in head[:16]:  # OpenStreetMap wiki, PBF Format: 4 bytes of length, then the first blob's type
        return "OSM"
    if text.startswith(b"{"):
        stated_crs(path)
        return "GeoJSON"
    if text.startswith(b"<") or head.startswith((b"\xff\xfe<", b"\xfe\xff\x00<")):
        return _xml_driver(path)
    if path.suffix.lower() in (".dbf", ".shx", ".prj", ".cpg"):
        raise InputError("This is a companion of a shapefile.", remedy="Name the .shp file.", file=path)
    known = any(path.suffix.lower() in endings for endings in VECTOR_FORMATS.values())
    what = "The content is not what the ending promises." if known else "Unsupported vector format."
    raise InputError(what, remedy=_VECTOR_REMEDY, file=path)


def _check_shapefile(path: Path, head: bytes) -> None:
    # a cut .shp reads as rows without geometry, so compare with the length in its header (16-bit words)
    promised, size = 2 * int.from_bytes(head[24:28], "big"), path.stat().st_size
    if size < promised:
        raise InputError(f"The file is cut short: {size} bytes of {promised}.", remedy="Copy it again.", file=path)
    parts = {p.suffix.lower(): p for p in path.parent.iterdir() if p.stem == path.stem}
    if ".shx" not in parts:
        raise InputError(
            "The .shx part of the shapefile is missing.",
            remedy="Copy all parts (.shp .shx .dbf .prj) into one folder.",
            file=path,
        )
    if ".dbf" in parts:
        dbf = _head(parts[".dbf"], 32)
        rows, start, width = (int.from_bytes(dbf[a:b], "little") for a, b in ((4, 8), (8, 10), (10, 12)))
        if parts[".dbf"].stat().st_size < start + rows * width:
            raise InputError("The .dbf part is cut short.", remedy="Copy it again.", file=parts[".dbf"])


def _xml_driver(path: Path) -> str:
    roots: list[str] = []

    def doctype(*_):
        raise InputError(
            "XML with a document type is refused: it can name other files.",
            remedy="Remove the DOCTYPE line.",
            file=path,
        )

    def start(name, _attributes):
        if not roots:
            roots.append(name.rpartition(":")[2])
            if roots[0] not in ("kml", "gpx", "osm"):
                raise InputError(f"XML of the kind <{roots[0][:40]}> is not read.", remedy=_VECTOR_REMEDY, file=path)

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = doctype
    parser.StartElementHandler = start
    try:
        with path.open("rb") as stream:
            tail = b""
            while piece := stream.read(1 << 20):
                # GDAL tries its virtual drivers on any file that holds such a tag, even in a comment
                if b"<OGR" in tail + piece:
                    raise InputError(
                        "A layer that names other files or hosts is refused.", remedy=_VECTOR_REMEDY, file=path
                    )
                parser.Parse(piece)
                tail = piece[-4:]
            parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise InputError(f"The XML is broken or cut short ({error}).", remedy="Export it again.", file=path) from None
    return {"kml": "LIBKML", "gpx": "GPX", "osm": "OSM"}[roots[0]]


def _check_classic_netcdf(path: Path) -> None:
    """Raises InputError where a classic netCDF file ends before its variables do: it would read as zeros.

    Layout: "NetCDF Classic Format Specification", header grammar (netcdf-c documentation, file format).
    """
    head = _head(path, 1 << 20)
    size, version, at = path.stat().st_size, head[3], 4
    count_width, offset_width = (8 if version == 5 else 4), (4 if version == 1 else 8)
    widths = {1: 1, 2: 1, 3: 2, 4: 4, 5: 4, 6: 8, 7: 1, 8: 2, 9: 4, 10: 8, 11: 8}

    def number(width: int = count_width) -> int:
        nonlocal at
        at += width
        if at > len(head):
            raise InputError("The netCDF header is cut short.", remedy="Copy it again.", file=path)
        return int.from_bytes(head[at - width : at], "big")

    def skip(length: int) -> None:
        nonlocal at
        at += -(-length // 4) * 4

    def attributes() -> None:
        number(4)
        for _ in range(number()):
            skip(number())  # name
            kind = number(4)
            skip(number() * widths.get(kind, 1))

    number()  # records
    number(4)
    for _ in range(number()):  # dimensions
        skip(number())
        number()
    attributes()
    number(4)
    end = 0
    for _ in range(number()):  # variables
        skip(number())
        for _ in range(number()):
            number()
        attributes()
        number(4)
        length = number()
        end = max(end, number(offset_width) + length)
    if size < end - 3:  # the last variable may go without its padding
        raise InputError(f"The file is cut short: {size} bytes of {end}.", remedy="Copy it again.", file=path)


def raster_driver(path: Path) -> str:
    """The GDAL driver for a raster file, from its content.

    Raises InputError for anything off the list, and for netCDF that takes its numbers out of other files.
    """
    head, ending = _head(path, 1024), path.suffix.lower()
    text = head.lstrip().lower()
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):  # TIFF 6.0 section 2; BigTIFF has 43
        return "GTiff"
    if head.startswith(b"EHFA_HEADER_TAG"):
        return "HFA"
    if head.startswith((b"CDF\x01", b"CDF\x02", b"CDF\x05")):
        _check_classic_netcdf(path)
        return "netCDF"
    if head.startswith(b"\x89HDF\r\n\x1a\n"):
        check_own_storage(path)
        return "netCDF"
    if _is_geopackage(head):
        return "GPKG"
    if head[:4] in (b"UHL1", b"VOL1", b"HDR1"):
        return "DTED"
    if re.match(rb"(ncols|nrows|xllc|yllc|xllcenter|cellsize|dx|dy|nodata_value)\s", text):
        return "AAIGrid"
    if ending == ".hgt":
        if not re.match(r"[NS]\d\d[EW]\d\d\d", path.name, re.IGNORECASE):  # the file itself holds no position
            raise InputError(
                "The name of an HGT file says where it lies, and this one does not.",
                remedy="Give it back the name of its south-west corner, e.g. N38W079.hgt.",
                file=path,
            )
        return "SRTMHGT"
    if ending == ".dem":
        return "USGSDEM"
    if text.startswith(b"<vrtdataset"):
        raise InputError(
            "A raster that only names other files or hosts is refused.",
            remedy='Name those files themselves, e.g. elevation = ["a.tif", "b.tif"]; they are mosaicked.',
            file=path,
        )
    if text.startswith((b"<gdal_wms", b"<wms_", b"<wcs", b"<?xml", b"{")):
        raise InputError("A raster that only names other files or hosts is refused.", remedy=_RASTER_REMEDY, file=path)
    if head.startswith(b"PK\x03\x04"):
        raise InputError("Rasters in an archive are not read.", remedy="Unpack it and name the raster.", file=path)
    raise InputError("Unsupported raster format.", remedy=_RASTER_REMEDY, file=path)
