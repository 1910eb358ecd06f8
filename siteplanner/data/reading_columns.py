"""Which column of a table of readings holds what, and why a table is refused that holds something else."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from siteplanner.errors import InputError

NAMES: dict[str, tuple[str, ...]] = {
    "longitude": ("longitude", "lon", "lng", "long", "longitude_deg", "lon_deg"),
    "latitude": ("latitude", "lat", "latitude_deg", "lat_deg"),
    "x": ("x", "easting", "x_m", "easting_m"),
    "y": ("y", "northing", "y_m", "northing_m"),
    "grid": ("grid", "usng", "mgrs", "grid_reference"),
    "time": ("time", "timestamp", "datetime", "date_time", "time_utc", "utc"),
    "rsrp_dbm": ("rsrp_dbm", "rsrp", "lte_rsrp", "lte_rsrp_dbm"),
    "served": ("served", "service", "has_service", "in_service"),
    "bars": ("bars", "signal_bars"),
    "cell": ("cell", "pci", "cell_id", "physical_cell_id", "lte_pci"),
    "device": ("device", "phone", "handset", "device_id", "imei"),
    "taken": ("taken", "handset_place", "where_taken"),
    "name": ("name", "place", "point", "place_name"),
    "frequency_mhz": ("frequency_mhz", "freq_mhz", "dl_frequency_mhz", "downlink_mhz"),
}
"""What is read -> the names of its column, in lower case, runs of anything but letters and figures as `_`."""

_LEVEL = "Export the RSRP of the LTE cell in dBm as a column rsrp_dbm, or a column served with yes and no."
OTHER_LEVELS: dict[str, tuple[str, str]] = {
    "rssi": ("an RSSI, the power of the whole channel, not the RSRP of one resource element", _LEVEL),
    "rssi_dbm": ("an RSSI, the power of the whole channel, not the RSRP of one resource element", _LEVEL),
    "rscp": ("an RSCP, a level of 3G", _LEVEL),
    "rscp_dbm": ("an RSCP, a level of 3G", _LEVEL),
    "ss_rsrp": ("a level of a 5G cell", _LEVEL),
    "ss_rsrp_dbm": ("a level of a 5G cell", _LEVEL),
    "nr_rsrp": ("a level of a 5G cell", _LEVEL),
    "rxlev": ("a level of 2G", _LEVEL),
    "asu": ("a level in ASU, not in dBm", "RSRP in dBm is ASU - 140 on LTE: write that into a column rsrp_dbm."),
    "rsrp_asu": ("a level in ASU, not in dBm", "RSRP in dBm is ASU - 140 on LTE: write that into a column rsrp_dbm."),
    "rsrp_w": ("a power in watts, not in dBm", _LEVEL),
    "rsrp_mw": ("a power in milliwatts, not in dBm", _LEVEL),
    "rsrp_dbuv": ("a voltage, not a power in dBm", _LEVEL),
    "rsrq": ("a quality, not a level", _LEVEL),
    "rsrq_db": ("a quality, not a level", _LEVEL),
    "sinr": ("a ratio to disturbance, not a level", _LEVEL),
    "sinr_db": ("a ratio to disturbance, not a level", _LEVEL),
    "signal": ("a signal that may be RSRP or RSSI", _LEVEL),
    "signal_dbm": ("a signal that may be RSRP or RSSI", _LEVEL),
    "signal_strength": ("a signal that may be RSRP or RSSI", _LEVEL),
    "level": ("a level that may be RSRP or RSSI", _LEVEL),
    "level_dbm": ("a level that may be RSRP or RSSI", _LEVEL),
    "dbm": ("a level that may be RSRP or RSSI", _LEVEL),
}
"""Column that holds a level of another kind -> what it is, and what to do."""


def plain_name(text: str) -> str:
    """`RSRP (dBm)` as `rsrp_dbm`."""
    return re.sub(r"[^a-z0-9]+", "_", text.strip().lower()).strip("_")


def columns_of(head: Sequence[str], path: Path, *, placed: bool) -> dict[str, int]:
    """What is read -> its place in the head of a table. `placed`: the table must say where each reading was taken.

    Raises InputError for a column that stands twice, and for a table without place or without a level that is read.
    """
    plain = [plain_name(name) for name in head]
    found: dict[str, int] = {}
    for wanted, names in NAMES.items():
        at = [k for k, name in enumerate(plain) if name in names]
        if len(at) > 1:
            twice = " and ".join(repr(head[k].strip()[:40]) for k in at)
            raise InputError(
                f"The columns {twice} both say the same.", remedy="Leave one of them in.", file=path, field=wanted
            )
        if at:
            found[wanted] = at[0]
    if not {"rsrp_dbm", "served", "bars"} & found.keys():
        _no_level(plain, head, path)
    if placed:
        _place(found, path)
    return found


def _no_level(plain: Sequence[str], head: Sequence[str], path: Path) -> None:
    for name, (what, remedy) in OTHER_LEVELS.items():
        if name in plain:
            said = head[plain.index(name)].strip()[:40]
            raise InputError(f"The column {said!r} is {what}.", remedy=remedy, file=path, field=said)
    has = ", ".join(repr(name.strip()[:30]) for name in head[:12]) or "nothing"
    raise InputError(
        f"The table has no column with a level or with service; it has {has}.",
        remedy="Name a column rsrp_dbm (dBm), served (yes or no) or bars (0 to 5).",
        file=path,
        field="rsrp_dbm",
    )


def _place(found: dict[str, int], path: Path) -> None:
    if "grid" in found:
        return
    for one, other in (("longitude", "latitude"), ("x", "y")):
        if (one in found) != (other in found):
            missing, has = (other, one) if one in found else (one, other)
            raise InputError(
                f"The table has a column {has} but none for {missing}.",
                remedy="Name the columns longitude and latitude, or x and y with --crs, or grid.",
                file=path,
                field=missing,
            )
    if not {"longitude", "x"} & found.keys():
        raise InputError(
            "The table does not say where the readings were taken.",
            remedy="Name the columns longitude and latitude (WGS 84 degrees), x and y with --crs, or grid (USNG); or "
            "give the track of the walk with --track TRACK.gpx.",
            file=path,
            field="longitude, latitude",
        )
