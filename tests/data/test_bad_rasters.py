"""What rasters that cannot be trusted get: a named error, or a finding. Never a silent plan."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from pyproj import CRS
from rasterio.transform import from_origin
from shapely.geometry import box

from siteplanner.data.rasters import read_elevation
from siteplanner.errors import InputError
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.inputs import holds_words

from .conftest import LAT, LON, UTM, hill

NEAR = box(LON - 0.02, LAT - 0.02, LON + 0.02, LAT + 0.02)
SIDE = 288
ORIGIN = from_origin(LON - 0.04, LAT + 0.04, 1 / 3600, 1 / 3600)


def ground() -> np.ndarray:
    lon, lat = np.meshgrid(LON - 0.04 + (np.arange(SIDE) + 0.5) / 3600, LAT + 0.04 - (np.arange(SIDE) + 0.5) / 3600)
    return hill(lon, lat).astype(np.float32)


def read(*paths, **more):
    return read_elevation(list(paths), near=NEAR, target_crs=UTM, **more)


def refused(*paths, match, file=True, **more) -> InputError:
    with pytest.raises(InputError, match=match) as caught:
        read(*paths, **more)
    assert caught.value.remedy
    assert caught.value.field
    if file:
        assert str(paths[0]).rsplit("/", 1)[-1] in caught.value.file
    return caught.value


def codes(elevation) -> list[str]:
    return [finding.code for finding in elevation.findings]


# --- the file itself


def test_missing_crs(write_raster):
    refused(write_raster(ground(), ORIGIN, crs=None, unit="m"), match="does not say its coordinate reference system")


def test_missing_place(write_raster):
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning):
        path = write_raster(ground(), rasterio.Affine.identity(), unit="m")
    refused(path, match="does not say where it lies")


def test_control_points_only(tmp_path):
    from rasterio.control import GroundControlPoint as Gcp

    path = tmp_path / "gcp.tif"
    points = [Gcp(0, 0, LON, LAT), Gcp(0, 9, LON + 1, LAT), Gcp(9, 0, LON, LAT - 1)]
    with rasterio.open(
        path, "w", driver="GTiff", height=10, width=10, count=1, dtype="float32", gcps=points, crs="EPSG:4326"
    ) as file:
        file.write(np.ones((10, 10), "float32"), 1)
    refused(path, match="control points")


def test_local_engineering_crs(write_raster):
    crs = 'LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    refused(write_raster(ground(), ORIGIN, crs=crs), match="local system|coordinate reference system")


def test_complex_numbers(write_raster):
    refused(write_raster(ground().astype("complex64"), ORIGIN), match="complex numbers")


def test_coloured_picture(write_raster):
    picture = np.zeros((3, SIDE, SIDE), "uint8")
    refused(write_raster(picture, ORIGIN, photometric="RGB"), match="colored picture")


def test_palette_picture(write_raster, tmp_path):
    path = write_raster(np.ones((SIDE, SIDE), "uint8"), ORIGIN)
    with rasterio.open(path, "r+") as file:
        file.write_colormap(1, {1: (255, 0, 0, 255)})
    refused(path, match="colored picture")


def test_shaded_picture(write_raster):
    refused(write_raster(np.full((SIDE, SIDE), 128, "uint8"), ORIGIN), match="8 bits")


def test_several_bands(write_raster):
    refused(write_raster(np.stack([ground(), ground()]), ORIGIN, unit="m"), match="2 bands")


def test_band_called_elevation_is_taken(write_raster):
    path = write_raster(np.stack([ground() * 0, ground()]), ORIGIN, unit="m")
    with rasterio.open(path, "r+") as file:
        file.descriptions = ("slope", "Elevation")
    elevation = read(path)
    assert codes(elevation) == ["elevation_band_chosen"]
    assert np.nanmax(elevation.grid.values) == pytest.approx(700, abs=1)


def test_all_nodata(write_raster):
    refused(
        write_raster(np.full((SIDE, SIDE), -9999, "float32"), ORIGIN, unit="m", nodata=-9999), match="no known height"
    )


def test_all_nan(write_raster):
    refused(write_raster(np.full((SIDE, SIDE), np.nan, "float32"), ORIGIN, unit="m"), match="no known height")


@pytest.mark.parametrize("share", [0.3, 0.9])
def test_cut_short(write_raster, share):
    path = write_raster(ground(), ORIGIN, unit="m", blockysize=16, tiled=False)
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    refused(path, match="damaged or cut short")


def test_cut_short_ascii(write_hill, tmp_path):
    import rasterio.shutil

    path = tmp_path / "cut.asc"
    rasterio.shutil.copy(write_hill(32616, 40.0), path, driver="AAIGrid")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    refused(path, match="damaged or cut short")


def test_cut_short_netcdf(write_hill, tmp_path):
    import rasterio.shutil

    path = tmp_path / "cut.nc"
    rasterio.shutil.copy(write_hill(unit="m"), path, driver="netCDF")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    refused(path, match="cut short")


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("a.tif", b"this is a letter, not a raster", "Unsupported raster format"),
        ("a.tif", b"", "empty"),
        ("a.tif", b"II*\x00" + b"\xff" * 400, "damaged or cut short"),
        ("a.vrt", b"<VRTDataset rasterXSize='1' rasterYSize='1'></VRTDataset>", "names other files or hosts"),
        ("a.tif", b"<VRTDataset rasterXSize='1' rasterYSize='1'></VRTDataset>", "names other files or hosts"),
        ("a.xml", b"<GDAL_WMS><Service name='TMS'></Service></GDAL_WMS>", "names other files or hosts"),
        ("a.tif", b"<?xml version='1.0'?><GDAL_WMS/>", "names other files or hosts"),
        ("a.json", b'{"type":"FeatureCollection"}', "names other files or hosts"),
        ("a.zip", b"PK\x03\x04aaaa", "archive"),
        ("a.png", b"\x89PNG\r\n\x1a\n", "Unsupported raster format"),
    ],
)
def test_not_a_raster(tmp_path, name, content, match):
    path = tmp_path / name
    path.write_bytes(content)
    refused(path, match=match)


def test_missing_file_and_other_places(tmp_path):
    refused(tmp_path / "none.tif", match="no such file")
    refused(tmp_path, match="folder")
    for text in (
        "https://example.org/a.tif",
        "/vsicurl/https://example.org/a.tif",
        "netcdf:/tmp/a.nc:z",
        "/vsizip//a.zip/a.tif",
    ):
        refused(text, match="Only local files|no such file")


@pytest.mark.parametrize("companion", ["ground.tif.ovr", "ground.ovr", "ground.tif.msk"])
def test_companion_that_is_a_virtual_raster(write_raster, companion):
    path = write_raster(ground(), ORIGIN, unit="m")
    (path.parent / companion).write_text("<VRTDataset rasterXSize='1' rasterYSize='1'></VRTDataset>")
    refused(path, match="companion", file=False)


def test_companion_that_names_overviews_elsewhere(write_raster):
    path = write_raster(ground(), ORIGIN, unit="m")
    (path.parent / "ground.tif.aux.xml").write_text(
        '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">/etc/other.tif</MDI></Metadata></PAMDataset>'
    )
    refused(path, match="companion", file=False)


def test_cells_kept_in_a_file_elsewhere(write_raster, tmp_path):
    """This format can keep its cells in another file, which it names; only beside itself is allowed."""
    import rasterio.shutil

    (tmp_path / "sub").mkdir()
    path = tmp_path / "sub" / "spill.img"
    rasterio.shutil.copy(write_raster(ground(), ORIGIN), path, driver="HFA", USE_SPILL="YES")
    assert np.nanmax(read(path, unit="m").grid.values) == pytest.approx(700, abs=1)
    (tmp_path / "x.ige").write_bytes((tmp_path / "sub" / "spill.ige").read_bytes())
    path.write_bytes(path.read_bytes().replace(b"spill.ige", b"../x.ige\x00"))
    refused(path, match="names files elsewhere")


def test_overview_file_named_inside(write_raster):
    path = write_raster(ground(), ORIGIN, unit="m")
    with rasterio.open(path, "r+") as file:
        file.update_tags(ns="OVERVIEWS", OVERVIEW_FILE="/etc/other.tif")
    with pytest.raises(InputError, match=r"companion|names files elsewhere"):
        read(path)


@pytest.mark.parametrize("name", ["with space.tif", "a!b#c?d.tif", "Größe 标高.tif", "zip+x.tif"])
def test_odd_names_are_only_names(write_raster, name):
    assert read(write_raster(ground(), ORIGIN, unit="m", name=name)).records[0].file == name


# --- units


def test_unit_unknown_shows_both_readings(write_raster):
    elevation = read(write_raster(ground(), ORIGIN))
    (finding,) = elevation.findings
    assert finding.code == "elevation_unit_assumed"
    assert "to 700 m if they are meters" in said(finding).message
    assert "to 213 m if feet" in said(finding).message
    assert elevation.records[0].unit == "m (assumed)"


def test_implausible_as_metres(write_raster):
    error = refused(write_raster(ground() * 20, ORIGIN), match="no ground is that high in meters")
    assert error.field == "layers.elevation_unit"
    assert "to 13,999 m if they are meters" in str(error)
    assert "to 4,267 m if feet" in str(error)


def test_impossible_even_if_stated(write_raster):
    path = write_raster(ground() * 20, ORIGIN, unit="m")
    assert refused(path, match="higher than any ground").field == "layers.elevation_unit"
    assert refused(path, match="higher than any ground", unit="m").field == "layers.elevation_unit"
    assert np.nanmax(read(path, unit="ft").grid.values) == pytest.approx(700 * 20 * 0.3048, rel=1e-3)


def test_map_in_feet_without_height_unit(write_hill):
    path = write_hill(2274, 100.0)
    error = refused(path, match="its map is in feet")
    assert "if they are meters" in str(error)
    assert np.nanmax(read(path, unit="m").grid.values) == pytest.approx(700, abs=1)


@pytest.mark.parametrize(("unit", "factor"), [("m", 1.0), ("ft", 0.3048), ("us-ft", 1200 / 3937)])
def test_factors(write_raster, unit, factor):
    """1 ft = 0.3048 m, 1 US survey foot = 1200/3937 m, both exact: NIST SP 811 (2008), appendix B.6."""
    path = write_raster(np.full((SIDE, SIDE), 5000, "int16"), ORIGIN)
    assert read(path, unit=unit).grid.values[5, 5] == np.float32(np.float32(5000) * np.float32(factor))
    assert read(path, unit=unit).records[0].unit == unit


@pytest.mark.parametrize("said", ["ft", "Feet", "FOOT", "US survey foot", "ftUS"])
def test_feet_by_the_band(write_raster, said):
    elevation = read(write_raster(ground() / 0.3048, ORIGIN, unit=said))
    assert codes(elevation) == ["elevation_in_feet"]
    assert np.nanmax(elevation.grid.values) == pytest.approx(700, abs=1)


def test_feet_by_the_vertical_crs(write_raster):
    # EPSG 6360 is NAVD88 height in US survey feet
    elevation = read(write_raster(ground() * 3937 / 1200, ORIGIN, crs="EPSG:4269+6360"))
    assert elevation.records[0].unit == "us-ft"
    assert "NAVD88" in holds_words(elevation.records[0].held)
    assert np.nanmax(elevation.grid.values) == pytest.approx(700, abs=1)


def test_override_is_said(write_raster):
    assert codes(read(write_raster(ground(), ORIGIN, unit="ft"), unit="m")) == ["elevation_unit_overridden"]


def test_unit_not_understood(write_raster):
    refused(write_raster(ground(), ORIGIN, unit="fathoms"), match="unit 'fathoms' is not understood")


def test_scaled_numbers(write_raster):
    path = write_raster(np.round(ground() * 10).astype("int16"), ORIGIN, unit="m")
    with rasterio.open(path, "r+") as file:
        file.scales, file.offsets = (0.1,), (50.0,)
    assert np.nanmax(read(path).grid.values) == pytest.approx(750, abs=1)


# --- unknown cells


@pytest.mark.parametrize("value", [-9999, -32768, 32767, -32767])
def test_fill_value_without_tag(write_raster, value):
    z = np.round(ground()).astype("int16")
    z[100:110, 100:110] = value
    elevation = read(write_raster(z, ORIGIN, unit="m"))
    found = {f.code: f for f in elevation.findings}
    assert set(found) == {"elevation_nodata_untagged", "elevation_gaps"}
    assert f"{value:g} (100 cells)" in said(found["elevation_nodata_untagged"]).message
    assert np.nanmin(elevation.grid.values) >= 299


def test_wild_floats_without_tag(write_raster):
    z = ground()
    z[100:110, 100:110] = -3.4028235e38
    z[150, 150] = np.inf
    elevation = read(write_raster(z, ORIGIN, unit="m"))
    assert "elevation_nodata_untagged" in codes(elevation)
    assert 299 <= np.nanmin(elevation.grid.values) <= np.nanmax(elevation.grid.values) <= 701


def test_small_hole_is_bridged_large_one_stays(write_raster):
    z = ground()
    z[140:142, 100:103] = -1  # 2 x 3 cells
    z[180:200, 180:200] = -1  # 20 x 20 cells
    elevation = read(write_raster(z, ORIGIN, unit="m", nodata=-1))
    found = {f.code: said(f).message for f in elevation.findings}
    assert set(found) == {"elevation_filled", "elevation_gaps"}
    grid = elevation.grid
    at = {}
    for label, (row, col) in {"small": (140.9, 101.5), "large": (190, 190)}.items():
        x, y = grid.from_lonlat(LON - 0.04 + col / 3600, LAT + 0.04 - row / 3600)
        at[label] = float(grid.sample(x, y))
    lon, lat = LON - 0.04 + 101.5 / 3600, LAT + 0.04 - 140.9 / 3600
    assert at["small"] == pytest.approx(float(hill(lon, lat)), abs=3)
    assert np.isnan(at["large"])
    share = np.isnan(grid.values).mean()
    assert share == pytest.approx(400 / 144**2, rel=0.1)  # the needed ground is 144 x 144 source cells
    assert "1.9" in found["elevation_gaps"]


def test_zero_voids_are_doubted(write_raster):
    z = ground()
    z[100:110, 100:150] = 0
    elevation = read(write_raster(z, ORIGIN, unit="m"))
    assert codes(elevation) == ["elevation_zero_void"]


def test_sea_floor_is_doubted(write_raster):
    assert codes(read(write_raster(ground() - 2000, ORIGIN, unit="m"))) == ["elevation_all_below_sea"]


def test_stored_statistics_are_not_believed(write_raster):
    path = write_raster(ground(), ORIGIN, unit="m")
    with rasterio.open(path, "r+") as file:
        file.update_tags(1, STATISTICS_MINIMUM="-9999", STATISTICS_MAXIMUM="20000", STATISTICS_MEAN="-9999")
    elevation = read(path)
    assert not elevation.findings
    assert np.nanmax(elevation.grid.values) == pytest.approx(700, abs=1)


# --- place


def test_no_overlap_says_both_extents(write_raster):
    path = write_raster(ground(), from_origin(10.0, 50.0, 1 / 3600, 1 / 3600), unit="m")
    text = str(refused(path, match="does not meet the mission's ground"))
    assert "longitude 10.0000 E to 10.0800 E" in text
    assert "longitude 84.2200 W to 84.1800 W, latitude 36.5300 N to 36.5700 N" in text


def test_partly_covered(write_raster):
    path = write_raster(ground()[:, :144], ORIGIN, unit="m")  # the western half
    elevation = read(path)
    (gap,) = elevation.findings
    assert gap.code == "elevation_gaps"
    assert "50." in said(gap).message or "49." in said(gap).message
    assert np.isnan(elevation.grid.values).mean() == pytest.approx(0.5, abs=0.02)


def test_too_many_cells(write_raster):
    error = refused(write_raster(ground(), ORIGIN, unit="m"), match="more than 10,000", max_cells=10_000, file=False)
    assert error.field == "search.cell_size_m"
    cell = float(error.remedy.split("search.cell_size_m to ")[1].split()[0])
    assert read(write_raster(ground(), ORIGIN, unit="m"), max_cells=10_000, cell_size_m=cell).grid.values.size <= 10_000


@pytest.mark.parametrize(("epsg", "match"), [(4326, "degrees"), (2274, "US survey foot")])
def test_working_crs_must_be_metric(write_raster, epsg, match):
    with pytest.raises(InputError, match=match) as caught:
        read_elevation([write_raster(ground(), ORIGIN)], near=NEAR, target_crs=CRS.from_epsg(epsg))
    assert caught.value.field == "crs"


def test_ground_without_extent(write_raster):
    with pytest.raises(InputError, match="no extent"):
        read_elevation([write_raster(ground(), ORIGIN)], near=box(LON, LAT, LON, LAT), target_crs=UTM)


def test_no_path_at_all():
    refused(match="No raster given", file=False)


def test_names_that_lead_nowhere_say_what_to_do(tmp_path, write_raster):
    there = write_raster(ground(), ORIGIN, unit="m")
    assert there.name in refused(there.with_name(there.name.upper()[:-1]), match="no such file", file=False).what
    assert "List" in refused(tmp_path / "tiles_*.tif", match="patterns").remedy
    (tmp_path / "a.tif").symlink_to(tmp_path / "a.tif")
    refused(tmp_path / "a.tif", match="round in a circle")
    (tmp_path / "myhills.hgt").write_bytes(bytes(2 * 1201 * 1201))
    assert "N38W079.hgt" in refused(tmp_path / "myhills.hgt", match="where it lies").remedy
    (tmp_path / "t.vrt").write_text("<VRTDataset></VRTDataset>")
    assert "mosaicked" in refused(tmp_path / "t.vrt", match="names other files").remedy


def test_depths_counted_downward_are_told(write_raster):
    assert "elevation_all_below_sea" in codes(read(write_raster(-ground() - 10, ORIGIN, unit="m")))
    assert "elevation_all_below_sea" not in codes(read(write_raster(ground(), ORIGIN, unit="m", name="b.tif")))
