"""A hill stays where it is and as high as it is, whatever CRS, unit and format it came in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib import cbook
from pyproj import CRS, Geod
from rasterio.transform import from_origin
from shapely.geometry import Polygon, box

from siteplanner.data.rasters import read_elevation
from siteplanner.planning.telling.inputs import holds_words

from .conftest import LAT, LON, PEAK, UTM, hill

NEAR = box(LON - 0.03, LAT - 0.025, LON + 0.03, LAT + 0.025)
GEOD = Geod(ellps="WGS84")


def peak_error_m(elevation) -> float:
    grid = elevation.grid
    row, col = np.unravel_index(np.nanargmax(grid.values), grid.shape)
    lon, lat = grid.lonlat(*grid.xy(row, col))
    return GEOD.inv(lon, lat, *PEAK)[2]


@pytest.mark.parametrize(
    ("epsg", "cell", "factor", "unit", "size"),
    [
        (4326, 1 / 3600, 1.0, "metre", 27.5),  # WGS 84 degrees, 1 second
        (4269, 1 / 10800, 1.0, "m", 9.5),  # NAD 83 degrees, 1/3 second
        (2274, 100.0, 3937 / 1200, "US survey foot", 30.5),  # Tennessee State Plane in US feet, heights too
        (2274, 100.0, 1 / 0.3048, "foot", 30.5),  # State Plane with heights in international feet
        (32617, 30.0, 1.0, "m", 30.0),  # the neighbouring UTM zone
        (26916, 10.0, 1.0, "m", 10.0),  # the same zone in NAD 83
        (32616, 10.0, 1.0, "m", 10.0),  # nothing to warp
        (3857, 30.0, 1.0, "m", 24.0),  # web mercator: 30 there are 24.1 m here
        (5070, 30.0, 1.0, "m", 30.0),  # Albers
    ],
)
def test_hill_stays_in_place_and_height(write_hill, epsg, cell, factor, unit, size):
    elevation = read_elevation([write_hill(epsg, cell, factor=factor, unit=unit)], near=NEAR, target_crs=UTM)
    grid = elevation.grid
    assert grid.cell_size_m == pytest.approx(size, abs=0.5)
    assert peak_error_m(elevation) < grid.cell_size_m
    x, y = np.meshgrid(
        *(np.linspace(a + 300, b - 300, 40) for a, b in zip(grid.bounds[:2], grid.bounds[2:], strict=True))
    )
    lon, lat = grid.lonlat(x, y)
    # the reading's own bilinear sample on a hill with a curvature of 400 m / (900 m)^2 over one cell
    allowed = 0.05 + 400 / 900**2 * grid.cell_size_m**2 / 4
    assert np.abs(grid.sample(x, y) - hill(lon, lat)).max() < allowed
    assert elevation.records[0].unit == {"metre": "m", "m": "m", "foot": "ft", "US survey foot": "us-ft"}[unit]
    assert not np.isnan(grid.values).any()


def test_cells_lie_at_whole_multiples_and_cover_the_ground(write_hill):
    grid = read_elevation([write_hill()], near=NEAR, target_crs=UTM, cell_size_m=20).grid
    west, south, east, north = grid.bounds
    assert all(value % 20 == 0 for value in (west, south, east, north))
    x, y = grid.from_lonlat([LON - 0.03, LON + 0.03], [LAT - 0.025, LAT + 0.025])
    assert west <= x[0]
    assert south <= y[0]
    assert east >= x[1]
    assert north >= y[1]


def test_same_grid_is_copied_bit_for_bit(write_raster):
    rng = np.random.default_rng(5)
    values = rng.uniform(200, 900, (300, 300)).astype(np.float32)
    path = write_raster(values, from_origin(740_000, 4_055_000, 10, 10), "EPSG:32616", unit="m")
    near = box(-84.30, 36.60, -84.295, 36.604)
    grid = read_elevation([path], near=near, target_crs=UTM).grid
    row, col = int((4_055_000 - grid.transform.f) / 10), int((grid.transform.c - 740_000) / 10)
    assert np.array_equal(grid.values, values[row : row + grid.shape[0], col : col + grid.shape[1]])


@pytest.mark.parametrize("turn", [17.0, -40.0, 90.0])
def test_turned_raster_is_set_upright(write_hill, turn):
    elevation = read_elevation(
        [write_hill(32616, 20.0, turn_deg=turn, unit="m", size_m=12000)], near=NEAR, target_crs=UTM
    )
    assert peak_error_m(elevation) < 20
    assert [f.code for f in elevation.findings] == ["elevation_rotated"]


def test_south_up_raster(write_raster):
    lon, lat = np.meshgrid(LON - 0.04 + (np.arange(288) + 0.5) / 3600, LAT - 0.04 + (np.arange(288) + 0.5) / 3600)
    transform = from_origin(LON - 0.04, LAT - 0.04, 1 / 3600, -1 / 3600)  # row 0 in the south
    elevation = read_elevation(
        [write_raster(hill(lon, lat).astype("f4"), transform, unit="m")], near=NEAR, target_crs=UTM
    )
    assert peak_error_m(elevation) < 27.5


def test_longitudes_from_0_to_360(write_raster):
    lon, lat = np.meshgrid(LON - 0.04 + (np.arange(288) + 0.5) / 3600, LAT + 0.04 - (np.arange(288) + 0.5) / 3600)
    path = write_raster(
        hill(lon, lat).astype("f4"), from_origin(LON + 360 - 0.04, LAT + 0.04, 1 / 3600, 1 / 3600), unit="m"
    )
    elevation = read_elevation([path], near=NEAR, target_crs=UTM)
    assert peak_error_m(elevation) < 27.5
    assert not np.isnan(elevation.grid.values).any()


def test_across_the_antimeridian(write_raster):
    """One raster on each side of 180 degrees; the needed ground comes as a shape from -179.98 to 179.98."""
    z = np.full((400, 400), 12, np.float32)
    west = write_raster(z, from_origin(179.6, -16.8, 0.001, 0.001), name="w.tif", unit="m")
    east = write_raster(z, from_origin(-180, -16.8, 0.001, 0.001), name="e.tif", unit="m")
    near = Polygon([(179.98, -17.1), (-179.98, -17.1), (-179.98, -16.9), (179.98, -16.9)])
    elevation = read_elevation([west, east], near=near, target_crs=CRS.from_epsg(32760))
    assert elevation.grid.shape[1] < 60  # 4.3 km
    assert np.all(elevation.grid.values == 12)
    assert len(elevation.records) == 2


def test_netcdf_with_plain_coordinates(tmp_path):
    """CF 1.11 sections 4.1, 4.2: units make latitude and longitude. Row 0 is in the south here."""
    from scipy.io import netcdf_file

    path = tmp_path / "plain.nc"
    lat, lon = LAT - 0.04 + np.arange(288) / 3600, LON - 0.04 + np.arange(288) / 3600
    with netcdf_file(path, "w") as file:
        for name, values, unit in (("lat", lat, "degrees_north"), ("lon", lon, "degrees_east")):
            file.createDimension(name, 288)
            variable = file.createVariable(name, "f8", (name,))
            variable[:], variable.units = values, unit
        for name, heights in (("z", hill(lon[None, :], lat[:, None])), ("slope", np.zeros((288, 288)))):
            variable = file.createVariable(name, "f4", ("lat", "lon"))
            variable[:], variable.units = heights, "m"
    elevation = read_elevation([path], near=NEAR, target_crs=UTM)
    assert peak_error_m(elevation) < 27.5
    assert [f.code for f in elevation.findings] == ["elevation_crs_assumed"]


@pytest.mark.parametrize(
    ("name", "driver", "dtype"),
    [
        ("g.asc", "AAIGrid", "float32"),
        ("g.img", "HFA", "float32"),
        ("g.nc", "netCDF", "float32"),
        ("g.gpkg", "GPKG", "float32"),
        ("N36W085.hgt", "SRTMHGT", "int16"),
        ("n36.dt1", "DTED", "int16"),
        ("g.dem", "USGSDEM", "int16"),
    ],
)
def test_formats(tmp_path, write_hill, write_raster, name, driver, dtype):
    import rasterio
    import rasterio.shutil

    if driver in ("SRTMHGT", "DTED"):  # these hold one whole degree: 1201 x 1201 posts, 3 seconds apart
        side = 1201
        lon, lat = np.meshgrid(-85 + np.arange(side) / 1200, 37 - np.arange(side) / 1200)
        origin = from_origin(-85 - 0.5 / 1200, 37 + 0.5 / 1200, 1 / 1200, 1 / 1200)
        source = write_raster(np.round(hill(lon, lat)).astype("int16"), origin, name="source.tif")
    elif driver == "USGSDEM":
        source = write_hill(dtype=dtype, name="source.tif", cell=1 / 1200, size_m=10000)
    elif driver == "AAIGrid":
        source = write_hill(32616, 20.0, dtype=dtype, name="source.tif")
    else:
        source = write_hill(dtype=dtype, name="source.tif", unit="m")
    path = tmp_path / name
    if driver == "GPKG":
        rasterio.shutil.copy(source, path, driver=driver, TILE_FORMAT="TIFF")
    else:
        rasterio.shutil.copy(source, path, driver=driver)
    elevation = read_elevation([path], near=NEAR, target_crs=UTM)
    assert peak_error_m(elevation) < elevation.grid.cell_size_m
    assert driver in holds_words(elevation.records[0].held)
    assert np.nanmax(elevation.grid.values) == pytest.approx(700, abs=1.5)


def test_real_ground():
    """Facts of this raster (its own numbers): min 236 at [288, 347], max 1076 at [297, 219], mean 531.0312,
    403 x 344 cells, row 0 in the north; the key `ymin` holds the northern edge."""
    import tempfile
    from pathlib import Path

    import rasterio

    held = np.load(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))
    z = held["elevation"]
    assert (z.shape, z.min(), z.max(), round(float(z.mean()), 4)) == ((344, 403), 236, 1076, 531.0312)
    dx, west, north = float(held["dx"]), float(held["xmin"]), float(held["ymin"])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jacksboro.tif"
        with rasterio.open(
            path,
            "w",
            driver="GTiff",
            height=344,
            width=403,
            count=1,
            dtype="int16",
            crs="EPSG:4326",
            transform=from_origin(west, north, dx, dx),
        ) as file:
            file.write(z, 1)
        elevation = read_elevation(
            [path], near=box(-84.41, 36.45, -84.08, 36.73), target_crs=CRS.from_epsg(32616), unit="m"
        )
    grid = elevation.grid
    assert grid.cell_size_m == 83.0  # sqrt(74.57 x 92.47) = 83.04
    row, col = np.unravel_index(np.nanargmax(grid.values), grid.shape)
    peak = west + 219.5 * dx, north - 297.5 * dx
    assert GEOD.inv(*grid.lonlat(*grid.xy(row, col)), *peak)[2] < 83
    assert np.nanmax(grid.values) == pytest.approx(1076, abs=3)
    assert np.nanmean(grid.values) == pytest.approx(531.03, abs=3)  # a trimmed rim and a turned frame
    assert np.nanmin(grid.values) >= 236
    from siteplanner.core.terrain import slope_deg

    slope = slope_deg(grid.values, grid.cell_size_m)
    # Horn on the source's own 74.57 x 92.47 m cells: mean 12.834 degrees, 17.24 % below 5 degrees
    assert np.nanmean(slope) == pytest.approx(12.834, rel=0.02)
    assert np.mean(slope[np.isfinite(slope)] < 5) == pytest.approx(0.1724, abs=0.01)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cell=st.floats(8, 90), shift=st.tuples(st.floats(-0.005, 0.005), st.floats(-0.005, 0.005)))
def test_no_height_is_invented(write_hill, cell, shift):
    path = write_hill(unit="m", name="same.tif")
    near = box(LON - 0.02 + shift[0], LAT - 0.02 + shift[1], LON + 0.02, LAT + 0.02)
    grid = read_elevation([path], near=near, target_crs=UTM, cell_size_m=round(cell, 1)).grid
    assert np.nanmin(grid.values) >= 300 - 1e-3
    assert np.nanmax(grid.values) <= 700 + 1e-3


def test_coarse_cells_are_means_of_the_fine(write_raster):
    """Each 40 m cell is the mean of its 4 x 4 cells of 10 m where nothing has to be warped."""
    rng = np.random.default_rng(7)
    values = rng.uniform(200, 300, (400, 400)).astype(np.float32)
    path = write_raster(values, from_origin(740_000, 4_055_000, 10, 10), "EPSG:32616", unit="m")
    elevation = read_elevation([path], near=box(-84.305, 36.597, -84.285, 36.607), target_crs=UTM, cell_size_m=40)
    grid = elevation.grid
    row, col = int((4_055_000 - grid.transform.f) / 10), int((grid.transform.c - 740_000) / 10)
    part = values[row : row + 4 * grid.shape[0], col : col + 4 * grid.shape[1]]
    means = part.reshape(grid.shape[0], 4, grid.shape[1], 4).mean(axis=(1, 3))
    assert (4_055_000 - grid.transform.f) % 40 == 0  # the source's blocks and the grid's cells agree here
    assert np.allclose(grid.values, means, atol=1e-3)
