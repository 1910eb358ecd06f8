"""On the first page: an atlas on this computer from which the mission is answered before anything is calculated."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from siteplanner.app.atlas_answer import begin
from siteplanner.app.pressing import press
from siteplanner.app.session import Work
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.planning.atlas.folder import finished

FIELD = "atlas_folder"
ABOUT = (
    "Where somebody has judged this region before the call, its atlas answers in seconds: places and sets of trailers, "
    "ranked. You then have the listed spots judged exactly."
)


def expander(work: Work) -> None:
    """The folder's name and the press that asks it; the way back to an answer that is there."""
    with st.expander("Answer from an atlas first"):
        st.caption(ABOUT)
        box, button = st.columns([3, 1], vertical_alignment="bottom")
        box.text_input(
            "Folder of the atlas on this computer",
            value=work.atlas_folder,
            key=f"{FIELD}_{work.edition}",
            placeholder="/path/to/atlas",
            help="What `siteplanner atlas build` wrote. Only files in this folder are read.",
        )
        press(button, "Answer from the atlas", _ask, work, type="primary", width="stretch")
        if work.atlas is not None:
            press(st, "Show the answer from the atlas", work.atlas.to_front)


def _ask(work: Work) -> str:
    """What can be said at once is said at the button; the rest is asked in the background."""
    text = str(st.session_state[f"{FIELD}_{work.edition}"]).strip().strip('"')
    work.atlas_folder = text
    if not text:
        raise InputError("No folder is named.", remedy="Type the path of the folder of an atlas.")
    try:
        folder = Path(text).expanduser()
    except RuntimeError:  # no such user
        folder = Path(text)
    finished(folder)
    begin(work, mission_from_dict(work.draft or {}, base=work.base), folder)
    return "run"
