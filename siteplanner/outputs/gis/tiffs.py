"""Rasters for GIS: the ruling and a spot's predicted service as cloud-optimised GeoTIFF.

The ruling comes as two files, because a class raster with colours can hold one class a cell: `write_ruling`
gives the first limit that hits a cell, with names and colours; `write_ruling_bits` gives every limit, one bit
each.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.outputs.pictures.layers import main_limit, probability_grid
from siteplanner.outputs.pictures.relief import rasterio_crs
from siteplanner.outputs.words.palettes import PASSES_COLOUR, SERVICE_CLASSES, rgb, ruling_colours
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.ruling import BITS, OUTSIDE
from siteplanner.planning.plan.model import Plan

NO_CLASS = 255


def _write_cog(
    path: Path,
    grid: Grid,
    nodata: float,
    description: str,
    tags: dict[str, str],
    colours: dict[int, tuple[int, int, int, int]] | None = None,
    nearest: bool = True,
) -> Path:
    """One band as COG, made in memory first: GDAL writes COG only as a copy of a finished raster."""
    import rasterio
    from rasterio.io import MemoryFile
    from rasterio.shutil import copy

    rows, cols = grid.shape
    profile: dict[str, Any] = {
        "driver": "GTiff",
        "height": rows,
        "width": cols,
        "count": 1,
        "dtype": grid.values.dtype.name,
        "crs": rasterio_crs(grid.crs),
        "transform": grid.transform,
        "nodata": nodata,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    if colours:
        profile["photometric"] = "palette"
    floats = np.issubdtype(grid.values.dtype, np.floating)
    with MemoryFile() as held:
        with held.open(**profile) as target:
            target.write(np.ascontiguousarray(grid.values), 1)
            target.set_band_description(1, description)
            target.update_tags(**tags)
            if colours:
                target.write_colormap(1, colours)
        with held.open() as source, rasterio.Env(GDAL_PAM_ENABLED="NO"):
            copy(
                source,
                path,
                driver="COG",
                compress="DEFLATE",
                predictor="YES" if floats else "STANDARD",
                resampling="NEAREST" if nearest else "AVERAGE",
                overviews="AUTO",
            )
    return path


def write_ruling(plan: Plan, path: Path) -> list[Path]:
    """The first limit that rules each cell out, as classes with names and colours (uint8).

    0 passes every limit; n is the n-th ruling of the plan; 255 is outside the search ground. The names of the
    classes are in the tags `CLASS_n` and, as GDAL's category names, in the companion file `.aux.xml`.
    Returns both paths.
    """
    classes, rulings = main_limit(plan)
    values = np.where(classes.values == 0, NO_CLASS, classes.values - 1).astype(np.uint8)
    names = ["Passes every limit", *(clean(r.label) for r in rulings), "Ruled out by another limit"]
    by_code = ruling_colours([r.code for r in rulings])
    colours = [PASSES_COLOUR, *(by_code[r.code] for r in rulings), "#777777"]
    tags = {"MISSION": clean(plan.mission.name)}
    said = "First limit that rules the cell out"
    return write_classes(classes.with_values(values), Path(path), names, colours, said, tags)


def write_classes(
    grid: Grid, path: Path, names: list[str], colours: list[str], said: str, tags: dict[str, str]
) -> list[Path]:
    """Classes 0, 1, ... with names and colours (uint8, 255 without one), and the companion file `.aux.xml`."""
    table = {n: (*rgb(colour), 255) for n, colour in enumerate(colours)} | {NO_CLASS: (0, 0, 0, 0)}
    named = {f"CLASS_{n}": name for n, name in enumerate(names)} | tags
    _write_cog(path, grid, NO_CLASS, said, named, table)
    aux = path.with_name(path.name + ".aux.xml")
    aux.write_text(_category_names(names), encoding="utf-8")
    return [path, aux]


def _category_names(names: list[str]) -> str:
    """GDAL's own companion file (PAM) with the category names of band 1."""
    rows = "".join(f"      <Category>{escape(name)}</Category>\n" for name in names)
    return (
        '<PAMDataset>\n  <PAMRasterBand band="1">\n    <CategoryNames>\n'
        f"{rows}    </CategoryNames>\n  </PAMRasterBand>\n</PAMDataset>\n"
    )


def write_ruling_bits(plan: Plan, path: Path) -> Path:
    """Every limit that hits each cell: the sum of the bits named in the tags `BIT_n` (uint16).

    0 passes every limit; 32768 (nodata) is outside the search ground.
    """
    values = plan.scene.ruling.values.astype(np.uint16)
    values = np.where(values & OUTSIDE, OUTSIDE, values).astype(np.uint16)
    labels = {r.code: clean(r.label) for r in plan.rulings}
    tags = {f"BIT_{bit.bit_length() - 1}": f"{code}: {labels.get(code, 'not asked for')}" for code, bit in BITS.items()}
    tags["MISSION"] = clean(plan.mission.name)
    return _write_cog(
        Path(path), plan.scene.ruling.with_values(values), OUTSIDE, "Limits that rule the cell out, bits", tags
    )


def write_service(plan: Plan, spot: RankedSpot, path: Path) -> Path | None:
    """The same as whole per cent, a byte a cell (255 outside the area), with the spot's key and rank in the tags.

    A tenth of the size of `write_coverage`. None, and no file, where service was not worked out.
    """
    grid = probability_grid(spot, plan)
    if grid is None:
        return None
    tags = {
        "MISSION": clean(plan.mission.name),
        "SPOT": clean(spot.spot.name),
        "KEY": f"{spot.spot.x:.2f} {spot.spot.y:.2f}",
        "RANK": str(spot.rank),
    }
    return write_percent(grid, Path(path), tags)


def write_percent(probability: Grid, path: Path, tags: dict[str, str]) -> Path:
    """Probabilities as whole per cent (uint8, 255 outside), in the map's colours; below the lowest class white."""
    values = np.rint(100 * np.nan_to_num(probability.values))
    percent = np.where(np.isnan(probability.values), NO_CLASS, values).astype(np.uint8)
    steps = [round(100 * start) for start, _, _ in SERVICE_CLASSES]
    shown = {n: SERVICE_CLASSES[k - 1][1] for n in range(101) if (k := int(np.searchsorted(steps, n, "right")))}
    table = {n: (*rgb(shown.get(n, "#FFFFFF")), 255) for n in range(101)}
    said = "Predicted probability of service, %"
    return _write_cog(
        path, probability.with_values(percent), NO_CLASS, said, {**tags, "UNIT": "%"}, table | {NO_CLASS: (0, 0, 0, 0)}
    )


def write_coverage(plan: Plan, spot: RankedSpot, path: Path) -> Path | None:
    """Predicted probability of service 0..1 of one spot over the incident area (float32, NaN outside).

    None, and no file, where service was not worked out.
    """
    grid = probability_grid(spot, plan)
    if grid is None:
        return None
    coverage = spot.evaluation.coverage
    assert coverage is not None  # probability_grid has looked
    tags = {
        "MISSION": clean(plan.mission.name),
        "SPOT": clean(spot.spot.name),
        "MAST_HEIGHT_M": f"{coverage.mast_height_m:g}",
        "SECTOR_BEARINGS_TRUE_DEG": ", ".join(f"{b:.1f}" for b in coverage.sector_bearings_deg),
    }
    return _write_cog(Path(path), grid, float("nan"), "Predicted probability of service", tags, nearest=False)
