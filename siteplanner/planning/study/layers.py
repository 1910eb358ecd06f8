"""Layers of features as the mission names them: which files, what shapes they may hold, one table a layer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from siteplanner.data.columns import ColumnRules
from siteplanner.data.vectors import Kind, Layer, read_layer
from siteplanner.mission import Mission, layer_kinds

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from siteplanner.data.records import InputRecord
    from siteplanner.errors import Finding

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Loaded(Generic[T]):
    """What a stage of loading made, the files that it read for it, and what it found."""

    value: T
    records: tuple[InputRecord, ...] = ()
    findings: tuple[Finding, ...] = ()


def shapes_of(role: str) -> set[Kind]:
    """The shapes that the files of a layer may hold, as the mission's own table of layers says."""
    return {kind for kind in layer_kinds(role) if kind in ("polygon", "line", "point")}


def paths_of(mission: Mission, role: str) -> tuple[str, ...]:
    """The files of a layer as the mission writes them."""
    held = getattr(mission.layers, role)
    return held if isinstance(held, tuple) else () if held is None else (held,)


def read_files(
    mission: Mission,
    role: str,
    crs: CRS,
    near: BaseGeometry | None,
    rules: ColumnRules | None = None,
    lenient: bool = False,
) -> tuple[Layer, ...]:
    """Each file of a layer that may be missing or lie elsewhere, what lies within `near` (WGS 84), in `crs`.

    Raises InputError for a file that cannot be read.
    """
    return tuple(
        read_layer(
            mission.path(path),
            role.replace("_", " "),
            target_crs=crs,
            kinds=shapes_of(role),
            near=near,
            rules=rules,
            lenient=lenient,
            required=False,
        )
        for path in paths_of(mission, role)
    )


def read_tables(
    mission: Mission, roles: Iterable[str], crs: CRS, near: BaseGeometry | None
) -> Loaded[dict[str, GeoDataFrame]]:
    """The layers of these names that the mission gives, as `read_files`, each as one table."""
    files = {role: read_files(mission, role, crs, near) for role in roles}
    tables = {role: as_table(layers) for role, layers in files.items() if layers}
    return told(tables, [layer for layers in files.values() for layer in layers])


def told(value: T, layers: Iterable[Layer], findings: Iterable[Finding] = ()) -> Loaded[T]:
    """A value with what reading these layers has to tell, then `findings`."""
    layers = tuple(layers)
    found = (f for layer in layers for f in layer.findings)
    return Loaded(value, tuple(layer.record for layer in layers), (*found, *findings))


def as_table(layers: tuple[Layer, ...]) -> GeoDataFrame:
    """The features of at least one file as one table."""
    import pandas as pd

    frames = [layer.frame for layer in layers]
    return pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
