"""netCDF-4 files that keep their numbers in other files are refused before they are opened."""

from __future__ import annotations

import h5py
import numpy as np
import pytest

from siteplanner.data.formats import raster_driver
from siteplanner.data.raster_source import open_raster
from siteplanner.errors import InputError


@pytest.mark.parametrize("version", ["earliest", "latest"])
@pytest.mark.parametrize("kind", ["external", "virtual", "plain"])
def test_netcdf_whose_numbers_lie_elsewhere(tmp_path, version, kind):
    path = tmp_path / "a.nc"
    (tmp_path / "raw.bin").write_bytes(bytes(400))
    with h5py.File(path, "w", libver=version) as file:
        file.attrs.create("words", ["a", "bb"], dtype=h5py.string_dtype())
        if kind == "external":
            file.create_dataset("z", (10, 10), "f4", external=[(str(tmp_path / "raw.bin"), 0, 400)])
        elif kind == "virtual":
            layout = h5py.VirtualLayout((10, 10), "f4")
            layout[:] = h5py.VirtualSource("b.nc", "z", (10, 10))
            file.create_virtual_dataset("z", layout)
        else:
            file["z"] = np.ones((200, 200), "i4")
            file.create_dataset("y", data=np.zeros((100, 100), "i2"), chunks=(10, 10), compression="gzip")
    if kind == "plain":
        assert raster_driver(path) == "netCDF"
    else:
        with pytest.raises(InputError, match="out of other files") as caught, open_raster(path):
            pass
        assert caught.value.file == str(path)
