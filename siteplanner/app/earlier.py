"""Earlier work: each finished plan is kept on this computer with its mission and files, and can be opened again.

One folder a plan, made whole and then named, so that a half-written one is never listed. A plan comes back as it was:
ranking, map, weights and questions work at once, nothing is computed again.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.app.private import FILE_MODE, FOLDER_MODE, private_folder, root
from siteplanner.app.roles import roles_of_layers
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.planning.plan.compare import read_plan
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.saved import decoded, encoded

MAX_KEPT = 20
MAX_BYTES = 8 << 30  # of one saved plan, unpacked
ABOUT, PLAN, FILES, TEXT = "about.json", "plan.zip", "files", "plan_text.json"
REPORT = "as_built_report.toml"


@dataclass(frozen=True)
class Earlier:
    """One kept plan. `whole`: it opens with its ranking; otherwise only the mission does."""

    folder: Path
    name: str
    made: str  # ISO 8601, UTC
    best: str
    owner: str
    origin: str
    base: Path
    draft: dict[str, Any]
    inputs: dict[str, str]  # bare file name -> SHA-256 as it was used
    whole: bool


def pace_file() -> Path:
    """Where stage times of earlier runs stand."""
    return root() / "pace.json"


def owner_of(token: str) -> str:
    """A mark that tells whose work a plan was, without giving the secret name away."""
    return hashlib.sha256(token.encode()).hexdigest()[:16]


def keep(plan: Plan, draft: Mapping[str, Any], base: Path, files: Path, origin: str, owner: str) -> Path:
    """Write a plan down; the oldest beyond MAX_KEPT go. `files`: the user's own, copied when the mission uses them.

    Raises OSError: the disk is full or may not be written.
    """
    from siteplanner.outputs.write import json_text
    from siteplanner.planning.telling.record import plan_record
    from siteplanner.planning.telling.words import recommendation

    private_folder(root())
    place = private_folder(root() / "plans")
    now_ns = time.time_ns()  # in the order of their making, also within one second
    stamp = time.strftime("%Y%m%dT%H%M%S", time.gmtime(now_ns // 10**9)) + f"_{now_ns % 10**9:09d}"
    stamp += f"-{os.urandom(3).hex()}"
    staged = place / f".{stamp}"
    staged.mkdir(mode=FOLDER_MODE)
    try:
        own = base == files
        if own:
            (staged / FILES).mkdir(mode=FOLDER_MODE)
            for file in sorted(p for p in files.iterdir() if p.is_file() and not p.name.startswith(".")):
                _link(file, staged / FILES / file.name)
        whole = True
        try:
            text, arrays = encoded(plan)
        except TypeError:
            whole = False
        else:
            _write_zip(staged / PLAN, text, arrays)
        (staged / "plan.json").write_text(json_text(plan_record(plan)), "utf-8")
        about = {
            "name": plan.mission.name,
            "made": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
            "best": recommendation(plan),
            "owner": owner,
            "origin": origin,
            "base": None if own else str(base),
            "draft": dict(draft),
            "inputs": {i.file: i.sha256 for i in plan.inputs},
            "whole": whole,
        }
        (staged / ABOUT).write_text(json.dumps(about), "utf-8")
        for file in staged.rglob("*"):
            if file.is_file():
                file.chmod(FILE_MODE)
        done = place / stamp
        staged.rename(done)
    except BaseException:
        shutil.rmtree(staged, ignore_errors=True)
        raise
    for old in sorted(p for p in place.iterdir() if not p.name.startswith("."))[:-MAX_KEPT]:
        shutil.rmtree(old, ignore_errors=True)
    return done


def listed() -> list[Earlier]:
    """What is kept, newest first. A folder that cannot be understood is passed over."""
    place = root() / "plans"
    folders = sorted((p for p in place.glob("2*") if p.is_dir()), reverse=True) if place.is_dir() else []
    return [e for e in map(_about, folders) if e is not None]


def _about(folder: Path) -> Earlier | None:
    try:
        a = json.loads((folder / ABOUT).read_text("utf-8"))
        base = folder / FILES if a["base"] is None else Path(a["base"])
        return Earlier(
            folder,
            str(a["name"]),
            str(a["made"]),
            str(a["best"]),
            str(a["owner"]),
            str(a["origin"]),
            base,
            dict(a["draft"]),
            dict(a["inputs"]),
            bool(a["whole"]) and (folder / PLAN).is_file(),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def opened(earlier: Earlier) -> Plan:
    """The plan as it was. Raises InputError: damaged, or written by another version."""
    try:
        with zipfile.ZipFile(earlier.folder / PLAN) as held:
            if sum(i.file_size for i in held.infolist()) > MAX_BYTES:
                raise InputError("The saved plan is larger than this program writes.", remedy="Run the mission again.")
            plan = decoded(held.read(TEXT).decode("utf-8"), _Arrays(held))
    except (OSError, zipfile.BadZipFile, zlib.error, KeyError) as error:
        raise InputError(
            f"The saved plan cannot be read ({type(error).__name__}).",
            remedy="Run the mission again.",
            file=earlier.name,
        ) from None
    return replace(plan, mission=plan.mission.model_copy(update={"base": earlier.base}))


def record_of(earlier: Earlier) -> Mapping[str, Any]:
    """What the plan says, as its plan.json. Raises InputError: damaged, gone, or written by another version."""
    return read_plan(earlier.folder / "plan.json")


def keep_report(folder: Path, text: str) -> None:
    """Write what a crew radioed back beside its plan, whole or not at all. Raises OSError."""
    staged = folder / f".{REPORT}"
    staged.write_text(text, "utf-8")
    staged.chmod(FILE_MODE)
    staged.replace(folder / REPORT)


def report_of(folder: Path) -> dict[str, Any]:
    """The report that is kept beside a plan, as plain data; empty where there is none or it is damaged."""
    from siteplanner.mission.report import load_report

    try:
        return load_report(folder / REPORT).model_dump(exclude_defaults=True)
    except InputError:
        return {}


def changed_files(earlier: Earlier, mission: Mission) -> list[str]:
    """Bare names of layers that are gone or are not what they were when the plan was made."""
    from siteplanner.data.records import sha256_of

    out = []
    for name in layer_paths(earlier.draft.get("layers", {})):
        path = mission.path(name.partition("|")[0])
        was = earlier.inputs.get(path.name)
        if was is not None and (not path.is_file() or sha256_of(path) != was):
            out.append(path.name)
    return out


def layer_paths(layers: Mapping[str, Any]) -> list[str]:
    """All files that a mission's `layers` name."""
    held = (layers.get(role) for role in roles_of_layers())
    return [p for v in held if v for p in ([v] if isinstance(v, str) else v)]


def forget(earlier: Earlier) -> None:
    """Delete one."""
    shutil.rmtree(earlier.folder, ignore_errors=True)


def _link(file: Path, copy: Path) -> None:
    """The same bytes without taking the space twice; files here are replaced, never written into."""
    try:
        os.link(file, copy)
    except OSError:
        shutil.copy2(file, copy)


def _write_zip(path: Path, text: str, arrays: Mapping[str, np.ndarray]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as out:
        out.writestr(TEXT, text)
        for name, array in arrays.items():
            with out.open(f"{name}.npy", "w", force_zip64=True) as stream:
                np.lib.format.write_array(stream, np.ascontiguousarray(array), allow_pickle=False)


class _Arrays:
    """Arrays by name out of the zip, read when asked for."""

    def __init__(self, held: zipfile.ZipFile) -> None:
        self._held = held

    def __getitem__(self, name: str) -> np.ndarray:
        return np.load(BytesIO(self._held.read(f"{name}.npy")), allow_pickle=False)
