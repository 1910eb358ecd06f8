"""A case by its number: what is spoilt, and the command that meets it."""

from __future__ import annotations

import json
import random
import shutil
from dataclasses import dataclass
from pathlib import Path

from tests.hostile import spoil
from tests.hostile.corpus import Good, goods, mission_data
from tests.hostile.papers import paper

SHARES = {"bytes": 55, "field": 18, "tags": 7, "table": 4, "text": 4, "explain": 3, "plan": 2, "papers": 7}
"""Of a hundred cases: spoilt layers, fields of the mission, road tags, wind tables, mission text, a saved plan that is
asked, fields at the ends of their ranges planned to the end, and what is read beside a mission."""


@dataclass(frozen=True)
class Case:
    """One call of the command line; `names`: of these a refusal must name one."""

    kind: str
    what: str
    arguments: tuple[str, ...]
    names: tuple[str, ...]
    ending: tuple[str, ...] = ("--json", "--quiet")


def kind_of(seed: int, number: int) -> str:
    """What a case spoils."""
    return random.Random(f"{seed}:{number}").choices(list(SHARES), list(SHARES.values()))[0]


def case(corpus: Path, folder: Path, seed: int, number: int, address: str) -> Case:
    """Write the files of one case into a folder. The same seed and number make the same case."""
    rng = random.Random(f"{seed}:{number}")
    kind = rng.choices(list(SHARES), list(SHARES.values()))[0]
    if kind == "bytes":
        return _bytes(corpus, folder, rng, address)
    if kind == "field":
        return _field(corpus, folder, rng)
    if kind == "tags":
        return _tags(corpus, folder, rng)
    if kind == "table":
        return _table(corpus, folder, rng)
    if kind == "text":
        return _text(corpus, folder, rng, address)
    if kind == "explain":
        return _explain(corpus, folder, rng)
    if kind == "papers":
        return Case(kind, *paper(corpus, folder, rng, address), ending=())
    return _plan(corpus, folder, rng)


def _written(folder: Path, data: dict) -> Path:
    path = folder / "mission.json"
    path.write_text(spoil.as_text(data), "utf-8")
    return path


def _with(corpus: Path, folder: Path, good: Good, file: Path) -> Path:
    data = mission_data(corpus, f"{good.mission}_small")
    if good.field == "extra_fonts":
        data["sheets"] = {"extra_fonts": [str(file)]}
    else:
        data["layers"][good.field] = [str(file)] if good.several else str(file)
    if good.field == "elevation":
        data["layers"]["elevation_unit"] = "m"
    return _written(folder, data)


def _bytes(corpus: Path, folder: Path, rng: random.Random, address: str) -> Case:
    good = rng.choice(goods(corpus))
    files = (good.path, *good.parts)
    for file in files:
        shutil.copyfile(file, folder / file.name)
    spoilt = rng.choice(files)
    (folder / spoilt.name).write_bytes(spoil.spoilt(spoilt.read_bytes(), rng, address))
    mission = _with(corpus, folder, good, folder / good.path.name)
    names = tuple(f.name for f in files)
    return Case("bytes", f"{good.mission} {good.field} {spoilt.name}", ("check", str(mission)), names)


def _field(corpus: Path, folder: Path, rng: random.Random) -> Case:
    place, info = rng.choice(list(spoil.fields()))
    value = rng.choice(spoil.values(info, rng))
    mission = _written(folder, spoil.with_field(mission_data(corpus, "valley"), place, value))
    return Case("field", f"{'.'.join(place)} = {value!r}"[:120], ("check", str(mission)), _any(corpus))


def _tags(corpus: Path, folder: Path, rng: random.Random) -> Case:
    roads = json.loads((corpus / "valley" / "roads_in.geojson").read_text("utf-8"))
    (folder / "roads.geojson").write_text(spoil.as_text(spoil.with_tags(roads, rng)), "utf-8")
    good = Good("valley", "roads", folder / "roads.geojson")
    return Case("tags", "roads", ("check", str(_with(corpus, folder, good, good.path))), ("roads.geojson",))


def _table(corpus: Path, folder: Path, rng: random.Random) -> Case:
    field, name = rng.choice((("wind_forecast", "wind.csv"), ("rise_forecast", "rise.csv")))
    text = spoil.table_text((corpus / "valley" / name).read_text("utf-8"), rng)
    (folder / name).write_bytes(text.encode("utf-8", "replace"))
    mission = _with(corpus, folder, Good("valley", field, folder / name), folder / name)
    return Case("table", name, ("check", str(mission)), (name,))


def _text(corpus: Path, folder: Path, rng: random.Random, address: str) -> Case:
    """The mission file itself, its bytes spoilt."""
    whole = rng.choice((corpus / "valley" / "mission.toml", corpus / "valley.json"))
    path = folder / f"mission{whole.suffix}"
    path.write_bytes(spoil.spoilt(whole.read_bytes(), rng, address))
    if whole.suffix == ".toml":  # its paths start from its own folder
        for file in (corpus / "valley").glob("*.gpkg"):
            (folder / file.name).symlink_to(file)
        (folder / "dem.tif").symlink_to(corpus / "valley" / "dem.tif")
    return Case("text", path.name, ("check", str(path)), (path.name, *_any(corpus)))


def _explain(corpus: Path, folder: Path, rng: random.Random) -> Case:
    made = corpus / "out" / "plan.json"
    path = folder / "plan.json"
    if rng.random() < 0.5:
        path.write_bytes(spoil.spoilt(made.read_bytes(), rng, ""))
    else:
        path.write_text(spoil.as_text(spoil.in_json(json.loads(made.read_text("utf-8")), rng)), "utf-8")
    ask = (repr(rng.choice((44.7, 44.70, 91.0, float("nan")))), repr(rng.choice((-110.98, 1e9, -111.0))))
    # without the folder of its layers a plan that was moved is refused before most of it is looked at
    where = ("--layers", str(corpus / "valley")) if rng.random() < 0.9 else ()
    return Case("explain", "plan.json", ("explain", str(path), *ask, *where), ("plan.json", *_any(corpus)))


def _plan(corpus: Path, folder: Path, rng: random.Random) -> Case:
    """A field at an end of its range, planned and written."""
    ranged = [
        (p, i) for p, i in spoil.fields() if any(hasattr(m, e) for m in i.metadata for e in ("ge", "gt", "le", "lt"))
    ]
    place, info = rng.choice(ranged)
    ends = [getattr(m, e) for m in info.metadata for e in ("ge", "gt", "le", "lt") if getattr(m, e, None) is not None]
    value = rng.choice(ends)
    mission = _written(folder, spoil.with_field(mission_data(corpus, "valley"), place, value))
    what = f"{'.'.join(place)} = {value!r}"
    return Case("plan", what, ("plan", str(mission), "--out", str(folder / "out")), _any(corpus))


def _any(corpus: Path) -> tuple[str, ...]:
    """A field may be refused at the mission, or at a file that no longer fits it; --options are named as they are."""
    return ("mission.json", "mission.toml", "plan.json", "--", *(g.path.name for g in goods(corpus)))
