"""Downloads: sheets of the spot in hand, text to read over a radio, every output file one by one and as one zip."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import streamlit as st

from siteplanner.app import style
from siteplanner.app.frame import need_plan, part, say_error, work_now
from siteplanner.app.labels import plain
from siteplanner.app.running import Run
from siteplanner.app.session import Work, spot_key
from siteplanner.mission import Mission
from siteplanner.outputs.sheets.briefing import briefing
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.sets import TrailerAt
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.require import required_now

WORDS: dict[str, tuple[str, str]] = {
    "plan.json": ("The whole plan as data, with every figure and the fingerprint of each input", "application/json"),
    "map.html": ("The map in one file: opens in any browser without a network", "text/html"),
    "commander.pdf": ("Sheet for the incident commander, best spot", "application/pdf"),
    "driver.pdf": ("Sheet for the driver, best spot", "application/pdf"),
    "crew.pdf": ("Sheet for the crew, best spot", "application/pdf"),
    "briefing.txt": ("The three sheets as short text for a weak link", "text/plain"),
    "ranking.csv": ("The ranking for a spreadsheet", "text/csv"),
    "routes.gpx": ("Drives and turns for a navigation device", "application/gpx+xml"),
    "places.kml": ("Spots, areas and drives for globes and phones", "application/xml"),
    "package.gpkg": ("All layers for a GIS", "application/geopackage+sqlite3"),
    "coverage.tif": ("Predicted service of the best spot, for a GIS", "image/tiff"),
    "ruling.tif": ("The first limit that rules each cell out, for a GIS", "image/tiff"),
    "ruling.tif.aux.xml": ("Names of the limits in ruling.tif: keep it beside that file", "application/xml"),
    "ruling_bits.tif": ("All limits of each cell, one bit each, for a GIS", "image/tiff"),
}


BUNDLE = "package.zip"


def page() -> None:
    """Write the outputs once for the plan as it stands, then offer them."""
    work = work_now()
    plan = need_plan(work)
    if plan is None:
        return
    part(brief, work, plan)
    part(more_sheets, work, plan)
    listed = [ranked.spot.name for ranked in plan.spots]
    key = f"outputs {plan.mission.weights.model_dump_json()} {sorted(required_now(plan))} {listed}"
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


SHEETS = {"commander": "Commander", "driver": "Driver", "crew": "Crew"}


def brief(work: Work, plan: Plan) -> None:
    """The sheets of the chosen spot, and the same as short text."""
    chosen = work.spot()
    name = style.button_text(chosen.spot.name) if chosen is not None else ""
    st.html(style.head("Sheets" if chosen is None else f"Sheets for spot {clean(chosen.spot.name)}"))
    sheet_buttons(plan, chosen, tuple(SHEETS), "" if chosen is None else f", spot {name}", "chosen", file_name)
    st.caption("A sheet is made when its button is pressed.")
    st.html(style.head("To read over a radio, or to paste into a message"))
    radio_text(plan, chosen)


def sheet_buttons(
    plan: Plan,
    ranked: RankedSpot | None,
    kinds: Sequence[str],
    whose: str,
    key: str,
    called: Callable[[str, RankedSpot | None], str],
    make: Callable[[str], bytes] | None = None,
) -> None:
    """A row of buttons, one a sheet that there is; `whose` ends each label, `called` names the file."""
    for column, kind in zip(st.columns(len(SHEETS)), kinds, strict=False):
        if kind != "commander" and (ranked is None or (kind == "driver" and ranked.evaluation.access is None)):
            continue
        column.download_button(
            f"{SHEETS[kind]} sheet{whose}",
            partial(_sheet, plan, kind, ranked) if make is None else partial(make, kind),
            called(kind, ranked),
            "application/pdf",
            on_click="ignore",
            width="stretch",
            key=f"sheet_{key}_{kind}",
        )


def more_sheets(work: Work, plan: Plan) -> None:
    """The sheets of the other options, and those of the trailers that go with the first."""
    from siteplanner.outputs.sheets.printing import other_trailers

    chosen = work.spot()
    others = [option.ranked for option in plan.options if chosen is None or option.ranked.spot.key != chosen.spot.key]
    trailers = other_trailers(plan)
    if not others and not trailers:
        return
    with st.expander("Sheets for the other options and trailers"):
        for ranked in others:
            name = style.button_text(ranked.spot.name)
            sheet_buttons(plan, ranked, tuple(SHEETS), f", spot {name}", f"option_{spot_key(ranked)}", file_name)
        for name, trailer in trailers:
            whose = style.button_text(trailer.unit) if trailer.unit else "second trailer"
            at = f", {whose}, spot {style.button_text(trailer.ranked.spot.name)}"
            sheet_buttons(
                plan,
                trailer.ranked,
                ("driver", "crew"),
                at,
                f"unit_{name}",
                partial(_unit_file, name),
                partial(_unit_sheet, plan, trailer),
            )


def _unit_file(name: str, kind: str, _: RankedSpot | None) -> str:
    return f"{kind}_{name}.pdf"


def _unit_sheet(plan: Plan, trailer: TrailerAt, kind: str) -> bytes:
    """A sheet of one trailer of a set, by its own tables."""
    from siteplanner.outputs.sheets.printing import sheet_pdf
    from siteplanner.planning.plan.sets_of import plan_of_unit

    theirs, ranked = plan_of_unit(plan, trailer)
    return sheet_pdf(theirs, kind, ranked) or b""


@st.fragment
def radio_text(plan: Plan, chosen: RankedSpot | None) -> None:
    """The short texts, drawn by themselves."""
    part(one_text, plan, chosen)


def one_text(plan: Plan, chosen: RankedSpot | None) -> None:
    """One sheet as short text with a copy button; each fits 2 kB."""
    kinds = [kind for kind in SHEETS if briefing(plan, kind, chosen) is not None]
    kind = (
        st.segmented_control(
            "For whom",
            kinds,
            format_func=SHEETS.__getitem__,
            default=kinds[0],
            key="radio_kind",
            label_visibility="collapsed",
        )
        or kinds[0]
    )
    st.code(briefing(plan, kind, chosen) or "", language=None, wrap_lines=True)


def _sheet(plan: Plan, kind: str, ranked: RankedSpot | None) -> bytes:
    """A sheet as PDF, made when it is asked for. The spot may be another than the one that the files hold."""
    from siteplanner.outputs.sheets.printing import sheet_pdf

    return sheet_pdf(plan, kind, ranked) or b""


def file_name(kind: str, ranked: RankedSpot | None) -> str:
    """`driver_B.pdf`: the spot's name as far as any file system takes it."""
    name = re.sub(r"[^A-Za-z0-9]+", "_", ranked.spot.name).strip("_")[:30] if ranked is not None else ""
    return f"{kind}_{name}.pdf" if name else f"{kind}.pdf"


def write_job(plan: Plan, folder: Path, mission: Mission, progress: Callable[[str, float], None]) -> list[Path]:
    """Every output; the zip of them all comes last."""
    from siteplanner.outputs.write import write_outputs

    files = write_outputs(plan, folder, progress=progress)
    return [*(f for f in files if f.name != BUNDLE), *(f for f in files if f.name == BUNDLE)]


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
        st.info("These files have the ranking as you set it on the Decide page.")
    st.html(style.head("Everything in one file"))
    _row(bundle, "All files below in one zip, with a list of their fingerprints", "application/zip", primary=True)
    st.html(style.head("One by one"))
    order = list(WORDS)
    for file in sorted(files[:-1], key=lambda f: (order.index(f.name) if f.name in order else len(order), f.name)):
        words, kind = WORDS.get(file.name, ("Further output", "application/octet-stream"))
        _row(file, words, kind)


def _row(file: Path, words: str, kind: str, *, primary: bool = False) -> None:
    button, text = st.columns([2, 5], vertical_alignment="center")
    button.download_button(
        plain(file.name),
        file.read_bytes(),
        file.name,
        kind,
        on_click="ignore",
        width="stretch",
        key=f"get_{file.name}",
        type="primary" if primary else "secondary",
    )
    text.text(f"{words} ({size(file.stat().st_size)})")


def size(count: int) -> str:
    """Bytes in words."""
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(count / 1e3, 0.1):.1f} kB"
