"""Shapes that a user draws: what each is for, kept as GeoJSON in the work's folder, and made into layers."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry import mapping, shape

from siteplanner.app import coordinates
from siteplanner.app.roles import Role, roles_of_layers
from siteplanner.errors import InputError

PREFIX = "drawn_"
FIRST = {"polygon": "keep_out", "line": "closures", "point": "must_serve"}  # what a fresh shape is taken for
NOT_DRAWN = ("roads",)  # a whole network is brought, not drawn; single tracks have their own role
LEAST = {"point": 1, "line": 2, "polygon": 3}


@dataclass(frozen=True)
class Drawn:
    """One shape in WGS 84. `geometry` is GeoJSON to 1e-6 degrees; `role` a layer of the mission."""

    role: str
    name: str
    geometry: dict[str, Any]

    @property
    def kind(self) -> str:
        return kind_of(self.geometry)

    @property
    def key(self) -> str:
        """A name for this very geometry."""
        return hashlib.sha256(json.dumps(self.geometry).encode()).hexdigest()[:12]


def kind_of(geometry: dict[str, Any]) -> str:
    """polygon, line or point."""
    name = str(geometry.get("type", "")).lower()
    return next((k for k in ("polygon", "line", "point") if k in name), "")


def roles_of_shape(kind: str) -> dict[str, Role]:
    """What a shape of this kind can be for, likeliest first."""
    fit = {n: r for n, r in roles_of_layers().items() if kind in r.kinds and n not in NOT_DRAWN}
    first = FIRST[kind]
    return {first: fit[first], **fit}


def tidy(geometry: dict[str, Any]) -> dict[str, Any]:
    """The same shape to 1e-6 degrees (0.1 m), as plain lists. Raises InputError: not a shape, or it crosses itself."""
    try:
        made = shapely.force_2d(shape(geometry))
        rounded = json.loads(json.dumps(mapping(shapely.transform(made, lambda xy: xy.round(6)))))
    except (ValueError, TypeError, KeyError, AttributeError, shapely.errors.ShapelyError):
        raise InputError("A drawn shape cannot be understood.", remedy="Draw it again.") from None
    checked = shape(rounded)
    if checked.is_empty or not kind_of(rounded):
        raise InputError("A drawn shape is empty.", remedy="Draw it again.")
    if not checked.is_valid:
        raise InputError("A drawn area crosses its own edge.", remedy="Draw it so that its edges do not cross.")
    return dict(rounded)


def after_drawing(known: Sequence[Drawn], seen: Iterable[dict[str, Any]]) -> list[Drawn]:
    """The shapes as they stand on the map now. One that is known keeps its name and role, also when it was reshaped.

    `seen`: GeoJSON features from the map. Raises InputError for a shape that is none.
    """
    geometries = [tidy(f.get("geometry") or {}) for f in seen]
    by_key = {d.key: d for d in known}
    fresh = [Drawn(FIRST[kind_of(g)], "", g) for g in geometries]
    gone = [d for d in known if d.key not in {f.key for f in fresh}]
    out = []
    for item in fresh:
        if item.key in by_key:
            out.append(by_key[item.key])
            continue
        same = [d for d in gone if d.kind == item.kind]
        new = [f for f in fresh if f.key not in by_key and f.kind == item.kind]
        # as many went as came: they were reshaped, in their order; otherwise nobody can tell, and it is a new one
        old = same[new.index(item)] if len(same) == len(new) else None
        out.append(replace(item, role=old.role, name=old.name) if old is not None else item)
    return out


def typed(kind: str, text: str) -> Drawn:
    """A shape from places, one a line, for those who do not draw. Raises InputError naming the line."""
    corners = []
    for number, line in enumerate(filter(str.strip, text.splitlines()), 1):
        try:
            latitude, longitude = coordinates.read(line)
        except InputError as error:
            raise InputError(f"Line {number}: {error.what}", remedy=error.remedy) from None
        corners.append([longitude, latitude])
    least = LEAST[kind]
    if len(corners) < least or (kind == "point" and len(corners) > 1):
        wanted = "one" if kind == "point" else f"{least} or more"
        words = {"point": "a point", "line": "a line", "polygon": "an area"}[kind]
        raise InputError(f"Places given: {len(corners)}; {words} takes {wanted}.", remedy="One place per line.")
    geometries: dict[str, Any] = {
        "point": {"type": "Point", "coordinates": corners[0]},
        "line": {"type": "LineString", "coordinates": corners},
        "polygon": {"type": "Polygon", "coordinates": [[*corners, corners[0]]]},
    }
    return Drawn(FIRST[kind], "", tidy(geometries[kind]))


def load(folder: Path) -> list[Drawn]:
    """Shapes that lie in a folder from earlier. A file that is not ours is passed over."""
    out = []
    for role in roles_of_layers():
        try:
            held = json.loads((folder / f"{PREFIX}{role}.geojson").read_text("utf-8"))
            out += [
                Drawn(role, str((f["properties"] or {}).get("name") or ""), tidy(f["geometry"]))
                for f in held["features"]
            ]
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return out


def save(folder: Path, shapes: Sequence[Drawn]) -> dict[str, str]:
    """One GeoJSON file a role, those without shapes removed. The value is role -> file name."""
    out = {}
    for role in roles_of_layers():
        mine = [d for d in shapes if d.role == role]
        file = folder / f"{PREFIX}{role}.geojson"
        if not mine:
            file.unlink(missing_ok=True)
            continue
        features = [
            {"type": "Feature", "properties": {"name": d.name or f"Drawn {n}", "drawn": "yes"}, "geometry": d.geometry}
            for n, d in enumerate(mine, 1)
        ]
        staged = file.with_name(f".{file.name}.part")
        staged.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
        staged.replace(file)
        out[role] = file.name
    return out


def with_drawn(layers: dict[str, Any], files: dict[str, str], before: dict[str, str]) -> dict[str, Any]:
    """The mission's layers with the drawn files beside the others.

    A role that takes one file gives way to the drawn one; `before` remembers the file that it replaces, and gets it
    back when the drawn one is removed. Raises InputError: nothing would be left of a layer that is needed.
    """
    out = dict(layers)
    for role, held in roles_of_layers().items():
        own = f"{PREFIX}{role}.geojson"
        if held.several:
            others = [p for p in ([out[role]] if isinstance(out.get(role), str) else out.get(role) or []) if p != own]
            out[role] = [*others, files[role]] if role in files else others
        elif role in files:
            if out.get(role) and out[role] != own:
                before[role] = out[role]
            out[role] = files[role]
        elif out.get(role) == own:
            out[role] = before.pop(role, None)
            if out[role] is None and held.needed:
                raise InputError(
                    f"Without the drawn one there is no {held.words.lower()}.",
                    remedy="Draw another one, or bring a file.",
                    field=f"layers.{role}",
                )
    return out


def absolute(layers: dict[str, Any], base: Path) -> dict[str, Any]:
    """The layers with full paths, so that the work can go on in a folder of its own."""
    out = dict(layers)
    for role in roles_of_layers():
        value = out.get(role)
        if isinstance(value, str):
            out[role] = str((base / value).resolve())
        elif value:
            out[role] = [str((base / v).resolve()) for v in value]
    return out
