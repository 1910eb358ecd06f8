"""Frozen facts as plain data and back: what an atlas keeps of roads and places, readable by nobody's code but ours.

An atlas travels, and what travels may be forged: only frozen dataclasses of this program are made from a file, by
their fields, and nothing in a file is run. Large arrays stand beside the tree, by number.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

import numpy as np
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from siteplanner.errors import InputError

OURS = "siteplanner."
INLINE = 64  # values of an array that stand in the tree itself
TAG = "!"
Arrays = dict[str, np.ndarray]


def packed(value: Any, arrays: Arrays) -> Any:
    """A value as JSON holds it; large arrays go into `arrays`. Raises TypeError for a kind that is not known."""
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, np.generic):
        return {TAG: "number", "type": str(value.dtype), "value": packed(value.item(), arrays)}
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else {TAG: "float", "value": repr(value)}
    if isinstance(value, (tuple, list, set, frozenset)):
        items = sorted(value, key=repr) if isinstance(value, (set, frozenset)) else value
        listed = [packed(v, arrays) for v in items]
        names = getattr(value, "_fields", None)
        if names is not None:
            return {TAG: "named", "class": _name_of(type(value)), "items": listed}
        return listed if isinstance(value, tuple) else {TAG: type(value).__name__, "items": listed}
    if isinstance(value, Mapping):
        return {TAG: "mapping", "items": [[packed(k, arrays), packed(v, arrays)] for k, v in value.items()]}
    if isinstance(value, np.ndarray):
        return _packed_array(value, arrays)
    if isinstance(value, BaseGeometry):
        return {TAG: "shape", "wkb": shapely.to_wkb(value, hex=True)}
    if isinstance(value, Affine):
        return {TAG: "affine", "of": list(value[:6])}
    if isinstance(value, CRS):
        return {TAG: "crs", "wkt": value.to_wkt()}
    if isinstance(value, datetime):
        return {TAG: "time", "iso": value.isoformat()}
    if is_dataclass(value) and not isinstance(value, type):
        held = {f.name: packed(getattr(value, f.name), arrays) for f in fields(value) if f.init}
        return {TAG: "fact", "class": _name_of(type(value)), "fields": held}
    raise TypeError(f"an atlas keeps no {type(value).__name__}")


def _packed_array(value: np.ndarray, arrays: Arrays) -> Any:
    if value.dtype == object:
        items = value.ravel().tolist()
        if items and all(isinstance(item, BaseGeometry) for item in items):
            raw = [shapely.to_wkb(item) for item in items]
            lengths = np.array([len(r) for r in raw], np.int64)
            return {
                TAG: "shapes",
                "bytes": _beside(np.frombuffer(b"".join(raw), np.uint8), arrays),
                "lengths": _beside(lengths, arrays),
            }
        listed = [packed(item, arrays) for item in items]
        return {TAG: "objects", "items": listed, "of": list(value.shape)}
    if value.dtype.kind not in "biufU":
        raise TypeError(f"an atlas keeps no array of {value.dtype}")
    if value.size <= INLINE:
        held = [packed(v, arrays) for v in value.ravel().tolist()]
        return {TAG: "array", "type": value.dtype.str, "of": list(value.shape), "items": held}
    return {TAG: "beside", "name": _beside(value, arrays)}


def _beside(value: np.ndarray, arrays: Arrays) -> str:
    name = f"a{len(arrays)}"
    arrays[name] = value
    return name


def _name_of(kind: type) -> str:
    return f"{kind.__module__.removeprefix(OURS)}:{kind.__qualname__}"


def unpacked(tree: Any, arrays: Mapping[str, np.ndarray]) -> Any:
    """The value again. Raises InputError for what this version did not write."""
    if isinstance(tree, list):
        return tuple(unpacked(item, arrays) for item in tree)
    if not isinstance(tree, dict):
        return tree
    try:
        return _made(tree, arrays)
    except (KeyError, TypeError, ValueError, AttributeError, ImportError, shapely.errors.ShapelyError) as error:
        raise InputError(
            f"The atlas holds something that this version does not read ({type(error).__name__}).",
            remedy="Build the atlas again with this version.",
        ) from error


def _made(tree: dict[str, Any], arrays: Mapping[str, np.ndarray]) -> Any:
    kind = tree[TAG]
    if kind == "fact":
        made = _class_of(tree["class"])
        if not (isinstance(made, type) and is_dataclass(made) and vars(made)["__dataclass_params__"].frozen):
            raise TypeError("not a frozen fact")
        return made(**{name: unpacked(value, arrays) for name, value in tree["fields"].items()})
    if kind == "named":
        made = _class_of(tree["class"])
        if not (issubclass(made, tuple) and hasattr(made, "_fields")):
            raise TypeError("not a named tuple")
        return made(*(unpacked(item, arrays) for item in tree["items"]))
    if kind == "mapping":
        return {unpacked(k, arrays): unpacked(v, arrays) for k, v in tree["items"]}
    if kind in ("list", "set", "frozenset"):
        return {"list": list, "set": set, "frozenset": frozenset}[kind](unpacked(i, arrays) for i in tree["items"])
    if kind == "float":
        return float(tree["value"])
    if kind == "number":
        return np.dtype(tree["type"]).type(unpacked(tree["value"], arrays))
    if kind == "shape":
        return shapely.from_wkb(tree["wkb"])
    if kind == "affine":
        return Affine(*tree["of"])
    if kind == "crs":
        return CRS.from_wkt(tree["wkt"])
    if kind == "time":
        return datetime.fromisoformat(tree["iso"])
    if kind == "beside":
        return arrays[tree["name"]]
    if kind == "array":
        held = [unpacked(v, arrays) for v in tree["items"]]
        return np.array(held, np.dtype(tree["type"])).reshape(tree["of"])
    if kind == "shapes":
        raw, ends = arrays[tree["bytes"]].tobytes(), np.cumsum(arrays[tree["lengths"]]).tolist()
        return shapely.from_wkb(np.array([raw[a:b] for a, b in zip([0, *ends], ends, strict=False)], object))
    if kind == "objects":
        out = np.empty(len(tree["items"]), object)
        out[:] = [unpacked(item, arrays) for item in tree["items"]]
        return out.reshape(tree["of"])
    raise KeyError(kind)


def _class_of(name: str) -> Any:
    """A class of this program by module and name; the module is one that the program is made of."""
    module, _, own = name.partition(":")
    if not all(part.isidentifier() for part in (*module.split("."), own)):
        raise ValueError(name)
    return getattr(importlib.import_module(f"{OURS}{module}"), own)
