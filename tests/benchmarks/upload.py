"""What a large file that is dropped costs the app: `python -m tests.benchmarks.upload --side 7160`.

A GeoTIFF of float32 of so many cells a side (7160: 205 MB) is dropped in a real browser; printed is the memory that
the server holds of its own (RssAnon of proc(5)) and in all (VmRSS) beyond what it held before: at the most until the
file is in the list, at the most until the ground is drawn, and ten seconds later. Linux only.
"""

from __future__ import annotations

import argparse
import re
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from tests.browser.conftest import chromium_path
from tests.browser.test_app import served

PAGE_MS, SAMPLED_S, SETTLED_S = 180_000, 0.02, 10.0


def raster(path: Path, side: int) -> Path:
    """Ground that cannot be packed, in cells of 10 m."""
    import rasterio
    from rasterio.transform import from_origin

    place = {"crs": "EPSG:32612", "transform": from_origin(500_000, 5_000_000, 10, 10)}
    heights = 1500 + 100 * np.random.default_rng(1).random((side, side), np.float32)
    with rasterio.open(path, "w", driver="GTiff", width=side, height=side, count=1, dtype="float32", **place) as out:
        out.write(heights, 1)
    return path


def child(pid: int) -> int:
    """The process that a process has started: the server behind the command."""
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            if int(entry.read_text().rpartition(")")[2].split()[1]) == pid:
                return int(entry.parent.name)
        except (OSError, ValueError, IndexError):  # it has ended meanwhile
            continue
    raise ValueError(f"process {pid} has no child")


def held_mb(pid: int) -> np.ndarray:
    """Memory of its own, and in all."""
    text = Path(f"/proc/{pid}/status").read_text()
    return np.array([int(re.search(rf"{name}:\s+(\d+)", text)[1]) / 1000 for name in ("RssAnon", "VmRSS")])


class Watch:
    """Samples a process until it is closed."""

    def __init__(self, pid: int) -> None:
        self.pid, self.base, self.on = pid, held_mb(pid), True
        self.most = np.zeros(2)
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while self.on:
            self.most = np.maximum(self.most, held_mb(self.pid) - self.base)
            time.sleep(SAMPLED_S)

    def told(self, words: str) -> None:
        now = held_mb(self.pid) - self.base
        most = self.most
        print(f"{words}: most {most[0]:.0f} MB of its own, {most[1]:.0f} in all; now {now[0]:.0f}, {now[1]:.0f}")

    def close(self) -> None:
        self.on = False
        self._thread.join()


def main() -> None:
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.upload", description=__doc__)
    parser.add_argument("--side", type=int, default=7160)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as held:
        place = Path(held)
        file = raster(place / "elevation.tif", asked.side)
        print(f"a file of {file.stat().st_size / 1e6:.0f} MB")
        with served(place) as app, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
            page = browser.new_page()
            page.set_default_timeout(PAGE_MS)
            page.goto(app.url)
            page.get_by_text("My own files", exact=True).click()
            page.get_by_text("Drop your layers here").wait_for()
            watch = Watch(child(app.process.pid))
            try:
                page.locator("input[type=file]").first.set_input_files(file)
                page.get_by_text("How each file is used").wait_for()
                watch.told("the file is in the list")
                page.get_by_text("Drawing the ground").wait_for(state="hidden")
                page.locator("iframe[title*=folium]").wait_for(state="attached")
                watch.told("the ground is drawn")
                time.sleep(SETTLED_S)
                watch.told(f"{SETTLED_S:.0f} s later")
            finally:
                watch.close()
            browser.close()


if __name__ == "__main__":
    main()
