"""The house has one direction of imports; each module loads alone; the light ones stay light."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "siteplanner"

# lower may not import higher (DEVELOPERS.md, Rooms)
LEVELS = {
    "errors": 0,
    "core": 0,
    "data": 1,
    "mission": 2,
    "roads": 3,
    "planning": 4,
    "outputs": 5,
    "demo": 6,
    "app": 7,
    "cli": 8,
    "__main__": 9,
    "__init__": 5,
}
CORE_MAY_IMPORT = {
    "numpy", "scipy", "numba", "siteplanner",
    # of the standard library; `os` only to count processors
    "math", "dataclasses", "typing", "functools", "itertools", "collections", "concurrent", "os", "__future__",
}  # fmt: skip


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if "browser_files" not in p.parts)


def dotted(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(path: Path) -> list[str]:
    names = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return names


def level(name: str) -> int:
    parts = name.split(".")
    return LEVELS["__init__"] if len(parts) == 1 else LEVELS[parts[1]]


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_run_one_way(path):
    own = level(dotted(path))
    if dotted(path) == "siteplanner":
        return  # lazy names only; loaded alone below
    for name in imported(path):
        if name.startswith("siteplanner"):
            if name == "siteplanner.load_mission" or len(name.split(".")) < 2:
                continue
            assert level(name) <= own, f"{dotted(path)} imports {name}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "core").glob("*.py")), ids=dotted)
def test_the_core_opens_no_file_and_leans_on_little(path):
    for name in imported(path):
        assert name.split(".")[0] in CORE_MAY_IMPORT, f"core imports {name}"
        assert not name.startswith("siteplanner") or name.startswith("siteplanner.core"), name
    calls = [
        n.func.id
        for n in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)
    ]
    assert "open" not in calls


def test_each_module_loads_alone():
    """A fresh interpreter a group would hide cycles; one process with the module table cleared does not."""
    names = [dotted(p) for p in modules() if p.name != "__main__.py"]
    code = (
        "import importlib, sys\n"
        f"for name in {names!r}:\n"
        "    for held in [m for m in sys.modules if m.split('.')[0] == 'siteplanner']: del sys.modules[held]\n"
        "    importlib.import_module(name)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]


def test_the_command_line_starts_without_the_heavy_libraries():
    code = (
        "import sys, siteplanner.cli\n"
        "heavy = {'numba', 'rasterio', 'geopandas', 'folium', 'streamlit', 'scipy', 'pandas'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-500:]


@pytest.mark.parametrize("room", ["core", "data", "roads", "planning", "outputs", "demo", "app"])
def test_the_map_of_the_house_names_every_module(room):
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    chapter = text.split(f"### `{room}/`")[1].split("###")[0]
    missing = [
        p.name for p in (PACKAGE / room).glob("*.py") if p.name != "__init__.py" and f"`{p.name}`" not in chapter
    ]
    gone = [n for n in re.findall(r"^- `(\w+\.py)`", chapter, re.M) if not (PACKAGE / room / n).exists()]
    assert not missing, f"DEVELOPERS.md lacks {missing}"
    assert not gone, f"DEVELOPERS.md names {gone}, which are gone"
