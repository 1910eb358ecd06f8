"""No request leaves this process, whatever a file says: the doors of GDAL and PROJ are shut at `import siteplanner`.

A layer may name a host (an overview elsewhere, a CRS as a link). Each copy of GDAL and PROJ that a wheel brings along
reads the environment when it is about to act, so that is where all of them are told. Values are overwritten: what a
user's own settings allow for other work must not let a stranger's file call home.
"""

from __future__ import annotations

import logging
import os
import sys

# Drivers that reach hosts, or open other files because a file names them. None of our formats needs one. VRT is not
# among them: rasterio itself describes its grids to GDAL as VRT (calculate_default_transform).
SKIPPED = (
    # of rasters
    "DERIVED", "GTI", "WMS", "WMTS", "WCS", "HTTP", "EEDA", "EEDAI", "OGCAPI", "PLMOSAIC", "STACIT", "STACTA",
    "GDALG", "DAAS", "IIIF", "Rasterlite", "PostGISRaster", "GeoRaster", "NGW", "KMLSUPEROVERLAY", "TIL", "RPFTOC",
    "ECRGTOC", "MRF", "SAFE", "SENTINEL2", "TileDB", "JPIPKAK", "ECW", "Zarr", "DIMAP", "ERS", "ISIS3", "PDS", "PDS4",
    "GNMFile", "GNMDatabase",
    # of vector layers
    "OGR_VRT", "WFS", "OAPIF", "CSW", "Carto", "AmigoCloud", "Elasticsearch", "PLSCENES", "GML", "GMLAS", "NAS",
    "PostgreSQL", "MySQL", "MSSQLSpatial", "OCI", "ODBC", "PGeo", "MongoDBv3", "HANA", "GPSBabel", "ADBC", "EDIGEO",
)  # fmt: skip

# libcurl gives up on a proxy of an unknown kind before it opens a socket; a release that reads it as a plain address
# meets the discard port of this machine
_NOWHERE = "none://127.0.0.1:9"

SETTINGS: dict[str, str] = {
    "PROJ_NETWORK": "OFF",
    "PROJ_NETWORK_ENDPOINT": _NOWHERE,
    # the name is compared whole and before any ending; no virtual path is called so
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_HTTP_PROXY": _NOWHERE,
    "GDAL_HTTPS_PROXY": _NOWHERE,
    "GDAL_HTTP_MAX_RETRY": "0",
    "GDAL_HTTP_CONNECTTIMEOUT": "1",
    "GDAL_HTTP_TIMEOUT": "1",
    "GDAL_SKIP": " ".join(SKIPPED),
    "GDAL_CONFIG_FILE": os.devnull,  # a gdalrc may take precedence over the environment
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
    # stores that ask a host for their keys first
    "CPL_AWS_AUTODETECT_EC2": "NO",
    "CPL_MACHINE_IS_GCE": "NO",
    "AWS_EC2_METADATA_DISABLED": "true",
}
CLEARED = (
    "no_proxy", "NO_PROXY",  # libcurl goes round every proxy for the hosts named here
    "OGR_SKIP", "GDAL_PYTHON_DRIVER_PATH", "GDAL_HTTP_HEADER_FILE",
)  # fmt: skip


def shut() -> None:
    """Close every way by which GDAL, PROJ and their libraries could ask a host, for this process and its children."""
    for name in CLEARED:
        os.environ.pop(name, None)
    os.environ.update(SETTINGS)
    # every copy of GDAL warns of the names in GDAL_SKIP that it never had: one on the terminal, one by the log
    os.environ.setdefault("CPL_LOG", os.devnull)
    log = logging.getLogger("rasterio._env")
    if _worth_saying not in log.filters:
        log.addFilter(_worth_saying)
    network = sys.modules.get("pyproj.network")
    if network is not None:  # loaded before us: it has asked the environment already
        network.set_network_enabled(False)


def _worth_saying(record: logging.LogRecord) -> bool:
    return "to unload from GDAL_SKIP" not in record.getMessage()
