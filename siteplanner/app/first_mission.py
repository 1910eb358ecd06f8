"""A folder of files as a first mission: looked at as the app looks at what is dropped, written as a commented file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from siteplanner.app.intake import NEEDED, ROLES, Brought, held_words, look_at, one_each
from siteplanner.errors import Finding, InputError, OutputError
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.first_mission import TakenFile, clue_words, first_mission_text
from siteplanner.planning.telling.units import METRIC

MISSION = "mission.toml"
DOCUMENTS = (".md", ".txt", ".pdf", ".html", ".docx", ".odt", ".png", ".jpg", ".jpeg")


def look_over(folder: Path, progress: Callable[[str, float], None] = lambda stage, share: None) -> list[Brought]:
    """What each file of a folder was taken for, by name; hidden files and folders are passed over.

    Raises InputError for what is no folder, and for one without files.
    """
    if not folder.is_dir():
        raise InputError("There is no such folder.", remedy="Name the folder that your layers are in.", file=folder)
    files = sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith("."))
    if not files:
        raise InputError("The folder has no files.", remedy="Put your layers into it.", file=folder)
    looked: list[Brought] = []
    for number, path in enumerate(files):
        progress(f"Looking at {path.name}", number / len(files))
        looked += look_at(path)
    return one_each(looked)


def text_of(name: str, brought: Sequence[Brought]) -> str:
    """The commented mission file for files as they were taken."""
    taken = [
        TakenFile(
            role=item.role,
            path=item.path,
            holds=held_words(item),
            clue=item.clue,
            doubts=tuple(_words(f) for f in item.findings if f.severity != "note"),
            unit_said=item.record is None or item.record.unit != "not stated",
            columns=item.columns,
            mapped=item.mapped,
        )
        for item in brought
        if item.usable and item.role in ROLES
    ]
    order = list(ROLES)
    taken.sort(key=lambda t: (not ROLES[t.role].needed, order.index(t.role)))
    needed = {role: ROLES[role].words.lower() for role in NEEDED}
    return first_mission_text(name, taken, left_out(brought), needed)


def _words(finding: Finding) -> str:
    words = said(finding, METRIC)
    return f"{words.message} {words.remedy}".strip()


def left_out(brought: Sequence[Brought]) -> list[tuple[str, str]]:
    """(file, why) of what is no layer of the mission; parts of shapefiles and mission files are none to begin with."""
    out = []
    for item in brought:
        if item.kind in ("part", "mission"):
            continue
        if item.problem is not None and Path(item.path).suffix.lower() in DOCUMENTS:
            out.append((item.path, "a document or picture, no layer"))
        elif item.problem is not None:
            out.append((item.path, f"{item.problem.what} {item.problem.remedy}"))
        elif item.role not in ROLES:
            out.append((item.path, clue_words(item.clue)))
    return out


def write_new(path: Path, text: str, force: bool) -> None:
    """Write a file as a whole or not at all; one that is there stays unless `force`.

    Raises InputError where it is there, OutputError where it cannot be written.
    """
    if path.exists() and not force:
        raise InputError(
            "There is a mission file already; nothing was written.",
            remedy="Rename it, or write over it with --force.",
            file=path,
        )
    staged = path.with_name(f".{path.name}.part")
    try:
        staged.write_text(text, encoding="utf-8")
        staged.replace(path)
    except OSError as error:
        staged.unlink(missing_ok=True)
        raise OutputError(
            f"The mission file cannot be written ({error.strerror}).",
            remedy="Free some disk, or see to it that you may write into the folder.",
            file=path,
        ) from None
