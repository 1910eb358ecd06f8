"""What the files of a mission hold, in words and as a record."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from siteplanner.data.records import Held, InputRecord


def holds_words(held: Held) -> str:
    """`2 of 3 features kept (layer roads)`, `512 x 480 float32 cells of 10.00 x 10.00 m, GTiff`."""
    return {"features": _features, "roads": _roads, "cells": _cells, "hours": _hours}[held.kind](held)


def input_record(record: InputRecord) -> dict[str, Any]:
    """A file as `plan.json` has it: values, and one line for people under `detail`."""
    return asdict(record) | {"detail": holds_words(record.held)}


def _features(held: Held) -> str:
    if held.shape:
        return f"{held.kept:,} {held.shape}{'s' if held.kept != 1 else ''}"
    return f"{held.kept:,} of {held.total:,} features kept (layer {', '.join(held.names)})"


def _roads(held: Held) -> str:
    return f"{held.kept:,} lines of {held.total:,} road ways kept, {held.restrictions:,} turn restrictions"


def _cells(held: Held) -> str:
    number = f"{held.number} " if held.number else ""
    size = f" of {held.cell_m[0]:.2f} x {held.cell_m[1]:.2f} m" if held.cell_m else ""
    datum = f", heights above {held.datum}" if held.datum else ""
    return f"{held.columns:,} x {held.rows:,} {number}cells{size}, {held.driver}{datum}"


def _hours(held: Held) -> str:
    return f"{held.names[0]} to {held.names[1]}"
