"""What is said of layers as they were read: elevation, surface, vector layers, their columns and shapes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.core.constants import FOOT_M
from siteplanner.data.records import extent_words
from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]


def _either_unit(f: Facts, u: Units) -> tuple[str, str]:
    low, high = f["low"], f["high"]
    return (
        f"The raster does not say its unit; meters were assumed. Its heights are {low:,.0f} to {high:,.0f} m if they "
        f"are meters, {low * FOOT_M:,.0f} to {high * FOOT_M:,.0f} m if feet.",
        'Compare with a known height and set layers.elevation_unit = "m" or "ft".',
    )


def _fills(f: Facts, u: Units) -> tuple[str, str]:
    listed = ", ".join(f"{value:g} ({count:,} cells)" for value, count in f["fills"])
    return (
        f"Heights that stand for unknown, though the raster does not say so, were read as unknown: {listed}.",
        "Set the raster's nodata value.",
    )


def _far_away(f: Facts, u: Units) -> tuple[str, str]:
    extent, needed = f["extent_lonlat"], f["needed_lonlat"]
    if f["apart"]:
        return (
            f"The layer does not meet the mission's ground: the layer covers {extent_words(extent)}, the mission needs "
            f"{extent_words(needed)}.",
            "Check that it is the right file and that its CRS is stated rightly.",
        )
    where = "" if needed is None else f" It needs {extent_words(needed)}; the whole layer spans {extent_words(extent)}."
    return (
        f"None of the {f['total']:,} features meets the mission's ground.{where}",
        "Check that it is the right file.",
    )


def _repaired(f: Facts, u: Units) -> tuple[str, str]:
    size = "" if f["area_m2"] is None else f"; they now enclose {f['area_m2']:,.0f} square meters"
    return f"{f['count']} polygons cross themselves and were repaired{size}.", "Look at them on the map."


def _off_ground(f: Facts, u: Units) -> tuple[str, str]:
    more = " and others" if f["count"] > len(f["names"]) else ""
    return (
        f"{f['count']} of {f['of']} {f['role'].replace('_', ' ')} points lie where the ground is unknown: "
        f"{', '.join(f['names'])}{more}.",
        "Give elevation there, or correct their coordinates.",
    )


def _below_level(f: Facts, u: Units) -> tuple[str, str]:
    meant = f["west_meant_deg"]
    hint = "" if meant is None else f" West is negative: {meant:g} may be meant as {-meant:g}."
    return (
        f"No satellite stands above the level at the incident area: {', '.join(f['names'])}.{hint}",
        f"Check {f['field']}.",
    )


def _doubtful(f: Facts, u: Units) -> tuple[str, str]:
    return (
        f"{f['count']} values of {f['column']} are not numbers from {f['low']:g} to {f['high']:g}: "
        f"{', '.join(f['values'])}.",
        f["hint"] or "Correct the column.",
    )


def _left_out(f: Facts, u: Units) -> tuple[str, str]:
    counted = ", ".join(f"{count} {kind}" for kind, count in f["left_out"])
    return (
        f"The layer mixes shapes; left out as not {' or '.join(f['wanted'])}: {counted}.",
        "Check that nothing needed was among them.",
    )


def _people_counted(f: Facts, u: Units) -> tuple[str, str]:
    column = " The incident area's own column `people` is not used." if f["column"] else ""
    weighs = " They weigh the area, for it has no column `weight`." if f["weighs"] else ""
    remedy = "Leave layers.people out to count by the column." if f["column"] else ""
    return f"People are counted by this raster: {f['people']:,.0f} in the incident area.{column}{weighs}", remedy


LAYER_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "people_counted": _people_counted,
    "people_gaps": lambda f, u: (
        f"The raster of people says nothing of {u.share(f['share'], 1)} of the incident area: nobody is counted there.",
        "Give a raster that covers it; ask who may be there.",
    ),
    "people_negative": lambda f, u: (
        f"{f['count']:,} cells have negative numbers of people, such as {f['value']:g}: nobody is counted there.",
        "Set the raster's nodata value.",
    ),
    "elevation_coarser_than_cells": lambda f, u: (
        f"Cells of {f['cell_size_m']:g} m are cut from a raster of {f['source_cell_m']:.1f} m: they show no more than "
        "it does.",
        "Give a finer raster, or leave search.cell_size_m out.",
    ),
    "elevation_unused": lambda f, u: (
        f"The raster lies off the mission's ground: it covers {extent_words(f['extent_lonlat'])}.",
        "",
    ),
    "elevation_for_skyline": lambda f, u: (
        "The raster lies off the ground searched: it is read for the skyline only.",
        "",
    ),
    "elevation_unit_overridden": lambda f, u: (
        f"The raster says {f['unit']} ({f['unit_from']}), the mission says {f['taken']}: {f['taken']} was taken.",
        "Check elevation_unit.",
    ),
    "elevation_in_feet": lambda f, u: (
        f"Heights of {f['low']:,.0f} to {f['high']:,.0f} {f['unit']} (said by {f['unit_from']}) became "
        f"{f['low_m']:,.0f} to {f['high_m']:,.0f} m.",
        "",
    ),
    "elevation_unit_assumed": _either_unit,
    "elevation_unknown_here": lambda f, u: (
        "The raster knows no height in the mission's ground.",
        "Leave it out, or give one that does.",
    ),
    "elevation_seam": lambda f, u: (
        f"Where it overlaps coarser rasters its heights are {f['middle_m']:+.1f} m off in the middle (95 % within "
        f"{f['spread_m']:.1f} m): there is a false step at its edge.",
        "Check unit and height datum of the rasters.",
    ),
    "elevation_datums_differ": lambda f, u: (
        f"The rasters measure heights from different zeros: {', '.join(f['datums'])}.",
        "Bring them to one height datum.",
    ),
    "elevation_filled": lambda f, u: (
        f"{f['cells']:,} unknown cells in holes up to {f['widest_cells']} cells wide were bridged from both sides.",
        "",
    ),
    "elevation_gaps": lambda f, u: (
        f"The ground is unknown on {100 * f['share']:.2f} % of the needed ground ({f['cells']:,} cells). Unknown "
        "ground is never counted as clear.",
        "Give rasters that cover it.",
    ),
    "elevation_all_below_sea": lambda f, u: (
        f"All ground lies below sea level ({f['low_m']:,.0f} to {f['high_m']:,.0f} m): depths counted downward turn "
        "hills into pits, and slopes, sky and drives would be wrong.",
        "Compare with a known height; if they are depths, turn their sign.",
    ),
    "elevation_below_sea": lambda f, u: (
        f"The lowest height is {f['low_m']:,.0f} m: sea floor, or cells that mean unknown.",
        "If it is not sea floor, mark these cells as nodata.",
    ),
    "elevation_rotated": lambda f, u: (
        f"The raster is turned by {f['turn_deg']:.1f} degrees or sheared; it was set upright.",
        "",
    ),
    "elevation_crs_assumed": lambda f, u: (
        "The grid is in degrees without a datum; WGS 84 was assumed.",
        "If it is another datum, say so in the file; it may lie 100 m off.",
    ),
    "elevation_band_chosen": lambda f, u: (
        f"Band {f['band']} ({f['name']}) of {f['bands']} was used as the elevation.",
        "",
    ),
    "elevation_nodata_untagged": _fills,
    "elevation_zero_void": lambda f, u: (
        f"{100 * f['share']:.1f} % of the cells are exactly 0 beside ground above {f['ground']:,.0f}: they may stand "
        "for unknown, and are false cliffs then.",
        "If so, set the raster's nodata value to 0.",
    ),
    "crs_scale": lambda f, u: (
        f"In {f['crs']} lengths at the incident area are wrong by {100 * f['share']:.1f} %.",
        'Leave `crs` out (the local UTM zone is used), or give a projected CRS in meters, e.g. "EPSG:32616".',
    ),
    "extract_clipped": lambda f, u: (
        f"{f['nodes']} nodes of its roads are not in the extract; those roads end where the nodes are missing.",
        "Cut extracts so that ways stay whole if a road at the edge matters.",
    ),
    "turn_restrictions_left_out": lambda f, u: (
        f"{f['count']} turn restrictions do not fit the roads that they name and are not used for routes.",
        "Signs on the road override the directions.",
    ),
    "column_pushed_aside": lambda f, u: (
        "Columns of the file that the column map replaces: "
        + ", ".join(f"{a} is kept as {b}" for a, b in f["kept_as"])
        + ".",
        "",
    ),
    "column_unit": lambda f, u: (
        (
            f"The mission says the unit of column {f['column']}"
            if f["by_mission"]
            else f"The name of column {f['column']} gives its unit"
        )
        + f": {f['count']:,} values without one were read in {f['unit']}.",
        "",
    ),
    "area_without_elevation": lambda f, u: (
        f"{100 * f['share']:.1f} % of the incident area lies outside the elevation or on unknown cells of it; no "
        "service can be calculated there.",
        "Give elevation of the whole area.",
    ),
    "*_off_ground": _off_ground,
    "staging_far_away": lambda f, u: (
        f"The staging point lies {u.figure(f['distance_km'], 'km')} from the incident area.",
        "Check its coordinates.",
    ),
    "satellites_below_level": _below_level,
    "area_tiny": lambda f, u: (
        f"The incident area is only {f['area_m2']:,.0f} square meters.",
        "Check its unit and CRS.",
    ),
    "area_huge": lambda f, u: (
        f"The incident area has {f['area_km2']:,.0f} square kilometers, far more than one cell serves.",
        "Check it, or plan several.",
    ),
    "*_doubtful": _doubtful,
    "geometry_missing": lambda f, u: (
        f"{f['count']} of {f['of']} features have no geometry and were left out.",
        "Look whether they matter, and draw them.",
    ),
    "geometry_not_finite": lambda f, u: (
        f"{f['count']} features have coordinates that are not numbers in the working CRS and were left out.",
        "Correct their coordinates.",
    ),
    "heights_dropped": lambda f, u: (
        "The shapes carry heights (Z); only their position on the map is used.",
        "",
    ),
    "kinds_left_out": _left_out,
    "equal_lines": lambda f, u: (
        f"{f['count']:,} lines are the same as another, shape and attributes, and were left out.",
        "",
    ),
    "tangled_lines": lambda f, u: (
        f"{f['count']:,} lines run over themselves again and again and were left out.",
        "Look at them in a GIS: no road runs so.",
    ),
    "polygons_repaired": _repaired,
    "polygons_without_area": lambda f, u: (
        f"{f['count']} polygons enclose nothing and were left out.",
        "Draw them again.",
    ),
    "layer_chosen": lambda f, u: (
        f"Layer {f['layer']!r} was read; others there: {', '.join(f['others'])}.",
        "To read another one, write it behind the file's name: file|layer.",
    ),
    "layer_doubtful": lambda f, u: (f"While reading: {f['said']}", "Look at the layer in a GIS."),
    "layer_empty": lambda f, u: (
        "The layer has no feature.",
        f"Export the {f['role']} again, with features in it.",
    ),
    "layer_far_away": _far_away,
    "layer_without_kind": lambda f, u: (
        f"No usable {' or '.join(f['wanted'])} is in the layer.",
        f"Give a layer of {' or '.join(f['wanted'])}s.",
    ),
}
