"""Start: choose or bring a mission, see what its files were taken for, set it, have it vetted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from siteplanner.app.frame import finding_note, part, say_error, units_now, work_now
from siteplanner.app.labels import by_severity, plain
from siteplanner.app.pressing import press
from siteplanner.app.session import Work
from siteplanner.errors import InputError, SiteplannerError
from siteplanner.mission import load_mission, mission_from_dict
from siteplanner.outputs.words.text import clean

if TYPE_CHECKING:
    from siteplanner.app.running import Run
    from siteplanner.mission import Mission

WAYS = ("A sample", "My own files", "A mission file", "Earlier work")


def page() -> None:
    """The first page."""
    work = work_now()
    way = (
        st.segmented_control(
            "What do you want to plan with?", WAYS, default=WAYS[0], required=True, key="way", persist_state="session"
        )
        if _persists()
        else st.segmented_control("What do you want to plan with?", WAYS, default=WAYS[0], key="way")
    )
    try:
        {WAYS[0]: sample, WAYS[1]: own, WAYS[2]: saved, WAYS[3]: earlier}[way or WAYS[0]](work)
    except SiteplannerError as error:
        say_error(error)
    if work.draft is None:
        if any(b.role == "elevation" for b in work.brought):
            drawn(work)
        return
    st.divider()
    st.subheader(plain(work.draft.get("name") or "Unnamed mission"), anchor=False)
    st.text(work.origin)
    if work.note:
        st.warning(plain(work.note))
    part(from_atlas, work)
    part(vetted, work)
    part(drawn, work)
    part(settings, work)


# what a way needs is loaded when it is taken: the first page shows before the libraries of the layers are read
def own(work: Work) -> None:
    """The user's own files."""
    from siteplanner.app import bring

    bring.own_files(work)


def earlier(work: Work) -> None:
    """Plans kept on this computer."""
    from siteplanner.app import earlier_work

    earlier_work.page(work)


def drawn(work: Work) -> None:
    """Shapes drawn on the map."""
    from siteplanner.app import draw

    draw.expander(work)


def from_atlas(work: Work) -> None:
    """The mission answered from a region that was judged before."""
    from siteplanner.app import atlas_choice

    atlas_choice.expander(work)


def _persists() -> bool:
    """Whether this Streamlit keeps a widget's value while another page is shown."""
    import inspect

    return "persist_state" in inspect.signature(st.segmented_control).parameters


def sample(work: Work) -> None:
    """A mission to learn on."""
    from siteplanner.demo import SAMPLES

    box, button = st.columns([3, 1], vertical_alignment="bottom")
    name = box.selectbox("Sample", list(SAMPLES), format_func=_title, key="sample_name")
    box.caption(plain(SAMPLES[name]))
    press(button, "Open the sample", _open_sample, work, type="primary", width="stretch")


def _title(sample: str) -> str:
    return sample.replace("_", " ").title()


# a press reads the fields as they stand then, not as they did when the button was drawn
def _open_sample(work: Work) -> None:
    from siteplanner.demo import IN_A_WORD, sample_mission

    name = st.session_state["sample_name"]
    open_file(work, sample_mission(name), f"Sample: {_title(name)}, {IN_A_WORD[name]}")


def saved(work: Work) -> None:
    """A mission file that lies on this computer beside its layers."""
    box, button = st.columns([3, 1], vertical_alignment="bottom")
    box.text_input(
        "Mission file on this computer",
        key="mission_file",
        placeholder="/path/to/mission.toml",
        help="TOML or JSON. Paths in it start from its own folder. To bring a file from elsewhere, "
        "choose My own files and drop it there with its layers.",
    )
    box.checkbox(
        "It may read files outside its own folder",
        key="mission_trusted",
        help="Leave this off for a mission that somebody sent.",
    )
    press(button, "Open the file", _open_named, work, type="primary", width="stretch")


def _open_named(work: Work) -> None:
    from siteplanner.app import bring

    text, trusted = st.session_state["mission_file"], st.session_state["mission_trusted"]
    if not text.strip():
        raise InputError("No file is named.", remedy="Type the path of a mission file, or choose My own files.")
    path = Path(text.strip().strip('"')).expanduser()
    if not trusted and (far := bring.outside(load_mission(path))):
        raise InputError(
            f"The mission names files outside its own folder: {', '.join(far[:3])}.",
            remedy="Tick the box above if you know them, or move them beside the mission.",
            file=path,
            field="layers",
        )
    open_file(work, path, f"Mission file {path}")


def open_file(work: Work, path: Path, origin: str) -> None:
    """Read a mission file and have it vetted at once."""
    mission = load_mission(path)
    work.open(mission.draft(), mission.base.resolve(), clean(origin))
    work.begin_check()


def settings(work: Work) -> None:
    """The form, and the mission as a file."""
    from siteplanner.app.mission_form import mission_form
    from siteplanner.app.mission_text import mission_toml

    asked = work.check is None
    with st.expander("Settings of this mission", expanded=asked):
        try:
            changed = mission_form(work, units_now())
            if changed is not None:
                mission_from_dict(changed, base=work.base)
                work.draft = changed
                work.revision += 1
                work.begin_check()
                st.rerun()
        except SiteplannerError as error:
            say_error(error)
    try:
        made = mission_from_dict(work.draft or {}, base=work.base).parameters()
    except InputError:
        return
    from siteplanner.outputs.write import json_text

    left, right, _ = st.columns([1, 1, 2])
    left.download_button(
        "Save mission.toml", mission_toml(made), "mission.toml", "application/toml", width="stretch", on_click="ignore"
    )
    right.download_button(
        "Save mission.json", json_text(made), "mission.json", "application/json", width="stretch", on_click="ignore"
    )


@st.fragment(run_every=0.5)
def watch(run: Run) -> None:
    """Progress of the check; the page is drawn again when it ends."""
    if run.state != "running":
        st.rerun()
    st.progress(min(run.share / 0.25, 1.0), text=plain(f"Checking the layers: {run.stage}"))


def vetted(work: Work) -> None:
    """What each layer was taken for, what was found, and the way on."""
    run = work.check
    if run is None:
        st.caption("Fill in the settings below; the layers are checked before anything runs.")
        return
    if run.state == "running":
        watch(run)
        return
    if run.error is not None:
        say_error(run.error)
        return
    if run.result is None:
        return
    from siteplanner.planning.telling.cost import cost_words
    from siteplanner.planning.telling.screen import vetted_words

    inputs, findings = run.result.inputs, run.result.findings
    grave = [f for f in findings if f.severity != "note"]
    left, right = st.columns([3, 1], vertical_alignment="center")
    left.markdown(f"**The layers can be used.** {vetted_words(len(inputs), len(grave))}")
    press(right, "Plan this mission", _plan, work, run.mission, type="primary", width="stretch")
    if run.result.fit is not None:
        words = plain(cost_words(run.result.fit, units_now()))
        st.warning(words) if run.result.fit.tight else left.caption(words)
    st.html("".join(finding_note(f) for f in by_severity(findings)))
    st.dataframe([layer_row(i) for i in inputs], hide_index=True, width="stretch")


def _plan(work: Work, mission: Mission) -> str:
    work.begin_plan(mission)
    return "run"


def layer_row(record: Any) -> dict[str, Any]:
    """One line of the table of layers."""
    from siteplanner.planning.telling.inputs import holds_words

    return {
        "Used as": record.role.replace("_", " ").capitalize(),
        "File": clean(record.file),
        "CRS": clean(record.crs),
        "Unit": record.unit or "-",
        "Count": record.count,
        "Contents": clean(holds_words(record.held)),
        "West, south, east, north": extent(record.extent_lonlat),
    }


def extent(box: Any) -> str:
    return ", ".join(f"{v:.3f}" for v in box) if box else "not known"
