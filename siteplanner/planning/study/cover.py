"""What stands on the ground, as the radio takes it: from the surface, from the land cover, or assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.core.clutter import CLUTTER_HEIGHT_M, WOODLAND_MHZ
from siteplanner.core.ground_cover import BUILT, HEIGHT_GAIN_MHZ, KINDS, Cover, cover_of
from siteplanner.data.classes import UNKNOWN, Classes
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Mission


@dataclass(frozen=True, eq=False)
class Surface:
    """Tree tops and roofs on the ground's cells, never below it; where the layer knows nothing, the bare ground."""

    grid: Grid
    known: np.ndarray  # bool: where the layer does know


@dataclass(frozen=True, eq=False)
class GroundCover:
    """What stands on each cell, and where a layer says so; elsewhere it is the mission's default."""

    cover: Cover
    known: np.ndarray | None  # bool; None: nowhere, for neither layer is given


def ground_cover(mission: Mission, ground: Grid, surface: Surface | None, classes: Classes | None) -> GroundCover:
    """The kinds by the mission's table of class codes, with the surface's heights where they are known.

    A code left out of the table is open ground. Where neither layer knows, `layers.default_clutter` stands.
    """
    layers = mission.layers
    kinds = np.full(ground.shape, KINDS.index(layers.default_clutter), np.uint8)
    known = None if surface is None else surface.known
    if surface is not None:
        kinds[surface.known] = 0
    if classes is not None:
        codes = classes.grid.values
        told = codes != UNKNOWN
        kinds[told] = 0
        for code, kind in layers.land_cover_classes.items():
            kinds[told & (codes == int(code))] = KINDS.index(kind)
        known = told if known is None else told | known
    stands = None
    if surface is not None:
        stands = np.where(surface.known, surface.grid.values - ground.values, np.nan).astype(np.float32)
    return GroundCover(cover_of(ground.values, kinds, stands), known)


def cover_findings(
    mission: Mission, search_ground: np.ndarray, ground: Grid, surface: Surface | None, classes: Classes | None
) -> tuple[Finding, ...]:
    """What the layers leave open of what stands on the ground, and what is assumed there."""
    layers, radio = mission.layers, mission.radio
    kind = layers.default_clutter
    assumed = {"kind": kind, "height_m": CLUTTER_HEIGHT_M[kind] if kind in (*BUILT, "trees") else 0.0}
    here = search_ground & np.isfinite(ground.values)
    out: list[Finding] = []
    if surface is None and classes is None:
        out.append(Finding("clutter_assumed", "check", facts=assumed))
    if surface is not None and (share := _missing(surface.known, here)) > 0:
        mapped = classes is not None
        out.append(Finding("surface_gaps", "check", facts={"share": share, "mapped": mapped, **assumed}))
    if classes is not None:
        codes = [c for c in classes.codes() if str(c) not in layers.land_cover_classes]
        if codes:
            unmapped = {"codes": tuple(map(int, codes[:20]))}
            out.append(Finding("land_cover_unmapped", "check", file=classes.record.file, facts=unmapped))
        told = classes.grid.values != UNKNOWN
        share = _missing(told if surface is None else told | surface.known, here)
        if share > 0:
            missing = {"share": share, **assumed}
            out.append(Finding("land_cover_gaps", "check", file=classes.record.file, facts=missing))
    low, high = max(HEIGHT_GAIN_MHZ[0], WOODLAND_MHZ[0]), min(HEIGHT_GAIN_MHZ[1], WOODLAND_MHZ[-1])
    if not low <= radio.frequency_mhz <= high:
        out.append(Finding("clutter_out_of_range", "check", facts={"frequency_mhz": radio.frequency_mhz}))
    return tuple(out)


def _missing(known: np.ndarray, here: np.ndarray) -> float:
    """Share of the ground without knowledge; 0 where there is no ground."""
    return float((~known[here]).mean()) if here.any() else 0.0
