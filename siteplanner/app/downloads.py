"""Downloads: every output file of the plan, one by one and as one zip."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import streamlit as st

from siteplanner.app import style
from siteplanner.app.frame import need_plan, work_now
from siteplanner.app.labels import plain
from siteplanner.app.running import Run
from siteplanner.app.session import Work
from siteplanner.app.start import say_error
from siteplanner.mission import Mission
from siteplanner.planning.model import Plan

WORDS: dict[str, tuple[str, str]] = {
    "plan.json": ("The whole plan as data, with every figure and the fingerprint of each input", "application/json"),
    "map.html": ("The map in one file: opens in any browser without a network", "text/html"),
    "commander.pdf": ("Sheet for the incident commander", "application/pdf"),
    "driver.pdf": ("Sheet for the driver", "application/pdf"),
    "crew.pdf": ("Sheet for the set-up crew", "application/pdf"),
    "ranking.csv": ("The ranking for a spreadsheet", "text/csv"),
    "routes.gpx": ("Drives and turns for a navigation device", "application/gpx+xml"),
    "places.kml": ("Spots, areas and drives for globe viewers", "application/xml"),
    "package.gpkg": ("All layers for a GIS", "application/geopackage+sqlite3"),
    "coverage.tif": ("Predicted service of the best spot, for a GIS", "image/tiff"),
    "ruling.tif": ("The first limit that rules each cell out, for a GIS", "image/tiff"),
    "ruling.tif.aux.xml": ("Names of the limits in ruling.tif: keep it beside that file", "application/xml"),
    "ruling_bits.tif": ("All limits of each cell, one bit each, for a GIS", "image/tiff"),
}


def page() -> None:
    """Write the outputs once for the plan as it stands, then offer them."""
    work = work_now()
    plan = need_plan(work)
    if plan is None:
        return
    key = f"outputs {plan.mission.weights.model_dump_json()}"
    run = work.memory.get(key)
    if run is None:
        number = sum(1 for k in work.memory if k.startswith("outputs "))
        folder = Path(work.folder.name) / f"outputs-{work.edition}-{id(work.planned)}-{number}"
        run = work.memory[key] = Run(plan.mission, partial(write_job, plan, folder)).start()
        run.wait(0.3)
    if run.state == "running":
        watch(run)
        return
    if run.error is not None:
        say_error(run.error)
        if st.button("Try again", type="primary"):
            del work.memory[key]
            st.rerun()
        return
    offer(work, plan, run.result)


def write_job(plan: Plan, folder: Path, mission: Mission, progress: Callable[[str, float], None]) -> list[Path]:
    """Every output and one zip of them all."""
    from siteplanner.outputs.write import write_outputs

    files = write_outputs(plan, folder, progress=progress)
    progress("Packing the zip", 1.0)
    bundle = folder / "deployment_package.zip"
    with zipfile.ZipFile(bundle, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in files:
            archive.write(file, f"{folder_name(mission.name)}/{file.name}")
    return [*files, bundle]


def folder_name(mission_name: str) -> str:
    """The mission's name as a folder name in the zip."""
    return re.sub(r"[^a-z0-9]+", "_", mission_name.lower()).strip("_")[:60] or "mission"


@st.fragment(run_every=0.6)
def watch(run: Run) -> None:
    """Progress of the writing."""
    if run.state != "running":
        st.rerun()
    st.progress(run.share, text=plain(f"{run.stage} …"))


def offer(work: Work, plan: Plan, files: list[Path]) -> None:
    """Buttons: the zip, then plan.json, then the rest in the order of WORDS."""
    bundle = files[-1]
    if plan is not work.planned:
        st.info("These files hold the ranking under the weights that you set on the Decide page.")
    st.html(style.head("Everything in one file"))
    _row(bundle, "All files below in one zip", "application/zip", primary=True)
    st.html(style.head("One by one"))
    order = list(WORDS)
    for file in sorted(files[:-1], key=lambda f: (order.index(f.name) if f.name in order else len(order), f.name)):
        words, kind = WORDS.get(file.name, ("Further output", "application/octet-stream"))
        _row(file, words, kind)


def _row(file: Path, words: str, kind: str, *, primary: bool = False) -> None:
    button, text = st.columns([2, 5], vertical_alignment="center")
    button.download_button(plain(file.name), file.read_bytes(), file.name, kind, on_click="ignore", width="stretch",
                           key=f"get_{file.name}", type="primary" if primary else "secondary")
    text.text(f"{words} ({size(file.stat().st_size)})")


def size(count: int) -> str:
    """Bytes in words."""
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(count / 1e3, 0.1):.1f} kB"
