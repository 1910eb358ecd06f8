"""All outputs of a plan into one folder, all or nothing.

Everything is written into a work folder first; only when all of it stands does that take the place of the earlier
set (`switch`). A failure, a cancelled run or a killed one leaves the earlier files as they were.
"""

from __future__ import annotations

import errno
import json
import math
import os
import re
import shutil
from collections.abc import Callable, Collection, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.errors import Cancelled, OutputError
from siteplanner.outputs.switch import HalfMoved, Switch, cannot_be_written
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.study.progress import Progress

Writer = Callable[[Plan, Path], Any]
"""Writes one output at a path; may write companions beside it, or nothing where the plan has nothing to say."""


def json_text(value: Any) -> str:
    """Plain data as JSON (RFC 8259): NaN and infinities become null, numpy values plain ones."""
    text = json.dumps(_plain(value), ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


_UNSEEN = re.compile("[\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]")  # as escapes: a terminal may obey them


def _plain(value: Any) -> Any:
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, Mapping):
        return {_word(str(key)): _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(item) for item in (sorted(value) if isinstance(value, (set, frozenset)) else value)]
    return None if value is None else _word(str(value))


def _word(text: str) -> str:
    """Text that UTF-8 can hold: halves of surrogate pairs become the replacement character."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _write_text(path: Path, text: str, encoding: str = "utf-8") -> None:
    path.write_bytes(text.encode(encoding))  # bytes, so that no system changes the line ends


def _json(plan: Plan, path: Path, stands_in: Path | None = None) -> None:
    """`stands_in`: the folder in which it will stand, where that is not the one in which it is written."""
    from siteplanner.planning.telling.record import plan_record

    _write_text(path, json_text(plan_record(plan, stands_in or path.parent)))


def _map(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.map.map import map_html

    _write_text(path, map_html(plan))


def _csv(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.ranking import ranking_csv

    _write_text(path, ranking_csv(plan), "utf-8-sig")


def _gpx(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.gpx import routes_gpx

    _write_text(path, routes_gpx(plan))


def _kml(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.kml import places_kml

    _write_text(path, places_kml(plan))


def _ruling(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.tiffs import write_ruling

    write_ruling(plan, path)


def _ruling_bits(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.tiffs import write_ruling_bits

    write_ruling_bits(plan, path)


def _coverage(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.tiffs import write_coverage

    if plan.best is not None:
        write_coverage(plan, plan.best, path)


def _judged(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.judged import judged_csv

    _write_text(path, judged_csv(plan), "utf-8-sig")


def _service(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.service_rasters import write_service_rasters

    write_service_rasters(plan, path.parent)


def _set_service(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.set_layers import write_set_service

    write_set_service(plan, path)


def _set_server(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.set_layers import write_set_server

    write_set_server(plan, path)


def _geopackage(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.gis.geopackage import write_geopackage

    write_geopackage(plan, path)


def _report(plan: Plan, path: Path) -> None:
    from siteplanner.mission.report import report_text

    if plan.as_built is not None:
        _write_text(path, report_text(plan.as_built.report))


def _sheet(kind: str) -> Writer:
    def write(plan: Plan, path: Path) -> None:
        from siteplanner.outputs.sheets.printing import write_sheet

        write_sheet(plan, path, kind)

    return write


def _print_map(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.sheets.print_map import write_print_map

    write_print_map(plan, path)


def _print_raster(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.sheets.print_map import write_print_raster

    write_print_raster(plan, path)


def _unit_sheets(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.sheets.printing import write_unit_sheets

    write_unit_sheets(plan, path.parent)


def _briefing(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.sheets.briefing import briefing_text

    _write_text(path, briefing_text(plan))


def _package(plan: Plan, path: Path) -> None:
    from siteplanner.outputs.package import write_package

    write_package(plan, path)


WRITERS: dict[str, Writer] = {
    "plan.json": _json,
    "ranking.csv": _csv,
    "judged.csv": _judged,
    "routes.gpx": _gpx,
    "places.kml": _kml,
    "ruling.tif": _ruling,
    "ruling_bits.tif": _ruling_bits,
    "coverage.tif": _coverage,
    "service_*.tif": _service,
    "set_service.tif": _set_service,
    "set_server.tif": _set_server,
    "package.gpkg": _geopackage,
    "commander.pdf": _sheet("commander"),
    "driver.pdf": _sheet("driver"),
    "crew.pdf": _sheet("crew"),
    "driver_*.pdf": _unit_sheets,  # and crew_*.pdf beside them
    "print_map.pdf": _print_map,
    "print_map.tif": _print_raster,
    "briefing.txt": _briefing,
    "map.html": _map,
    "as_built_report.toml": _report,  # of a trailer that stands
    "package.zip": _package,
}
"""File name -> what writes it, in the order of writing; `package.zip` last, for it holds what stands there then. A name
with `*` stands for all files that fit it."""


BESIDE: dict[str, tuple[str, ...]] = {"driver_*.pdf": ("crew_*.pdf",), "set_server.tif": ("set_server.tif.aux.xml",)}
"""Files that a writer makes beside its own, where they may be missing in another plan."""


def write_outputs(
    plan: Plan,
    folder: str | Path,
    *,
    only: Collection[str] | None = None,
    progress: Progress | None = None,
    more: Mapping[str, Writer] | None = None,
) -> list[Path]:
    """Write the outputs of a plan into a folder, which is made if it is missing.

    `only`: names of files to write (see WRITERS); None: all. `more`: files beside them, or in place of those of the
    same name, by what writes them. Returns the files in place, companions included.
    An output that the plan has nothing to say about (service of a spot when none passes) is not written, and a
    file of that name from an earlier plan is removed, so that it cannot be taken for this plan's.

    Raises OutputError: an unknown name in `only`, a folder that cannot be made or written.
    """
    unknown = sorted(set(only or ()) - WRITERS.keys())
    if unknown:
        raise OutputError(f"There is no output {', '.join(unknown)}.", remedy=f"Choose from {', '.join(WRITERS)}.")
    writers = {**WRITERS, **(more or {})}
    names = [name for name in writers if only is None or name in only or name in (more or {})]
    names.sort(key=lambda name: name == "package.zip")  # last: it holds what stands there
    folder, report = Path(folder), progress or (lambda stage, share: None)
    try:
        switch = Switch(folder)
    except OSError as error:
        raise cannot_be_written(folder, error) from error
    with switch:
        try:
            for number, name in enumerate(names):
                report(f"Writing {name}", number / len(names))
                write = partial(_json, stands_in=folder) if name == "plan.json" else writers[name]
                _written(write, plan, switch.path / name)
            report("Moving files into place", 1.0)
            _nothing_in_the_way(switch.path, folder)
            return [
                folder / path.name
                for path in switch.now([*names, *(more for name in names for more in BESIDE.get(name, ()))])
            ]
        except KeyboardInterrupt:
            if not switch.done:
                raise
            remedy = "Nothing is missing; run again only for another result."
            raise Cancelled("Interrupted when all files were in place.", remedy=remedy, file=folder) from None
        except OSError as error:
            if isinstance(error, OutputError):
                raise
            if isinstance(error, HalfMoved):
                raise OutputError(
                    f"Writing failed ({error.strerror or error}) half-way: the folder has files of two runs.",
                    remedy="Run again into the same folder: that first brings back the files of the run before.",
                    file=folder,
                ) from error
            raise OutputError(
                f"Writing failed ({error.strerror or error}); the folder has what it had before.",
                remedy="Free space on the disk or close the program that has the file open, then run again.",
                file=folder,
            ) from error


FULL_BYTES = 1 << 20  # a disk with less room than this is full
_OF_LIBRARIES = ("pyogrio", "rasterio", "sqlite3", "PIL", "typst")


def _written(write: Writer, plan: Plan, path: Path) -> None:
    """One output at its path. Raises OSError where its library says in its own way that the disk takes no more."""
    try:
        write(plan, path)
    except (OSError, Cancelled):
        raise
    except Exception as error:
        if type(error).__module__.split(".")[0] not in _OF_LIBRARIES:
            raise
        full = shutil.disk_usage(path.parent).free < FULL_BYTES or "full" in str(error)
        number = errno.ENOSPC if full else errno.EIO
        raise OSError(number, os.strerror(number) if full else str(error)[:200]) from error


def _nothing_in_the_way(staged: Path, folder: Path) -> None:
    """Raises OutputError for a folder that stands where a file must go: it would stop the move half-way."""
    for path in staged.iterdir():
        if (folder / path.name).is_dir():
            raise OutputError("A folder stands where a file must go.", remedy="Move it away.", file=folder / path.name)
