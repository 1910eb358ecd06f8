"""No request leaves, whatever a file says: a listener on the loopback address stands for every host."""

from __future__ import annotations

import itertools
import json
import os
import struct
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine

from siteplanner.data.classes import read_classes
from siteplanner.data.grid import WGS84, Grid
from siteplanner.data.raster_source import open_raster
from siteplanner.data.side_files import names_files
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError
from tests.hostile.listener import Listener

AUX = "<PAMDataset><Metadata domain='OVERVIEWS'><MDI key='{key}'>{name}</MDI></Metadata></PAMDataset>"
SUBDATASETS = (
    "<PAMDataset><Metadata domain='SUBDATASETS'><MDI key='SUBDATASET_1_NAME'>{name}</MDI></Metadata></PAMDataset>"
)
TAG = '<GDALMetadata><Item name="OVERVIEW_FILE" domain="OVERVIEWS">{name}</Item></GDALMetadata>'


@pytest.fixture(scope="module")
def listener():
    listener = Listener()
    yield listener
    listener.close()


@pytest.fixture(autouse=True)
def nothing_heard(listener):
    listener.heard.clear()
    yield
    assert not listener.heard


def tiff(path, notes, big=False, order="<", kind=2, loop=False):
    """A TIFF of 4 x 4 heights, written byte by byte, with GDAL's notes as they are given."""
    notes, wide = notes.encode() + b"\0", "Q" if big else "I"
    start = 16 if big else 8
    body = struct.pack(f"{order}16H", *range(16)) + notes
    tags = [(256, 3, 1, 4), (257, 3, 1, 4), (258, 3, 1, 16), (259, 3, 1, 1), (262, 3, 1, 1), (273, 4, 1, start),
            (277, 3, 1, 1), (278, 3, 1, 4), (279, 4, 1, 32), (42112, kind, len(notes), start + 32)]  # fmt: skip
    at = start + len(body) + len(body) % 2
    width = struct.calcsize(order + wide)
    rows = b""
    for tag, type_, count, value in tags:
        held = struct.pack(order + {3: "H", 4: "I"}.get(type_, wide), value)
        rows += struct.pack(f"{order}HH{wide}", tag, type_, count) + held.ljust(width, b"\0")
    mark = b"II" if order == "<" else b"MM"
    head = mark + (struct.pack(f"{order}HHHQ", 43, 8, 0, at) if big else struct.pack(f"{order}HI", 42, at))
    directory = struct.pack(order + ("Q" if big else "H"), len(tags)) + rows
    path.write_bytes((head + body).ljust(at, b"\0") + directory + struct.pack(order + wide, at if loop else 0))
    return path


def plain(path, driver="GTiff"):
    with rasterio.open(path, "w", driver=driver, width=40, height=40, count=1, dtype="float32", crs="EPSG:32612",
                       transform=Affine(10, 0, 500000, 0, -10, 5000000)) as file:  # fmt: skip
        file.write(np.full((40, 40), 300, "float32"), 1)
    return path


def refused(path, at=None, match="names|companion|link|other files|odd type|promises|more than|longer"):
    with pytest.raises(InputError, match=match) as caught, open_raster(path):
        pass
    assert Path(caught.value.file) == (at or path)
    assert caught.value.remedy
    return caught.value


@pytest.mark.parametrize("order", "<>")
@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize("notes", [
    TAG, TAG.replace("OVERVIEW_FILE", "OVERVIEW&#95;FILE"), TAG.replace('"', ""), TAG.replace("name=", "NAME="),
    '<GDALMetadata><Item name="X_DATASET" domain="GEOLOCATION">{name}</Item></GDALMetadata>',
    '<GDALMetadata><Item name="a" domain="xml:VRT">x</Item></GDALMetadata>',
    '<GDALMetadata><Item name="SUBDATASET_1_NAME" domain="SUBDATASETS">{name}</Item></GDALMetadata>',
    '<GDALMetadata><Item name="a">{name}</Item></GDALMetadata>', '<!DOCTYPE a []><a/>',
])  # fmt: skip
def test_tag_of_the_raster_itself(tmp_path, listener, notes, big, order):
    refused(tiff(tmp_path / "a.tif", notes.format(name=listener.new()), big, order))


@pytest.mark.parametrize("ending", [".ovr", ".msk", ".ovr.ovr", ".msk.ovr", ".OVR", ".ovr.msk"])
def test_tag_of_a_companion(tmp_path, listener, ending):
    path = plain(tmp_path / "a.tif")
    refused(path, tiff(tmp_path / f"a.tif{ending}", TAG.format(name=listener.new())))


@pytest.mark.parametrize("text", [AUX, SUBDATASETS])
@pytest.mark.parametrize("key", ["OVERVIEW_FILE", "OVERVIEW&#95;FILE", "OVERVIEW&#x5F;FILE", "overview_file"])
@pytest.mark.parametrize(("name", "driver", "companion"), [
    ("a.tif", "GTiff", "a.tif.aux.xml"), ("a.tif", "GTiff", "a.aux.xml"), ("a.img", "HFA", "a.img.aux.xml"),
    ("a.tif", "GTiff", "a.tif.ovr.aux.xml"),
])  # fmt: skip
def test_side_file_in_xml(tmp_path, listener, text, key, name, driver, companion):
    path = plain(tmp_path / name, driver)
    beside = tmp_path / companion
    beside.write_text(text.format(key=key, name=listener.new()))
    refused(path, beside)


def test_side_file_of_an_ascii_grid(tmp_path, listener):
    path, beside = tmp_path / "g.asc", tmp_path / "g.asc.aux.xml"
    path.write_text("ncols 4\nnrows 4\nxllcorner 0\nyllcorner 0\ncellsize 10\n" + "1 2 3 4\n" * 4)
    beside.write_text(AUX.format(key="OVERVIEW&#95;FILE", name=listener.new()))
    refused(path, beside)


def test_land_cover_is_looked_through_too(tmp_path, listener):
    path = tiff(tmp_path / "a.tif", TAG.format(name=listener.new()))
    like = Grid(np.zeros((4, 4), "float32"), Affine(10, 0, 500000, 0, -10, 5000000), WGS84)
    with pytest.raises(InputError, match="42112"):
        read_classes(path, like=like)


@pytest.mark.parametrize("notes", [
    '<GDALMetadata><Item name="BAND_NAME" sample="0">h\u00f6he</Item></GDALMetadata>',
    '<GDALMetadata><Item name="source">https://example.org/a.tif</Item></GDALMetadata>',
    '<GDALMetadata><Item name="history">gdalwarp /vsimem/a.tif b.tif</Item></GDALMetadata>',
    '<GDALMetadata><Item name="odd">a\x01b</Item></GDALMetadata>', "", "\0<VRTDataset/>",
    "<PAMDataset xmlns:xsi='http://www.w3.org/2001/XMLSchema-instance'><PAMRasterBand band='1'/></PAMDataset>",
])  # fmt: skip
def test_ordinary_notes_pass(notes):
    assert not names_files(notes.encode())
    assert not names_files(notes.encode("latin-1"))


def test_our_own_rasters_pass(tmp_path):
    path = plain(tmp_path / "a.tif")
    with rasterio.open(path, "r+") as file:
        file.update_tags(note="a < b")
        file.build_overviews([2])
        file.update_stats()
    with open_raster(path) as source:
        assert source.band == 1


@pytest.mark.parametrize("kind", [3, 4, 12])
def test_notes_of_an_odd_type(tmp_path, listener, kind):
    refused(tiff(tmp_path / "a.tif", TAG.format(name=listener.new()), kind=kind))


@pytest.mark.parametrize("big", [False, True])
def test_broken_directories_end_in_words_or_not_at_all(tmp_path, big):
    """Cut at every byte, each byte of the directory turned round, a directory that follows itself."""
    whole = tiff(tmp_path / "a.tif", "<GDALMetadata/>", big, loop=True).read_bytes()
    path = tmp_path / "b.tif"
    versions = [whole[:n] for n in range(4, len(whole))]
    versions += [whole[:n] + bytes([whole[n] ^ 0xFF]) + whole[n + 1 :] for n in range(4, len(whole))]
    for version in versions:
        path.write_bytes(version)
        with pytest.raises(InputError) as caught, open_raster(path):  # without a CRS it is refused in any case
            pass
        assert caught.value.remedy


@pytest.mark.parametrize("count", [1 << 40, 70_000])
def test_a_big_tiff_that_promises_too_much(tmp_path, count):
    path = tmp_path / "a.tif"
    row = struct.pack("<HHQQ", 330, 16, 9_000, 16)
    path.write_bytes(b"II+\0\x08\0\0\0" + struct.pack("<QQ", 16, count) + row * 70_000)
    tracemalloc.start()
    refused(path)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 20e6  # bytes, the table of tags among them: nothing grows with what is only promised


@pytest.mark.parametrize("key", ["crs", "CRS", "c\\u0072s", "\\u0043rs"])
@pytest.mark.parametrize("crs", [
    {"type": "link", "properties": {"href": "{url}/crs", "type": "proj4"}},
    {"type": "LINK", "properties": {"href": "{url}/crs", "type": "ogcwkt"}},
    {"type": "url", "properties": {"url": "{url}/crs"}},
    {"type": "URLX", "properties": {"Url": "{url}/crs"}},
    {"type": "name", "properties": {"href": "{url}/crs"}},
])  # fmt: skip
def test_crs_that_is_a_link(tmp_path, listener, crs, key):
    error = layer_refused(geojson(tmp_path, key, json.dumps(crs).replace("{url}", listener.url)))
    assert "link" in error.what


@pytest.mark.parametrize("between", ["", " " * 50, " " * 100_000, "/* a */"])
@pytest.mark.parametrize("before", [0, (1 << 24) - 60, (1 << 24) - 17])
def test_crs_link_behind_blanks_and_far_into_the_file(tmp_path, listener, before, between):
    link = json.dumps({"type": "link", "properties": {"href": listener.url + "/crs", "type": "proj4"}})
    layer_refused(geojson(tmp_path, "crs", link, between, before))


@pytest.mark.parametrize("name", ["EPSG:99999999", "", "unknown", None, "http://127.0.0.1:1/crs"])
def test_crs_name_that_is_not_known_is_not_taken_for_wgs_84(tmp_path, name):
    crs = json.dumps({"type": "name", "properties": {"name": name}})
    assert "not understood" in layer_refused(geojson(tmp_path, "crs", crs)).what


@pytest.mark.parametrize(("name", "taken"), [
    ("EPSG:4326", "EPSG:4326"), ("urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326"), ("OGC:CRS84", "OGC:CRS84"),
    ("urn:ogc:def:crs:EPSG::32612", "EPSG:32612"), ("WGS 84", "EPSG:4326"), ("EPSG:4269", "EPSG:4269"),
])  # fmt: skip
def test_crs_names_that_are_known(tmp_path, name, taken):
    path = geojson(tmp_path, "crs", json.dumps({"type": "name", "properties": {"name": name}}))
    assert read(path).record.crs == taken


@pytest.mark.parametrize("value", ["null", '"EPSG:4326"', "5", "[1]"])
def test_crs_that_is_no_object_is_no_crs(tmp_path, value):
    assert read(geojson(tmp_path, "crs", value)).record.crs == "EPSG:4326"


def geojson(folder, key, value, between="", blanks=0):
    path = folder / "a.geojson"
    point = '{"type":"Feature","properties":{"crs":"http://x"},"geometry":{"type":"Point","coordinates":[1,2]}}'
    path.write_text(
        f'{{"type":"FeatureCollection",{" " * blanks}"{key}"{between}:{between}{value},"features":[{point}]}}'
    )
    return path


def read(path):
    return read_layer(path, "must serve", target_crs=WGS84, kinds={"point"})


def layer_refused(path):
    with pytest.raises(InputError) as caught:
        read(path)
    assert Path(caught.value.file) == path
    assert caught.value.remedy
    return caught.value


TRICKS = """
import json, sys
import {first}
import pyogrio, pyproj, rasterio
tricks, places = json.load(sys.stdin)
for name in tricks:
    try:
        if name.endswith("json"):
            pyogrio.read_dataframe(name)
        else:
            with rasterio.open(name) as file:
                file.files, file.overviews(1), file.dataset_mask()
    except Exception:
        pass
    print(name)
for name in places:
    for ask in (rasterio.open, pyogrio.list_layers):
        try:
            ask(name)
        except Exception:
            pass
ground = pyproj.aoi.AreaOfInterest(-90, 40, -89, 41)
move = pyproj.Transformer.from_crs(4267, 4269, always_xy=True, only_best=True, area_of_interest=ground)
move.transform(-90, 40, errcheck=False)
print(pyproj.network.is_network_enabled())
"""


def asked(folder, listener, first, *, places=()):
    """Requests heard while raw libraries open every trick, in a process whose owner opened all doors."""
    tricks = []
    for n, (big, order) in enumerate(itertools.product((False, True), "<>")):
        tricks.append(str(tiff(folder / f"t{n}.tif", TAG.format(name=listener.new()), big, order)))
    for ending in (".ovr", ".msk"):
        path = plain(folder / f"c{ending[1:]}.tif")
        tiff(path.with_name(path.name + ending), TAG.format(name=listener.new()))
        tricks.append(str(path))
    path = plain(folder / "x.tif")
    path.with_name("x.tif.aux.xml").write_text(AUX.format(key="OVERVIEW&#95;FILE", name=listener.new()))
    tricks.append(str(path))
    link = {"type": "link", "properties": {"href": listener.url + "/crs", "type": "proj4"}}
    tricks.append(str(geojson(folder, "crs", json.dumps(link))))
    settings = folder / ".gdal"
    settings.mkdir()
    (settings / "gdalrc").write_text(
        "[directives]\nignore-env-vars=yes\n[configoptions]\nGDAL_HTTP_PROXY=\nCPL_VSIL_CURL_ALLOWED_EXTENSIONS=.tif\n"
    )
    data = folder / "proj"
    data.mkdir()
    from pyproj.datadir import get_data_dir

    for file in Path(get_data_dir()).iterdir():
        if file.name != "proj.ini" and file.is_file():
            (data / file.name).symlink_to(file)
    (data / "proj.ini").write_text(f"[general]\nnetwork=on\ncdn_endpoint={listener.url}\n")
    owner = {
        **{k: v for k, v in os.environ.items() if not k.startswith(("GDAL_", "CPL_", "PROJ_", "OGR_"))},
        "NO_PROXY": "127.0.0.1", "no_proxy": "*", "PROJ_NETWORK": "ON", "PROJ_NETWORK_ENDPOINT": listener.url,
        "GDAL_HTTP_PROXY": "", "CPL_VSIL_CURL_ALLOWED_FILENAME": "", "HOME": str(folder), "PROJ_DATA": str(data),
        "GDAL_CONFIG_FILE": str(settings / "gdalrc"), "AWS_NO_SIGN_REQUEST": "YES", "AWS_HTTPS": "NO",
        "AWS_VIRTUAL_HOSTING": "FALSE", "AWS_S3_ENDPOINT": f"127.0.0.1:{listener.port}",
        "PROJ_USER_WRITABLE_DIRECTORY": str(folder), "SWIFT_STORAGE_URL": listener.url, "SWIFT_AUTH_TOKEN": "a",
    }  # fmt: skip
    if first != "siteplanner":
        for name in ("GDAL_HTTP_PROXY", "CPL_VSIL_CURL_ALLOWED_FILENAME", "GDAL_CONFIG_FILE"):
            del owner[name]
    owner["PYTHONPATH"] = os.pathsep.join(sys.path)
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", TRICKS.replace("{first}", first)],
        input=json.dumps([tricks, places]), env=owner,
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == len(tricks) + 1
    heard = b"\n".join(listener.heard).decode("latin-1")
    listener.heard.clear()
    return heard, done


def test_the_tricks_are_real(tmp_path, listener):
    """Without us the libraries ask, for every trick: so what is not heard below was kept from leaving."""
    started = next(listener.numbers)
    heard, done = asked(tmp_path, listener, "os")
    silent = [n for n in range(started + 1, next(listener.numbers)) if f"/{n}.tif" not in heard]
    assert not silent
    assert "/crs" in heard
    assert "us_noaa" in heard or "ca_nrc" in heard  # a grid that PROJ would fetch
    assert done.stdout.splitlines()[-1] == "True"


def test_nothing_leaves_once_siteplanner_is_imported(tmp_path, listener):
    url, host = listener.url, f"127.0.0.1:{listener.port}"
    ending = ".none"  # the very ending that is allowed
    places = [
        f"{url}/a.tif", f"/vsicurl/{url}/a{ending}", f"/vsicurl_streaming/{url}/a{ending}", "/vsicurl/none",
        f"/vsicurl?proxy=&url={url}/a{ending}", f"/vsicurl?proxy={host}&url=http://127.0.0.2/a{ending}",
        f"/vsizip//vsicurl/{url}/a.zip/b{ending}", f"/vsiwebhdfs/{url}/webhdfs/v1/a{ending}", f"/vsis3/a/b{ending}",
        f"/vsis3_streaming/a/b{ending}", f"/vsiswift/a/b{ending}", f"/vsicached?file=/vsicurl/{url}/a{ending}",
        f"/vsicurl/ftp://{host}/a{ending}", f"WMTS:{url}/a", f"WCS:{url}/a", f"WFS:{url}/a", f"OAPIF:{url}/a",
        f"CSW:{url}", f"ES:{url}", f"OGCAPI:{url}/a", f"STACIT:{url}/a.json", f"GTI:/vsicurl/{url}/a", f"vrt://{url}/a",
        f"GeoJSON:{url}/a", f"ESRIJSON:{url}/a", f"TopoJSON:{url}/a", f"ftp://{host}/a.tif", f"{url}/a.nc#mode=bytes",
        f"<GDAL_WMS><Service name='TMS'><ServerUrl>{url}/${{x}}</ServerUrl></Service></GDAL_WMS>",
    ]  # fmt: skip
    heard, done = asked(tmp_path, listener, "siteplanner", places=places)
    assert heard == ""
    assert done.stderr == ""  # not a word about drivers that a release does not know
    assert done.stdout.splitlines()[-1] == "False"


@pytest.mark.parametrize("first", ["pyproj.network", "siteplanner"])
def test_pyproj_stays_at_home_whichever_is_imported_first(first):
    code = f"import {first}, siteplanner, pyproj.network; assert not pyproj.network.is_network_enabled()"
    subprocess.run([sys.executable, "-c", code], env={**os.environ, "PROJ_NETWORK": "ON"}, check=True, timeout=60)


def test_no_driver_that_follows_names_is_loaded():
    code = (
        "import siteplanner, rasterio, pyogrio\n"
        "with rasterio.Env() as env:\n    held = {*env.drivers(), *pyogrio.list_drivers()}\n"
        "assert not held & set(siteplanner.no_network.SKIPPED), held\n"
        "assert {'GTiff', 'COG', 'HFA', 'netCDF', 'GPKG', 'GeoJSON', 'LIBKML', 'GPX', 'FlatGeobuf'} <= held\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
