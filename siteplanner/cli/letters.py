"""Text on a terminal that does not have every sign: an old locale, a pipe that takes ASCII only."""

from __future__ import annotations

import codecs
import io
import json
from typing import Any

PLAIN = "siteplanner.plain"
_SIGNS = {"°": " deg", "±": "+/-", "′": "'", "″": '"', "–": "-", "—": "-", "×": "x", "…": "...", "≥": ">=", "≤": "<=",
          "·": "|", "→": "->"}  # fmt: skip


def _plainly(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_SIGNS.get(sign, "?") for sign in error.object[error.start : error.end]), error.end


codecs.register_error(PLAIN, _plainly)


def speak_plainly(stream: Any) -> None:
    """Let a stream write in plain letters what its encoding does not have, instead of ending the program."""
    if isinstance(stream, io.TextIOWrapper):  # a stream of somebody else's is left alone
        stream.reconfigure(errors=PLAIN)


def json_for(stream: Any, text: str) -> str:
    """JSON text as a stream can write it: with escapes (RFC 8259 section 7) where its encoding lacks a sign."""
    try:
        text.encode(getattr(stream, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        return json.dumps(json.loads(text), indent=1)
    return text
