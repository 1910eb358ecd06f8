"""A user's own files: drop them, see what each was taken for, put that right."""

from __future__ import annotations

import re
import traceback
from dataclasses import replace
from pathlib import Path
from typing import Any

import streamlit as st

from siteplanner.app import intake, style, uploads
from siteplanner.app.frame import finding_note
from siteplanner.app.intake import ROLES, UNUSED, held_words, roles_for
from siteplanner.app.labels import error_text, plain
from siteplanner.app.session import Work
from siteplanner.errors import InputError, SiteplannerError
from siteplanner.mission import Mission, load_mission
from siteplanner.planning.telling.first_mission import clue_words


def own_files(work: Work) -> None:
    """Drop zone, list of files with their roles, and the way on. Raises InputError."""
    sent = st.file_uploader(
        "Drop your layers here: elevation, incident area, roads. Optional: surface heights, keep-out and hazard areas, "
        "overhead lines, structures, water, soft ground, must-serve points, spots. You can include a mission.toml.",
        accept_multiple_files=True,
        key=f"drop_{work.token}",
        help="GeoTIFF and other rasters; GeoJSON, GeoPackage, Shapefile (all parts, or zipped), KML, KMZ, GPX, "
        "FlatGeobuf. The files stay on this computer.",
    )
    folder = st.file_uploader(
        "Or drop a whole folder: every file in it is looked at, a mission file among them is offered below.",
        accept_multiple_files="directory",
        key=f"folder_{work.token}",
    )
    # files that a system puts beside others begin with a dot
    take_in(work, [*(sent or []), *(f for f in folder or [] if not Path(f.name).name.startswith("."))])
    for name, error in work.refused.items():
        what, remedy = error_text(error)
        st.error(f"{plain(name)}: {what} {remedy}")
    if not work.brought:
        return
    roles(work)
    missions = [b for b in work.brought if b.kind == "mission"]
    if missions and st.button(plain(f"Use {missions[0].path} with these files"), type="primary"):
        open_mission(work, work.files / missions[0].path)
    layers = None
    try:
        layers = intake.layers_of(work.brought)
    except InputError as error:
        what, remedy = error_text(error)
        st.info(f"{what} {remedy}")
    if layers is not None and st.button("Take these layers", type="secondary" if missions else "primary"):
        kept = work.draft if work.draft is not None and work.base == work.files else {"name": "New mission"}
        work.open({**kept, "layers": layers}, work.files, "Your own files")
        st.rerun()
    if any(b.usable and b.role in ROLES for b in work.brought):
        st.download_button(
            "Save a commented mission.toml",
            commented_mission(work),
            "mission.toml",
            "application/toml",
            on_click="ignore",
            help="Put it into the folder of your layers. It says why each file is used as its layer, and what is left "
            "to fill in: the same file that `siteplanner new` writes.",
        )


def commented_mission(work: Work) -> str:
    """The mission file that `siteplanner new` writes, for the files as they are used now, under their users' names."""
    from siteplanner.app.first_mission import text_of

    folders, brought = set(), []
    for item in work.brought:
        file, bar, layer = item.path.partition("|")
        *folder, own = re.split(r"[\\/]", work.own_names.get(file, file))
        folders |= set(folder[:1])
        brought.append(replace(item, path=own + bar + layer))
    return text_of(folders.pop() if len(folders) == 1 else "New mission", brought)


def take_in(work: Work, sent: list) -> None:
    """Save what is new and look at it; parts of a shapefile make the whole be looked at again."""
    new = [file for file in sent if file.file_id not in work.saved]
    if not new:
        return
    touched: set[Path] = set()
    for file in new:
        work.saved.add(file.file_id)
        work.refused.pop(file.name, None)
        try:
            path = intake.save(file.name, uploads.source(file), work.files)
        except SiteplannerError as error:
            work.refused[file.name] = error
            continue
        finally:
            uploads.let_go(file)
        touched.add(path)
        work.own_names[path.name] = file.name
        whole = next((p for p in work.files.iterdir() if p.stem == path.stem and p.suffix.lower() == ".shp"), None)
        if path.suffix.lower() in intake.SHAPEFILE_PARTS and whole is not None:
            touched.add(whole)
    with st.spinner("Looking at the files"):
        held = [b for b in work.brought if work.files / b.path.split("|")[0] not in touched]
        for path in sorted(touched):
            held += looked_at(path)
    work.brought = intake.one_each(held)


def looked_at(path: Path) -> list[intake.Brought]:
    """What a file is taken for; one that cannot be read for a reason nobody foresaw stays in the list and says so."""
    try:
        return intake.look_at(path)
    except Exception as error:
        # the page shows a sentence; the terminal keeps the rest for whoever mends the program
        traceback.print_exc()
        problem = InputError(
            f"The file could not be read ({type(error).__name__}).",
            remedy="Write it again with the program it comes from, or leave it out.",
            file=path.name,
        )
        return [intake.Brought(path.name, "unknown", intake.UNUSED, problem=problem)]


def roles(work: Work) -> None:
    """One line a file: what it contains, and a choice of what to use it as."""
    st.html(style.head("How each file is used"))
    for number, item in enumerate(work.brought):
        if item.kind == "part":
            continue
        name, holds, role = st.columns([3, 5, 3], vertical_alignment="center")
        name.text(item.path)
        if item.problem is not None:
            what, remedy = error_text(item.problem)
            holds.warning(f"{what} {remedy}")
            continue
        if item.kind == "mission":
            holds.text("A mission file")
            continue
        holds.text(held_words(item))
        holds.caption(plain(f"Why: {clue_words(item.clue)}"))
        options = [*roles_for(item.kind), UNUSED]
        picked = role.selectbox(
            role_label(item.path),
            options,
            index=options.index(item.role),
            label_visibility="collapsed",
            format_func=lambda r: ROLES[r].words if r in ROLES else "Not used",
            key=f"role_{item.path}_{item.kind}_{item.record.sha256[:8] if item.record else ''}_{item.role}",
        )
        if picked != item.role:
            work.brought[number] = replace(item, role=picked, clue=intake.BY_HAND)
            st.rerun()
        if item.findings:
            st.html("".join(finding_note(f) for f in item.findings))


def role_label(path: str) -> str:
    """The choice's name for screen readers, which hear a label as it stands, while the page reads it as Markdown."""
    return "Role of " + " ".join(re.findall(r"[^\W_]+", path))


def open_mission(work: Work, path: Path) -> None:
    """A mission file that came along: its files must be among those that were brought, by bare name."""
    data = confined(load_mission(path).draft(), work.files, path.name)
    work.open(data, work.files, f"{path.name} with your own files")
    work.begin_check()
    st.rerun()


def confined(data: dict[str, Any], folder: Path, mission: str) -> dict[str, Any]:
    """Mission data whose every file is one of a folder, by bare name: whoever wrote the mission chooses no other file
    of this computer. Raises InputError for one that is not there.
    """
    held = {p.name for p in folder.iterdir()}

    def brought(name: str, what: str, field: str) -> str:
        bare = name.replace("\\", "/").rsplit("/", 1)[-1]
        stem, bar, layer = bare.partition("|")
        safe = intake.safe_name(stem)
        if safe not in held:
            raise InputError(
                f"The mission names the {what} {bare[:80]!r}, which is not among your files.",
                remedy="Drop it here too.",
                file=mission,
                field=field,
            )
        return safe + bar + layer

    layers, sheets = dict(data["layers"]), dict(data["sheets"])
    for role, value in layers.items():
        if role in ROLES and value:
            several = isinstance(value, (list, tuple))
            layers[role] = (
                [brought(v, "layer", "layers") for v in value] if several else brought(value, "layer", "layers")
            )
    sheets["extra_fonts"] = [brought(name, "font", "sheets.extra_fonts") for name in sheets["extra_fonts"]]
    return {**data, "layers": layers, "sheets": sheets}


def outside(mission: Mission) -> list[str]:
    """Files that a mission names outside its own folder, as it names them."""
    own = mission.base.resolve()
    data = mission.parameters()
    named = [data["layers"][role] for role in ROLES] + [data["sheets"]["extra_fonts"]]
    names = [n for value in named if value for n in ([value] if isinstance(value, str) else value)]
    return [n for n in names if not mission.path(n.partition("|")[0]).is_relative_to(own)]
