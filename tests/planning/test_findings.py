"""Findings are facts, and every one has words."""

from __future__ import annotations

import ast
import functools
from dataclasses import fields
from pathlib import Path

import pytest

from siteplanner.errors import Finding
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.telling.findings import WORDS, words_for
from siteplanner.planning.telling.limits import breach_words

PACKAGE = Path(__file__).parents[2] / "siteplanner"


@functools.cache
def codes() -> set[str]:
    """The codes that the product writes out; those put together from a name are left to the tests of their module."""
    out = set()
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(text)) if "Finding(" in text else ():
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                code = node.args[0]
                if isinstance(code, ast.Constant):
                    out.add(code.value)
    return out


def test_a_finding_holds_no_sentence():
    assert {f.name for f in fields(Finding)} == {"code", "severity", "file", "facts"}


@pytest.mark.parametrize("code", sorted(codes()))
def test_every_finding_has_words(code):
    assert callable(words_for(code))


def test_a_code_without_words_is_an_error_that_says_where_they_go():
    assert len(codes()) > 40
    assert "never_heard_of" not in WORDS
    with pytest.raises(KeyError, match="planning/telling"):
        words_for("never_heard_of")


def test_a_line_that_is_too_near_never_reads_as_far_enough():
    """22.55 m where 22.57 m are needed: rounded to the nearest both would be told as 23 m."""
    line = KeepAway("", 22.57, 22.55, 13.0, "line", 3.05, 1.5, 2.0, 16.02, 22.57)
    said = breach_words(Breach("power_line", "", 22.55, 22.57, "m", about=(line,)))
    assert "(13 kV) is 22 m away. On the map 22.6 m are needed: clearance 3.1 m" in said
