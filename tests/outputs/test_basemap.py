from __future__ import annotations

import io

import numpy as np
import pytest
from affine import Affine
from PIL import Image
from pyproj import CRS, Transformer
from scipy import ndimage

from siteplanner.data.grid import Grid
from siteplanner.outputs.pictures import relief as basemap

UTM = CRS.from_epsg(32613)


def _grid(values, cell_m=10.0, west=400000.0, north=4400000.0):
    return Grid(np.asarray(values), Affine(cell_m, 0, west, 0, -cell_m, north), UTM)


@pytest.mark.parametrize(
    ("kind", "error_m"),
    [(np.float32, 5.0), (np.uint8, 7.1)],  # classes are never blended: off by up to half a cell's diagonal
)
@pytest.mark.parametrize("crs", ["EPSG:32613", "EPSG:32633"])
def test_squares_at_known_places_land_there(crs, kind, error_m):
    # a page stretches the picture linearly in web mercator between its corners: do the same here
    cell_m, n = 10.0, 3000
    grid = Grid(np.zeros((n, n), kind), Affine(cell_m, 0, 380000, 0, -cell_m, 4420000), CRS(crs))
    places = [(150, 170), (2800, 200), (1500, 1500), (210, 2790), (2777, 2811), (1234, 2001)]
    for row, col in places:
        grid.values[row : row + 9, col : col + 9] = 1
    values, ground_m, ((south, west), (north, east)) = basemap.to_mercator(grid)
    to_web = Transformer.from_crs(4326, 3857, always_xy=True)
    x0, y0 = to_web.transform(west, south)
    x1, y1 = to_web.transform(east, north)
    back = Transformer.from_crs(3857, crs, always_xy=True)
    assert ground_m.mean() == pytest.approx(cell_m, rel=0.25)
    labels, count = ndimage.label(np.nan_to_num(values) > 0.5)
    assert count == len(places)
    found = []
    for r, c in ndimage.center_of_mass(labels > 0, labels, range(1, count + 1)):
        x, y = x0 + (c + 0.5) / values.shape[1] * (x1 - x0), y1 - (r + 0.5) / values.shape[0] * (y1 - y0)
        found.append(back.transform(x, y))
    for row, col in places:
        meant = grid.xy(row + 4, col + 4)
        assert min(np.hypot(x - meant[0], y - meant[1]) for x, y in found) < error_m


def test_ground_size_of_a_cell_follows_the_latitude():
    _, ground_m, ((south, _), (north, _)) = basemap.to_mercator(_grid(np.zeros((400, 400), np.float32)))
    # EPSG Guidance Note 7-2, 3.2.1.2: the scale factor of the sphere is 1 / cos(latitude)
    ratio = np.cos(np.radians(north)) / np.cos(np.radians(south))
    assert ground_m[0] / ground_m[-1] == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize(
    ("east", "north", "light"),
    [
        (0.0, 0.0, np.sqrt(0.5)),  # level: the sine of the light's 45 degrees
        (np.sqrt(0.5), -np.sqrt(0.5), 1.0),  # rises 45 degrees to the south-east: faces the light squarely
        (-np.sqrt(0.5), np.sqrt(0.5), 0.0),  # faces away by a right angle
    ],
)
def test_shading_of_planes(east, north, light):
    # closed form: the cosine between the light and the plane's normal
    y, x = np.mgrid[0:20, 0:20] * 10.0
    z = east * x + north * (190 - y)
    shade = basemap.shade(z.astype(np.float32), np.full(20, 10.0))
    assert shade[5:-5, 5:-5] == pytest.approx(light, abs=1e-4)


def test_unknown_ground_is_clear_and_never_a_colour():
    z = np.full((300, 300), 1500.0, np.float32)
    z[100:140, 100:150] = np.nan
    content, _ = basemap.relief_picture(_grid(z))
    rgba = np.asarray(Image.open(io.BytesIO(content)).convert("RGBA"))
    assert rgba[rgba.shape[0] * 2 // 5, rgba.shape[1] * 2 // 5, 3] == 0
    assert rgba[rgba.shape[0] * 4 // 5, rgba.shape[1] * 4 // 5, 3] == 255
    nothing, _ = basemap.relief_picture(_grid(np.full((50, 50), np.nan, np.float32)))
    assert np.asarray(Image.open(io.BytesIO(nothing)).convert("RGBA"))[..., 3].max() == 0


def test_classes_keep_their_colours_exactly():
    classes = np.zeros((200, 200), np.uint8)
    classes[50:100, 50:100], classes[120:160, 30:60] = 1, 2
    content, _ = basemap.class_picture(_grid(classes), {1: ("#CC6677", 0.5), 2: ("#332288", 1.0)})
    rgba = np.asarray(Image.open(io.BytesIO(content)).convert("RGBA"))
    found = {tuple(c) for c in rgba[rgba[..., 3] > 0].tolist()}
    assert found == {(0xCC, 0x66, 0x77, 128), (0x33, 0x22, 0x88, 255)}


def test_large_rasters_are_shrunk():
    values, ground_m, _ = basemap.to_mercator(_grid(np.ones((900, 1200), np.float32)), max_pixels=300)
    assert max(values.shape) == 300
    assert ground_m.mean() == pytest.approx(40, rel=0.1)
    assert np.nanmin(values) == pytest.approx(1) == np.nanmax(values)
