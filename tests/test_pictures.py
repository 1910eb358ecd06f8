"""The README's pictures: there, as taken by tests/pictures.py, and small enough to live in a repository."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.pictures import HERE, MOST_BYTES, NAMES, shrunk

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")


def png(values: np.ndarray) -> bytes:
    held = io.BytesIO()
    Image.fromarray(values).save(held, "PNG")
    return held.getvalue()


def test_the_readme_shows_those_that_the_script_takes():
    shown = re.findall(r"!\[[^\]]+\]\((\S+)\)", README)
    assert sorted(shown) == sorted(f"data_samples/pictures/{name}" for name in NAMES)
    for name in NAMES:
        assert Image.open(HERE / name).format == "PNG"
        assert (HERE / name).stat().st_size <= MOST_BYTES


def test_a_picture_that_is_too_large_loses_colors_and_nothing_else():
    rng = np.random.default_rng(1)
    smooth = np.repeat(np.linspace(0, 255, 1000)[:, None], 1000, 1)
    noisy = np.stack([smooth + rng.normal(0, 2, smooth.shape) for _ in range(3)], -1).clip(0, 255).astype(np.uint8)
    noisy[480:500, 480:500] = mark = (230, 159, 0)  # a small bright mark on gray ground keeps its hue
    before = png(noisy)
    assert len(before) > MOST_BYTES
    after = shrunk(before)
    assert len(after) <= MOST_BYTES
    picture = np.asarray(Image.open(io.BytesIO(after)).convert("RGB"), float)
    assert picture.shape == noisy.shape
    assert abs(picture - noisy).mean() < 10
    assert abs(picture[480:500, 480:500] - mark).max() < 30
    small = png(np.zeros((10, 10, 3), np.uint8))
    assert shrunk(small) is small


def test_what_cannot_be_made_small_is_said():
    noise = np.random.default_rng(2).integers(0, 255, (1200, 1200, 3), np.uint8)
    with pytest.raises(ValueError, match="bytes"):
        shrunk(png(noise))
