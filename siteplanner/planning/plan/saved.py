"""A plan as JSON text and plain arrays, and back: what is kept on disk so that a plan can be opened again.

Nothing in it can run: text, numbers, arrays without objects, shapes as WKB, and the frozen dataclasses of this
package by name. What is shared inside a plan (the raster that many parts look at) is written once. Results kept for a
rerun are left out, so a plan that was opened again lends nothing to the next run.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from affine import Affine
from pydantic import BaseModel
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from siteplanner.errors import InputError
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.saved_before import as_now
from siteplanner.planning.spots.margin_raster import sky_margin
from siteplanner.planning.study.reuse import Kept

FORMAT = 7
READ = (4, 5, 6, FORMAT)
OLD_SEVERITIES = {"caution": "warning", "warning": "check"}
"""Up to format 4, which had no others but `note`."""
MISSION = "siteplanner.mission."
ROOMS = (
    "siteplanner.planning.",
    "siteplanner.roads.",
    "siteplanner.data.",
    "siteplanner.core.",
    "siteplanner.errors",
    MISSION,
)
_PLAIN = (bool, int, float, str)


def encoded(plan: Plan) -> tuple[str, dict[str, np.ndarray]]:
    """(JSON text, arrays by name). Raises TypeError for a value of a kind that cannot be written."""
    plan = replace(
        plan,
        kept=Kept(),
        fixed=None,
        reused={},
        scene=replace(plan.scene, margin_of=None),  # a function; `decoded` puts it back
    )
    writer = _Writer()
    root = writer.of(plan)
    head = {"format": FORMAT, "version": plan.software.get("version"), "root": root, "parts": writer.parts}
    return json.dumps(head), writer.arrays


def decoded(text: str, arrays: Any) -> Plan:
    """The plan that `encoded` wrote; `arrays` maps names to arrays.

    Raises InputError: written by another version, or damaged.
    """
    try:
        head = json.loads(text)
        if head["format"] not in READ:
            raise InputError("This plan was saved by another version.", remedy="Run the mission again.")
        plan = _Reader(head["parts"], arrays, head["format"]).of(head["root"])
    except InputError:
        raise
    except Exception as error:  # whatever a damaged file holds, the answer is the same
        raise InputError(
            f"The saved plan cannot be read ({type(error).__name__}).",
            remedy="It was saved by another version or is damaged: run the mission again.",
        ) from None
    if not isinstance(plan, Plan):
        raise InputError("This is not a saved plan.", remedy="Choose another one, or run the mission again.")
    if plan.judge is None:
        return plan
    return replace(plan, scene=replace(plan.scene, margin_of=partial(sky_margin, plan.judge.study)))


class _Writer:
    """Parts that may be shared go into a table, children first, and are referred to by number."""

    def __init__(self) -> None:
        self.parts: list[Any] = []
        self.arrays: dict[str, np.ndarray] = {}
        self._number: dict[int, tuple[int, Any]] = {}

    def of(self, value: Any) -> Any:
        if value is None or type(value) in _PLAIN:
            return value
        if id(value) in self._number:
            return {"ref": self._number[id(value)][0]}
        written = self._written(value)
        if not (
            is_dataclass(value) or isinstance(value, (np.ndarray, BaseModel, BaseGeometry)) or hasattr(value, "columns")
        ):
            return written
        self.parts.append(written)
        self._number[id(value)] = (len(self.parts) - 1, value)
        return {"ref": len(self.parts) - 1}

    def _written(self, value: Any) -> Any:
        kind = type(value)
        if isinstance(value, np.ndarray):
            if value.dtype != object:
                name = f"a{len(self.arrays)}"
                self.arrays[name] = value
                return {"array": name}
            return {"objects": [self.of(v) for v in value.ravel().tolist()], "shape": list(value.shape)}
        if isinstance(value, np.generic):
            return {"number": str(value.dtype), "value": value.item()}
        if isinstance(value, BaseGeometry):
            return {"wkb": shapely.to_wkb(value, hex=True)}
        if isinstance(value, CRS):
            return {"crs": value.srs}
        if isinstance(value, Affine):
            return {"affine": list(value)[:6]}
        if isinstance(value, BaseModel):
            held = value.model_dump(mode="json")
            return {"model": _name(kind), "base": str(getattr(value, "base", "")), "value": held}
        if is_dataclass(value):
            parts = {f.name: self.of(getattr(value, f.name)) for f in fields(value)}
            return {"dataclass": _name(kind), "fields": parts}
        if isinstance(value, tuple) and hasattr(value, "_fields"):
            return {"named": _name(kind), "items": [self.of(v) for v in value]}
        if kind in (tuple, list, set, frozenset):
            return {kind.__name__: [self.of(v) for v in value]}
        if kind is dict:
            return {"dict": [[self.of(k), self.of(v)] for k, v in value.items()]}
        if isinstance(value, datetime):
            return {"datetime": value.isoformat()}
        if isinstance(value, date):
            return {"date": value.isoformat()}
        if isinstance(value, Path):
            return {"path": str(value)}
        if hasattr(value, "columns") and hasattr(value, "dtypes"):
            return self._table(value)
        raise TypeError(f"a {kind.__name__} cannot be saved")

    def _table(self, frame: Any) -> Any:
        geometry = frame.geometry.name if hasattr(frame, "geometry") else None
        columns = []
        for name in frame.columns:
            column = frame[name]
            if str(column.dtype).startswith(("datetime", "category", "timedelta")):
                column = column.astype(str)
            columns.append([str(name), self.of(np.asarray(column))])
        crs = None if geometry is None or frame.crs is None else CRS(frame.crs).srs
        return {"table": columns, "geometry": geometry, "crs": crs, "index": self.of(np.asarray(frame.index))}


class _Reader:
    def __init__(self, parts: list[Any], arrays: Any, written_as: int) -> None:
        self._arrays = arrays
        self._severities = OLD_SEVERITIES if written_as < 5 else {}
        self._gone: dict[Any, set[str]] = (
            {Plan: {"tied"}} if written_as < 6 else {}
        )  # worked out from the ties of `Firmness` since
        self._made: list[Any] = []
        for part in parts:
            self._made.append(self._read(part))

    def of(self, value: Any) -> Any:
        if not isinstance(value, dict):
            if value is None or type(value) in _PLAIN:
                return value
            raise TypeError("not a value")
        if "ref" in value:
            return self._made[value["ref"]]
        return self._read(value)

    def _read(self, v: Any) -> Any:
        kind = next(iter(v))
        held = v[kind]
        if kind == "array":
            return self._arrays[held]
        if kind == "objects":
            out = np.empty(len(held), object)
            out[:] = [self.of(item) for item in held]
            return out.reshape(v["shape"])
        if kind == "number":
            return np.dtype(held).type(v["value"])
        if kind == "wkb":
            return shapely.from_wkb(held)
        if kind == "crs":
            return CRS.from_user_input(held)
        if kind == "affine":
            return Affine(*held)
        if kind == "model":
            model = _class(held, BaseModel, (MISSION,))
            return model.model_validate({**v["value"], **({"base": Path(v["base"])} if v["base"] else {})})
        if kind == "dataclass":
            made: Any = _class(held, object, ROOMS)
            if not is_dataclass(made):
                raise TypeError(held)
            build: Any = made
            gone = self._gone.get(made, set())
            given = {name: self.of(item) for name, item in v["fields"].items() if name not in gone}
            if "severity" in given:
                given["severity"] = self._severities.get(given["severity"], given["severity"])
            return build(**as_now(build, given))
        if kind == "named":
            return _class(held, tuple, ROOMS)(*[self.of(item) for item in v["items"]])
        if kind in ("tuple", "list", "set", "frozenset"):
            return {"tuple": tuple, "list": list, "set": set, "frozenset": frozenset}[kind](self.of(i) for i in held)
        if kind == "dict":
            return {self.of(key): self.of(item) for key, item in held}
        if kind == "datetime":
            return datetime.fromisoformat(held)
        if kind == "date":
            return date.fromisoformat(held)
        if kind == "path":
            return Path(held)
        if kind == "table":
            return self._table(v)
        raise TypeError(kind)

    def _table(self, v: Any) -> Any:
        import geopandas as gpd
        import pandas as pd

        index = pd.Index(self.of(v["index"]))
        data = {name: pd.Series(self.of(column), index=index) for name, column in v["table"]}
        if v["geometry"] is None:
            return pd.DataFrame(data, index=index)
        return gpd.GeoDataFrame(data, index=index, geometry=v["geometry"], crs=v["crs"])


def _name(kind: type) -> str:
    return f"{kind.__module__}:{kind.__qualname__}"


def _class(name: str, parent: type, rooms: tuple[str, ...]) -> Any:
    """A class of this package by its name; nothing else can be named."""
    module, _, own = name.partition(":")
    if not module.startswith(rooms) or not own.isidentifier():
        raise TypeError(name)
    made = getattr(import_module(module), own)
    if not isinstance(made, type) or made.__module__ != module or not issubclass(made, parent):
        raise TypeError(name)
    return made
