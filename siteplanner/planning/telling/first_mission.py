"""A first mission file for a folder of layers: what each file was taken for and why, and what is left to fill in."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import tomli_w

from siteplanner.mission.fields import MissionField, fields

SAMPLE_SETTINGS = (
    "sky.satellites",
    "rig.mass_kg",
    "rig.height_m",
    "rig.max_grade_pct",
    "trailer.mast_stops_m",
    "radio.frequency_mhz",
    "radio.tx_power_dbm",
    "search.radius_m",
    "times.dispatch",
)
"""What differs from unit to unit and from call-out to call-out: told with the default that holds without it."""
FILL_IN, DOUBT = "FILL IN", "DOUBT"


@dataclass(frozen=True)
class Clue:
    """By what a file was taken for something: a `word` in its name, a column, values, its format, its shapes; or
    because another file had the likelier place already."""

    by: Literal["name", "column", "values", "format", "shapes", "place taken", "user"]
    word: str = ""


@dataclass(frozen=True)
class TakenFile:
    """A layer for the mission: its field in `layers`, its path, what it holds in words, why it was taken for that.

    `doubts`: what reading it found, in words; `columns`: its own columns; `mapped`: (OpenStreetMap key, column, clue)
    of a road layer with other columns.
    """

    role: str
    path: str
    holds: str
    clue: Clue
    doubts: tuple[str, ...] = ()
    unit_said: bool = True
    columns: tuple[str, ...] = ()
    mapped: tuple[tuple[str, str, Clue], ...] = ()


def clue_words(clue: Clue) -> str:
    """The reason for a guess."""
    word = _one_line(clue.word)
    return {
        "name": f'its name holds "{word}"',
        "column": f'it has a column "{word}"',
        "values": f"its values are like {word}",
        "format": f"it is {word}",
        "shapes": f"nothing in its name or columns says more: it is what a file of this kind ({word}) most often is",
        "place taken": f"another file is the {word} already",
        "user": "chosen by hand",
    }[clue.by]


def first_mission_text(
    name: str, taken: Sequence[TakenFile], left_out: Sequence[tuple[str, str]], needed: Mapping[str, str]
) -> str:
    """The mission file, with a reason beside each layer and what is left to fill in as comments.

    `left_out`: (file, why) of what was not used; `needed`: layer -> what it holds, of those no mission can do without.
    """
    return "\n".join(_lines(name, taken, left_out, needed)) + "\n"


def _lines(
    name: str, taken: Sequence[TakenFile], left_out: Sequence[tuple[str, str]], needed: Mapping[str, str]
) -> Iterator[str]:
    about = {f.path: f for f in fields()}
    yield "# A first mission for the files in this folder, written by siteplanner."
    yield f"# Read it through: each file says why it is used as its layer; {FILL_IN} and {DOUBT} want an answer."
    yield "# `siteplanner check` tries it, `siteplanner fields` lists all settings, `siteplanner guide` explains."
    yield ""
    yield f"name = {_toml(name)}"
    yield '# units = "us"       # miles, feet, US tons; or "metric"; without it: both'
    yield ""
    yield "[layers]"
    for role in dict.fromkeys(t.role for t in taken):
        same = [t for t in taken if t.role == role]
        for one in same:
            yield f"# {_one_line(one.path)}: {clue_words(one.clue)}; {_one_line(one.holds)}"
            yield from (f"# {DOUBT}: {_one_line(doubt)}" for doubt in one.doubts)
        paths = [t.path for t in same]
        yield f"{role} = {_toml(paths if len(paths) > 1 else paths[0])}"
    for role, words in needed.items():
        if all(t.role != role for t in taken):
            yield f"# {FILL_IN}: no file here is used as this ({_one_line(words)}). `siteplanner check` refuses the"
            yield "# mission without it."
            yield f'# {role} = "..."'
    yield from _doubts(taken, about)
    yield from _left(left_out)
    yield from _roads(taken)
    yield from _staging(taken)
    yield from _settings(about)


def _doubts(taken: Sequence[TakenFile], about: Mapping[str, MissionField]) -> Iterator[str]:
    unsaid = [t.path for t in taken if t.role in ("elevation", "surface") and not t.unit_said]
    if unsaid:
        yield f"# {DOUBT}: {_one_line(', '.join(unsaid))} does not say the unit of its heights. Meters are assumed"
        yield "# unless you write another unit here."
        yield '# elevation_unit = "ft"    # or "us-ft", "m"'
    if any(t.role == "land_cover" for t in taken):
        yield f"# {FILL_IN}: what the codes of the land cover mean; a code that is not named counts as open ground:"
        yield '# land_cover_classes = { 21 = "suburban", 41 = "trees" }'
    if any(t.role == "people" for t in taken):
        yield f"# {FILL_IN}: what the numbers of people count; `siteplanner check` refuses the raster without it:"
        yield f'# people_unit = "per_cell"    # {", ".join(about["layers.people_unit"].choices)}'
    if any(t.role == "wind_forecast" for t in taken):
        yield f"# {DOUBT}: the forecast does not say the unit of its speeds:"
        yield f'# wind_forecast_unit = "m/s"    # {", ".join(about["layers.wind_forecast_unit"].choices)}'


def _left(left_out: Sequence[tuple[str, str]]) -> Iterator[str]:
    if left_out:
        yield "# Not used:"
    for file, why in left_out:
        yield f"# - {_one_line(file)}: {_one_line(why)}"


def _roads(taken: Sequence[TakenFile]) -> Iterator[str]:
    roads = next((t for t in taken if t.role == "roads" and t.columns), None)
    if roads is None or "highway" in (c.lower() for c in roads.columns):
        return
    yield ""
    yield "# The roads have columns of their own, not OpenStreetMap's keys. A limit whose column is not named here does"
    yield f"# not count. {FILL_IN} what is missing (`siteplanner guide roads`); all columns:"
    yield f"# {_one_line(', '.join(roads.columns))}"
    yield "[layers.road_columns]"
    for key, column, clue in roads.mapped:
        yield f"{key} = {_toml(column)}    # {clue_words(clue)}"
    for key in ("highway", "name", "surface", "maxheight", "maxweight", "maxwidth", "oneway"):
        if all(key != k for k, *_ in roads.mapped):
            yield f'# {key} = "..."'
    yield f"# {DOUBT}: the unit of bare numbers, where a column's name does not end in it:"
    yield "# [layers.road_units]"
    yield '# maxweight = "st"    # short tons of 2,000 lb; "t" for metric tons'


def _staging(taken: Sequence[TakenFile]) -> Iterator[str]:
    if any(t.role == "staging" for t in taken):
        return
    yield ""
    yield f"# {FILL_IN}: where the tow starts. `siteplanner check` refuses the mission without it."
    yield "# Take the # off these lines and write the figures, in WGS 84 degrees, west and south negative."
    yield "# [staging]"
    yield '# name = "Yard"'
    yield "# latitude = "
    yield "# longitude = "


def _settings(about: Mapping[str, MissionField]) -> Iterator[str]:
    yield ""
    yield "# What differs from unit to unit. The figures here hold as long as a line stands behind its #; put in those"
    yield "# of your own manual and contract."
    table = ""
    for path in SAMPLE_SETTINGS:
        field = about[path]
        if field.table != table:
            table = field.table
            yield "#"
            yield f"# [{table}]"
        key = path.rpartition(".")[2]
        if path == "sky.satellites":
            yield "# satellites = [" + ", ".join(_slot(s) for s in field.default) + "]"
        else:
            yield f"# {key} = {json.dumps(field.default)}" if field.default is not None else f"# {key} = ..."
        yield f"#     {_one_line(field.meaning)}"


def _slot(satellite: Mapping[str, object]) -> str:
    return f"{{ name = {_toml(satellite['name'])}, longitude_deg = {satellite['longitude_deg']} }}"


def _toml(value: object) -> str:
    """A text or a list of texts as TOML writes it."""
    return tomli_w.dumps({"x": value}, multiline_strings=False).removeprefix("x = ").strip()


def _one_line(text: str) -> str:
    """Text of a file within a comment: nothing in it ends the line."""
    return "".join(c if c.isprintable() else "?" for c in text)
