"""The house has one direction of imports; each module loads alone; the light ones stay light."""

from __future__ import annotations

import ast
import functools
import json
import re
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from .house import first_sentence, listing

PACKAGE = Path(__file__).parents[1] / "siteplanner"

# lower may not import higher (DEVELOPERS.md, Rooms); the longest name that fits counts
LEVELS = {
    "no_network": 0,
    "environment": 0,
    "errors": 0,
    "guide": 0.5,
    "core": 0,
    "data": 1,
    "mission": 2,
    "roads": 3,
    "planning": 4.0,
    "planning.workers": 4.05,
    "planning.study": 4.0,
    "planning.limits": 4.1,
    "planning.site": 4.2,
    "planning.spots": 4.3,
    "planning.choose": 4.4,
    "planning.plan": 4.5,
    "planning.atlas": 4.55,
    "planning.telling": 4.6,
    "outputs": 5.0,
    "outputs.words": 5.0,
    "outputs.pictures": 5.1,
    "outputs.map": 5.2,
    "outputs.sheets": 5.2,
    "outputs.gis": 5.2,
    "outputs.package": 5.3,
    "outputs.write": 5.3,
    "outputs.again": 5.4,
    "outputs.batch": 5.4,
    "outputs.hand_over": 5.4,
    "outputs.measured": 5.4,
    "outputs.ready": 5.4,
    "outputs.as_built": 5.4,
    "outputs.atlas": 5.3,
    "outputs.staged": 5.4,
    "demo": 6,
    "app": 7,
    "cli": 8,
    "__main__": 9,
    "__init__": 5,
}
BESIDE = {"outputs.map", "outputs.sheets", "outputs.gis"}
"""Families of one level that must not lean on each other."""
CORE_MAY_IMPORT = {
    "numpy", "scipy", "numba", "siteplanner",
    # of the standard library; `os` only to count processors
    "math", "dataclasses", "typing", "functools", "itertools", "collections", "concurrent", "heapq", "os",
    "__future__",
}  # fmt: skip


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if "browser_files" not in p.parts)


def dotted(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@functools.cache
def imported(path: Path) -> tuple[str, ...]:
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return tuple(names)


def family(name: str) -> str:
    """The longest entry of LEVELS that a dotted name lies in."""
    parts = name.split(".")[1:] or ["__init__"]
    fits = [".".join(parts[:n]) for n in range(len(parts), 0, -1) if ".".join(parts[:n]) in LEVELS]
    assert fits, f"{name} lies in no room that is known"
    return fits[0]


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_run_one_way(path):
    """Imports at the top, inside functions and under TYPE_CHECKING alike."""
    own = family(dotted(path))
    if dotted(path) == "siteplanner":
        return  # lazy names only; loaded alone below
    for name in imported(path):
        if name.startswith("siteplanner"):
            if name == "siteplanner.load_mission" or len(name.split(".")) < 2:
                continue
            other = family(name)
            assert LEVELS[other] <= LEVELS[own], f"{dotted(path)} imports {name}"
            assert other == own or not {other, own} <= BESIDE, f"{dotted(path)} imports {name}, of a family beside it"


def test_no_circle_of_modules():
    """No module leans on itself by any way round, whatever the import: lazy ones and those of types count too."""
    known = {dotted(p): p for p in modules() if p != PACKAGE / "__init__.py"}
    needs = {}
    for name, path in known.items():
        asked = imported(path)
        needs[name] = {n for n in {*asked, *(a.rpartition(".")[0] for a in asked)} if n in known and n != name}
    list(TopologicalSorter(needs).static_order())  # a circle is an error that names it


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


def gathers(path: Path) -> bool:
    """Whether a package imports its own modules when it is loaded."""
    if path.name != "__init__.py":
        return False
    body = ast.parse(path.read_text(encoding="utf-8")).body
    return any(isinstance(n, ast.ImportFrom) and str(n.module).startswith(f"{dotted(path)}.") for n in body)


def loaded_with(path: Path, known: dict[str, Path]) -> set[str]:
    """The modules of ours that must be there before this one's body has run: packages above it, and its imports.

    Imports within functions run later; those under `if TYPE_CHECKING` never. A package that gathers its own modules'
    names comes after them, so they must not need it: they are loaded with an empty one in its place.
    """
    above = {p for p in known if dotted(path).startswith(f"{p}.") and gathers(known[p])}

    def with_packages(name: str) -> set[str]:
        parts = name.split(".")
        return {".".join(parts[:n]) for n in range(1, len(parts) + 1)} - above

    needed, stack = with_packages(dotted(path)), list(ast.parse(path.read_text(encoding="utf-8")).body)
    while stack:
        node = stack.pop()
        if isinstance(node, ast.Import):
            needed |= {n for a in node.names if a.name in known for n in with_packages(a.name)}
        elif isinstance(node, ast.ImportFrom) and node.module in known:
            inner = {f"{node.module}.{a.name}" for a in node.names} & set(known)
            needed |= with_packages(node.module).union(*map(with_packages, inner))
        elif isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            stack += node.orelse
        elif not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)):
            stack += ast.iter_child_nodes(node)
    return needed - {dotted(path)}


LOAD_ALONE = """
import importlib, json, sys, types
order, needs = json.load(sys.stdin)
ours, wrong = {}, []
for name in order:
    for held in [m for m in sys.modules if m.split('.')[0] == 'siteplanner']:
        del sys.modules[held]
    for held in ours:  # a package must not hand out what this module has not asked for
        package, _, last = held.rpartition('.')
        if package in ours:
            vars(ours[package]).pop(last, None)
    for held in needs[name]:
        sys.modules[held] = ours[held]
        package, _, last = held.rpartition('.')
        if package:
            if package in needs[name]:
                setattr(ours[package], last, ours[held])
    empty = []
    for dot in (i for i, c in enumerate(name) if c == '.'):
        if name[:dot] not in sys.modules:
            empty.append(name[:dot])
            sys.modules[name[:dot]] = types.ModuleType(name[:dot])
            sys.modules[name[:dot]].__path__ = ['/'.join([*ours['siteplanner'].__path__, *name[:dot].split('.')[1:]])]
    try:
        ours[name] = importlib.import_module(name)
    except Exception as error:
        wrong.append(f'{name}: {type(error).__name__}: {error}')
        break
    more = {m for m in sys.modules if m.split('.')[0] == 'siteplanner'}
    more -= {*needs[name], name, *empty, 'siteplanner.no_network', 'siteplanner.environment'}
    if more:
        wrong.append(f'{name} loads {sorted(more)} by a way that this test does not see')
        break
sys.exit('\\n'.join(wrong) or 0)
"""


def test_each_module_loads_alone():
    """By induction, each body run once: no cycle, and each loads while of ours only what it asks for is there."""
    # these two are parts of the package's own body: below, they must lean on nothing
    known = {dotted(p): p for p in modules() if p.name not in ("__main__.py", "no_network.py", "environment.py")}
    direct = {name: loaded_with(path, known) for name, path in known.items()}
    order = list(TopologicalSorter(direct).static_order())  # a cycle is an error that names it
    needs: dict[str, set[str]] = {}
    for name in order:
        needs[name] = direct[name].union(*(needs[n] for n in direct[name]))
    said = json.dumps([order, {name: sorted(held) for name, held in needs.items()}])
    done = subprocess.run(
        [sys.executable, "-c", LOAD_ALONE], input=said, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]


def test_the_ways_to_hosts_are_shut_by_the_standard_library_alone_before_all_else():
    first = next(
        n
        for n in ast.parse((PACKAGE / "__init__.py").read_text("utf-8")).body
        if isinstance(n, ast.Expr) and isinstance(n.value, ast.Call)
    )
    assert ast.unparse(first) == "no_network.shut()"
    top = [n for n in ast.parse((PACKAGE / "__init__.py").read_text("utf-8")).body if isinstance(n, ast.ImportFrom)]
    assert [n.module for n in top] == ["__future__", "typing", "siteplanner"]
    others = {n.split(".")[0] for n in imported(PACKAGE / "no_network.py")} - {"__future__"}
    assert others <= sys.stdlib_module_names


def test_the_command_line_starts_without_the_heavy_libraries():
    code = (
        "import sys, siteplanner.cli\n"
        "heavy = {'numba', 'rasterio', 'geopandas', 'folium', 'streamlit', 'scipy', 'pandas'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-500:]


def test_every_module_and_folder_says_what_it_is():
    silent = [dotted(p) for p in modules() if not first_sentence(p)]
    assert not silent
    assert len(listing().splitlines()) > len(modules()) - 10


def test_the_map_of_the_house_names_every_family_and_no_other():
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {f"{p.parent.relative_to(PACKAGE)}/" for p in PACKAGE.rglob("__init__.py")} - {"./"}
    named = set(re.findall(r"`((?:core|data|mission|roads|planning|outputs|demo|app|cli|guide)/(?:[a-z]+/)?)`", text))
    assert rooms <= named, f"DEVELOPERS.md lacks {rooms - named}"
    assert named <= rooms, f"DEVELOPERS.md names {named - rooms}, which are gone"
