"""No reader meets an old word: every text in the package that has words in it, by file and line."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import siteplanner
from tests.glossary import OLD, old_words

FOLDER = Path(siteplanner.__file__).parent
READ_FROM_FILES = {
    "data/road_keys.py", "mission/fields.py", "roads/attributes.py", "roads/quantities.py", "roads/barriers.py",
}  # fmt: skip
"""Where the words of other people's files stand (OpenStreetMap's own spelling), and what sources are found by."""
FOR_PROGRAMMERS = ("core/",)  # its errors are ValueErrors that no page shows


def texts(path: Path) -> list[tuple[int, str]]:
    """(line, text) of each literal that has a blank in it; docstrings are not read."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    return [
        (n.lineno, n.value)
        for n in ast.walk(tree)
        if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in docs and " " in n.value
        if not n.value.lstrip().startswith(("const ", "export ", "//"))
    ]


@pytest.mark.parametrize("room", ["app", "cli", "data", "mission", "outputs", "planning", "roads", "errors.py"])
def test_no_text_of_the_package_has_an_old_word(room):
    files = [FOLDER / room] if room.endswith(".py") else sorted((FOLDER / room).rglob("*.py"))
    assert files
    found = [
        f"{path.relative_to(FOLDER)}:{line}: {old}, in: {text[:100]}"
        for path in files
        if str(path.relative_to(FOLDER)) not in READ_FROM_FILES
        for line, text in texts(path)
        for old in old_words(text)
    ]
    assert not found, "\n".join(found)


PAPERS = {
    "README": (FOLDER.parent / "README.md"),
    **{path.stem: path for path in sorted((FOLDER / "guide").glob("*.md"))},
    **{path.parent.name: path for path in sorted((FOLDER.parent / "data_samples").glob("*/README.md"))},
    **{f"{path.parent.name}.toml": path for path in sorted((FOLDER.parent / "data_samples").glob("*/mission.toml"))},
}
EXPLAINED = {"from memory"}  # the guide's page of methods says what it means


@pytest.mark.parametrize("name", PAPERS)
def test_no_page_that_a_user_reads_has_an_old_word(name):
    """README, guide, and what lies beside the samples."""
    lines = enumerate(PAPERS[name].read_text("utf-8").splitlines(), 1)
    found = [f"{name}:{n}: {old}" for n, line in lines for old in old_words(line) if old[1:12] not in EXPLAINED]
    assert not found, "\n".join(found)


def test_no_help_of_a_command_has_an_old_word():
    """The docstring of a command is what `--help` says."""
    for path in sorted((FOLDER / "cli").glob("*.py")):
        functions = [n for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.FunctionDef)]
        assert not [(path.name, f.name, old) for f in functions for old in old_words(ast.get_docstring(f) or "")]


def test_no_layout_of_a_sheet_has_an_old_word():
    for path in sorted((FOLDER / "outputs" / "sheets").glob("*.typ")):
        lines = [line for line in path.read_text("utf-8").splitlines() if not line.lstrip().startswith("//")]
        assert not [old for line in lines for old in old_words(line)], path.name


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Watch out: there is one way in from staging; service is less likely than not at Search base.", 2),
        ("overhead line, 10.1 km on.", 1),
        ("no height posted: measure before driving through", 1),
        ("Slope of 1.1°, give or take 2.0°", 1),
        ("treat every line as energised; stop and cool before refuelling", 2),
        ("Nose points to 147°", 1),
        ("!! tight turn", 1),
    ],
)
def test_the_table_finds_what_stood_on_the_sheets_before(old, new):
    assert len(old_words(old)) == new


def test_the_new_words_of_the_table_are_not_old_ones():
    assert not [new for _, new in OLD if old_words(new)]
