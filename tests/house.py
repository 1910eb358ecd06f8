"""The house, room by room: every module with the first sentence of its docstring. `python -m tests.house`"""

from __future__ import annotations

import ast
import functools
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "siteplanner"


@functools.cache
def first_sentence(path: Path) -> str:
    """What a module says of itself; '' where it says nothing."""
    said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return " ".join(said.split("\n\n")[0].split())


def listing() -> str:
    """Folders in the order of their names; a folder's own line is that of its `__init__`."""
    lines = []
    for folder in sorted({p.parent for p in PACKAGE.rglob("*.py")}):
        lines.append(f"\n{folder.relative_to(PACKAGE.parent)}/  {first_sentence(folder / '__init__.py')}")
        lines += [f"  {p.name:<22} {first_sentence(p)}" for p in sorted(folder.glob("*.py")) if p.name != "__init__.py"]
    return "\n".join(lines).strip()


if __name__ == "__main__":
    print(listing())
