"""Sentences with a figure in them are made in planning/telling and nowhere else: a walk over every module's syntax."""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from siteplanner.planning.telling.units import Units

PACKAGE = Path(__file__).parents[1] / "siteplanner"
TELLING = PACKAGE / "planning" / "telling"

OF_AN_ERROR = "the message of an error, handed to what raises it"
EXCEPTIONS: dict[tuple[str, str], str] = {
    ("data/archives.py", "The archive contains"): OF_AN_ERROR,
    ("data/height_units.py", "\N{HORIZONTAL ELLIPSIS} to \N{HORIZONTAL ELLIPSIS} m if they are meters"): OF_AN_ERROR,
    ("mission/faults.py", "The value must be"): OF_AN_ERROR,
}
"""(file, how the sentence begins) -> why it may stay."""

LEAST_WORDS = 3
WORD = re.compile(r"[^\W\d_]+")
UNIT_WORDS = {
    "m", "km", "cm", "mm", "ft", "mi", "in", "t", "kg", "lb", "kV", "W", "mW", "MHz", "GHz", "dB", "dBm", "l", "h",
    "min", "s", "deg", "mph", "MB", "kB", "GB", "px", "pt",
}  # fmt: skip
TAG = re.compile(r"<[^<>]*>|^[^<>]*>|<[^<>]*$")
ATTRIBUTE = re.compile(r'[\w:-]+="[^"]*("|$)')
BLOCK = re.compile(
    r"</?(?:p|div|h[1-6]|ul|ol|li|table|thead|tbody|tfoot|tr|td|th|title|desc|text|g|svg|path|rect)\b[^<>]*>"
)
FIGURE, NAME, PUT_IN = "\ue000", "\ue001", "\N{HORIZONTAL ELLIPSIS}"  # two code points that no source holds
NUMBER_SPEC = re.compile(r"[bcdeEfFgGnoxX%]$|%[HMSdmYyjp]")
PERCENT_NUMBER = re.compile(r"%[-+ #0]*[\d.*]*[diouxXeEfFgG]")
BRACED_NUMBER = re.compile(r"\{[^{}:]*:[^{}]*[bdeEfFgGn%]\}")
RENDERERS = {
    *(name for name, value in vars(Units).items() if not name.startswith("_") and callable(value)),
    "rounded_text", "number_text", "percent_text", "bearing_text", "grade_text", "score_text", "clock_text",
    "clock_range", "minutes_range", "hours_range", "day_and_time", "iso_minute",  "both_bearings", "grid_text",
    "degrees_minutes", "round", "strftime", "isoformat",
}  # fmt: skip
"""What turns a number, a length, a bearing or a time into text."""
Scope = ast.Module | ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Sentence:
    """A sentence with a figure, and where it stands."""

    line: int
    text: str  # without markup; PUT_IN stands for what is put in


@functools.cache
def told_in(source: str) -> tuple[Sentence, ...]:
    """Each place of a module that joins a figure with three words or more; not the messages of errors."""
    tree = ast.parse(source)
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    found = []
    for scope in (n for n in ast.walk(tree) if isinstance(n, Scope)):
        names = rendered_names(scope)
        for node in own_nodes(scope):
            parts = parts_of(node)
            if parts is None or inside_another(node, parents) or of_an_error(node, parents):
                continue
            for piece in blocks("".join(p if isinstance(p, str) else mark(p, names) for p in parts)):
                if words_in(piece) >= LEAST_WORDS and FIGURE in piece:
                    text = TAG.sub("", piece).replace(FIGURE, PUT_IN).replace(NAME, PUT_IN)
                    found.append(Sentence(node.lineno, text.strip()))
    return tuple(sorted(set(found), key=lambda s: s.line))


def mark(part: ast.AST, names: set[str]) -> str:
    """What stands for a part that is put in: a figure, or something else."""
    return FIGURE if is_figure(part, names) else NAME


def blocks(text: str) -> list[str]:
    """Markup cut where a reader sees no one text: at cells, paragraphs, shapes; other text whole."""
    return BLOCK.split(text)


def words_in(text: str) -> int:
    """Words of a text, without markup and units."""
    for pattern in (TAG, ATTRIBUTE):
        text = pattern.sub(" ", text)
    return len([w for w in WORD.findall(text) if w not in UNIT_WORDS])


def own_nodes(scope: Scope) -> Iterator[ast.AST]:
    """The nodes of a scope, not those of functions within it."""
    stack = list(ast.iter_child_nodes(scope))
    while stack:
        node = stack.pop()
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            stack += [*node.args.defaults, *node.decorator_list]
            continue
        yield node
        stack += ast.iter_child_nodes(node)


def parts_of(node: ast.AST) -> list[str | ast.AST] | None:
    """Literal pieces and what is put between them; None for what is no joined text."""
    if isinstance(node, ast.JoinedStr):
        out: list[str | ast.AST] = []
        for value in node.values:
            inner = parts_of(value.value) if isinstance(value, ast.FormattedValue) else None
            if isinstance(value, ast.Constant):
                out.append(str(value.value))
            else:
                out += [value] if inner is None else inner
        return out
    if isinstance(node, ast.IfExp):
        parts = [parts_of(branch) for branch in (node.body, node.orelse)]
        held = [p for p in parts if p is not None]
        return [piece for p in held for piece in [" ", *p]] if held else None
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        sides = [_side(side) for side in (node.left, node.right)]
        texts = any(isinstance(p, str) for side in sides for p in side)
        return [piece for side in sides for piece in side] if texts else None
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod) and is_text(node.left):
        assert isinstance(node.left, ast.Constant)
        return [str(node.left.value), node]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "format":
        return [str(node.func.value.value), node] if is_text(node.func.value) else None  # type: ignore[attr-defined]
    return None


def _side(node: ast.AST) -> list[str | ast.AST]:
    if is_text(node):
        return [str(node.value)]  # type: ignore[attr-defined]
    return parts_of(node) or [node]


def is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def is_figure(node: ast.AST, names: set[str]) -> bool:
    """Whether what is put into a text is a number with a format, a rendered figure, or a name that holds one."""
    if isinstance(node, ast.FormattedValue):
        spec = ast.unparse(node.format_spec)[2:-1] if node.format_spec is not None else ""
        counted = isinstance(node.value, ast.Call) and called(node.value) == "len"
        return bool(NUMBER_SPEC.search(spec)) or counted or renders(node.value, names)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod) and is_text(node.left):
        text = str(node.left.value)  # type: ignore[attr-defined]
        return bool(PERCENT_NUMBER.search(text)) or renders(node.right, names)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and is_text(node.func.value):
        text = str(node.func.value.value)  # type: ignore[attr-defined]
        return bool(BRACED_NUMBER.search(text)) or any(renders(a, names) for a in (*node.args, *node.keywords))
    return renders(node, names)


def renders(node: ast.AST, names: set[str]) -> bool:
    """Whether a figure is rendered anywhere in an expression."""
    for inner in ast.walk(node):
        if isinstance(inner, ast.Call) and called(inner) in RENDERERS:
            return True
        if isinstance(inner, ast.Name) and inner.id in names:
            return True
        if isinstance(inner, ast.FormattedValue) and inner.format_spec is not None and is_figure(inner, set()):
            return True
    return False


def called(node: ast.Call) -> str:
    """The name of what is called, without what it hangs on."""
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def rendered_names(scope: Scope) -> set[str]:
    """Names of a scope that hold rendered figures: assigned from one, or run over some."""
    names: set[str] = set()
    for _ in range(3):  # a name may hold what another holds
        for node in own_nodes(scope):
            pairs: list[tuple[ast.AST, ast.AST | None]] = []
            if isinstance(node, ast.Assign):
                pairs = [pair for target in node.targets for pair in _pairs(target, node.value)]
            elif isinstance(node, (ast.AnnAssign, ast.AugAssign, ast.NamedExpr)):
                pairs = [(node.target, node.value)]
            elif isinstance(node, (ast.For, ast.comprehension)):
                pairs = [(node.target, node.iter)]
            for target, value in pairs:
                if value is not None and is_rendered(value, names):
                    names |= {n.id for n in ast.walk(target) if isinstance(n, ast.Name)}
    return names


def _pairs(target: ast.AST, value: ast.AST) -> list[tuple[ast.AST, ast.AST | None]]:
    """Targets with their own values, where several are assigned at once."""
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple) and len(target.elts) == len(value.elts):
        return list(zip(target.elts, value.elts, strict=True))
    return [(target, value)]


def is_rendered(value: ast.AST, names: set[str]) -> bool:
    """Whether a value is text with figures: not a number that was rounded on the way, no choice by one."""
    if isinstance(value, ast.Call) and called(value) == "round":
        return False
    if isinstance(value, ast.IfExp):
        return is_rendered(value.body, names) or is_rendered(value.orelse, names)
    if isinstance(value, ast.Call):
        return called(value) in RENDERERS - {"round"}
    if isinstance(value, (ast.Tuple, ast.List)):
        return any(is_rendered(item, names) for item in value.elts)
    if isinstance(value, (ast.GeneratorExp, ast.ListComp)):
        return is_rendered(value.elt, names)
    if isinstance(value, ast.Name):
        return value.id in names
    parts = parts_of(value)
    return parts is not None and any(is_figure(p, names) for p in parts if not isinstance(p, str))


def inside_another(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether the text is a piece of a longer one, which is looked at as a whole."""
    above = parents.get(node)
    while isinstance(above, (ast.FormattedValue, ast.IfExp)):
        above = parents.get(above)
    if isinstance(above, ast.JoinedStr):
        return True
    return isinstance(above, ast.BinOp) and isinstance(above.op, ast.Add)


def of_an_error(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether the text is the message of an error: it names file, field and remedy to who made the mistake."""
    above: ast.AST | None = node
    while above is not None:
        if isinstance(above, (ast.Raise, ast.Assert)):
            return True
        if isinstance(above, ast.Call) and called(above).endswith("Error"):
            return True
        above = parents.get(above)
    return False


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if TELLING not in p.parents and "browser_files" not in p.parts)


def left_in(path: Path) -> list[Sentence]:
    """Sentences of a module that have no reason to stand there."""
    file = str(path.relative_to(PACKAGE))
    told = told_in(path.read_text(encoding="utf-8"))
    return [s for s in told if not any(f == file and s.text.startswith(head) for f, head in EXCEPTIONS)]


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_sentence_with_a_figure_is_made_outside_telling(path):
    left = left_in(path)
    assert not left, "\n".join(f"{path}:{s.line}: {s.text}" for s in left)


def test_no_exception_outlives_its_sentence():
    heads = {(str(p.relative_to(PACKAGE)), s.text) for p in modules() for s in told_in(p.read_text(encoding="utf-8"))}
    assert not [e for e in EXCEPTIONS if not any(f == e[0] and text.startswith(e[1]) for f, text in heads)]


PLANTED = [
    'def f(x): return f"<td>The line is <b>{x:.0f} m</b> away</td>"',
    'def f(x): return f"The line is {x:.0f} m away, look up."',
    'def f(x): return "The line is {:.0f} m away, look up.".format(x)',
    'def f(x): return "The line is %.0f m away, look up." % x',
    'def f(x): return "The line is at " + f"{x:.1f}" + " m, look up."',
    'def f(x, units): return f"The line is {units.keep(x)} away."',
    'def f(x, units):\n    far = units.distance(x)\n    return f"The line is {far} away."',
    'def f(x, units):\n    a, b = (units.distance(v) for v in x)\n    return f"The line is {a} away."',
    'def f(x, units): return f"<p>The line is {units.distance(x)} away</p>"',
    "def f(x): return f\"The line {f'is {x:.0f} m' if x else ''} away.\"",
    'def f(x): return f"In {len(x)} of all places."',
    'def f(t): return f"The link drops at {t:%H:%M} today."',
    'class A:\n    def f(self, x):\n        return [f"The line is {x:.0f} m away." for _ in x]',
    'WORDS = f"Keep away at least {3.2:g} m"',
]
FINE = [
    'def f(x): return f"<tr><th>What it is</th><td>{x:.0f}</td></tr>"',
    'def f(x): return f"{x:.0f} m"',
    'def f(x): return f"{x:.0f} m up, {x:.0f} m down"',
    'def f(x): return f"Drive to spot {x}"',
    'def f(x): return f\'<path d="M{x:.1f} 3L4 5" fill="none" stroke="#000" stroke-width="2"/>\'',
    'def f(x): raise ValueError(f"The line is {x:.0f} m away, look up.")',
    'def f(x): return InputError(f"The line is {x:.0f} m away.", remedy=f"Move it by {x:.0f} m or more.")',
    'def f(x):\n    n = round(x)\n    return f"Sector and its own number {n}"',
]


@pytest.mark.parametrize("source", PLANTED)
def test_a_planted_sentence_is_found(source):
    assert told_in(source)


@pytest.mark.parametrize("source", FINE)
def test_labels_names_drawings_and_errors_are_let_be(source):
    assert not told_in(source)
