"""Ground to try radio on: real hills, and synthetic plain and mountains; float32, metres, 10 m cells."""

from functools import lru_cache

import numpy as np
from scipy.ndimage import zoom

CELL_M = 10.0


@lru_cache(maxsize=4)
def real_hills(size: int = 1101) -> np.ndarray:
    """The DEM that matplotlib carries (jacksboro_fault_dem.npz, about 85 m cells) resampled to 10 m cells.

    Texture of 0.6 m is added: bilinear facets alone would be smoother than any ground.
    """
    from matplotlib import cbook

    with np.load(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as file:
        coarse = file["elevation"].astype(float)[100 : 100 + int(size / 8.5) + 3, 100 : 100 + int(size / 8.5) + 3]
    fine = zoom(coarse, 8.5, order=1)[:size, :size]
    return (fine + np.random.default_rng(1).normal(0, 0.6, fine.shape)).astype(np.float32)


@lru_cache(maxsize=4)
def fractal(seed: int, exponent: float, relief_m: float, size: int = 1101) -> np.ndarray:
    """Ground whose spectrum falls with `exponent` of the wave number; the larger, the smoother."""
    rng = np.random.default_rng(seed)
    frequency = np.fft.fftfreq(size)
    number = np.hypot(frequency[:, None], frequency[None, :])
    number[0, 0] = 1.0
    noise = rng.normal(size=(size, size)) + 1j * rng.normal(size=(size, size))
    ground = np.fft.ifft2(noise * number**-exponent).real
    return (100 + relief_m * (ground - ground.min()) / np.ptp(ground)).astype(np.float32)


def plain() -> np.ndarray:
    return fractal(2, 2.0, 25.0)


def mountains() -> np.ndarray:
    return fractal(4, 2.1, 900.0)


def disc(shape: tuple[int, int], row: int, col: int, radius: float) -> np.ndarray:
    rows, cols = np.ogrid[: shape[0], : shape[1]]
    return (rows - row) ** 2 + (cols - col) ** 2 <= radius**2
