"""No code that nothing calls: vulture over the product, and why each name that it still finds may stay."""

from __future__ import annotations

import functools
from pathlib import Path

from vulture import Vulture

PACKAGE = Path(__file__).parents[1] / "siteplanner"
BY_DECORATOR = [
    "@app.command",
    "@app.callback",
    "@atlas.command",
    "@field_validator",
    "@model_validator",
    "@st.fragment",
    "@st.dialog",
    "@atexit.register",
]
KINDS = {"function", "method", "class", "property", "import", "unreachable_code"}
"""Of what vulture finds; beside these, constants. Fields of a frozen fact may be there for whoever reads the record."""
MAY_STAY = {
    "__getattr__": "the package's lazy names (PEP 562)",
    "_get_self_bounds": "folium asks each layer for its bounds",
    "on_broken_pipe": "the console calls it when nobody reads on",
    "end_with_parent": "run by a child process, named in its command line",
    "sheet_png": "a sheet as a picture: what the tests of the sheets look at",
    # the exact rule beside the fast one: twin and ratio are measured against them
    "sky_state": "one direction over a raster, for the benchmark",
    "line_state": "one line, for the twin of the sweep",
}


@functools.cache
def unused() -> dict[str, str]:
    """Name -> where vulture finds it without a use in the product."""
    finder = Vulture(ignore_decorators=BY_DECORATOR)
    finder.scavenge([str(PACKAGE)], exclude=["*browser_files*"])
    found = finder.get_unused_code(min_confidence=60)
    items = [i for i in found if i.typ in KINDS or (i.typ == "variable" and i.name.isupper())]
    return {i.name: f"{Path(i.filename).relative_to(PACKAGE)}:{i.first_lineno} {i.typ}" for i in items}


def test_nothing_is_dead_but_what_has_a_reason():
    dead = {name: where for name, where in unused().items() if name not in set(MAY_STAY)}
    assert not dead


def test_no_reason_outlives_its_name():
    assert set(MAY_STAY) <= set(unused())
