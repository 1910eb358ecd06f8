"""What readings on the ground say: lines for people, rows of the sheet and the table, the record."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Any

from siteplanner.core.ground_cover import KINDS
from siteplanner.core.measured import ClassRow
from siteplanner.planning.choose.shared_errors import OF_THE_SIGNAL
from siteplanner.planning.plan.measured import DISTANCE_EDGES_M, Measured, ReadingRow, Share
from siteplanner.planning.plan.redrawn import RankNow, Redrawn
from siteplanner.planning.plan.walks import PointNow, Walk
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

LEAST_GAIN = 0.01  # of the share, below which nobody climbs to a mast again; common practice, no source
NINE_IN_TEN_SD = 1.6449  # deviations on either side that hold 9 in 10, normal distribution
NO_READINGS = "There are no readings in the file. Nothing changes."
COVER = {
    "none": "open, nothing known to stand there", "water": "water", "open": "open ground", "suburban": "low houses",
    "urban": "town", "trees": "trees", "dense_urban": "dense town",
}  # fmt: skip
TAKEN = {
    "outdoors": "outdoors", "vehicle": "in a vehicle", "building_traditional": "in a building",
    "building_efficient": "in a building with insulated walls",
}  # fmt: skip
Named = Callable[[str], str]


def _plain(name: str) -> str:
    return name


def headline(found: Measured, units: Units = METRIC) -> str:
    """Whether the signal is as predicted, in one sentence for a commander."""
    if not found.rows:
        return NO_READINGS
    off = found.found
    told = signal_words(off.mean_db, off.low_db, off.high_db)
    return f"The signal {told} ({_readings(len(found.rows))})."


def signal_words(mean_db: float, low_db: float, high_db: float) -> str:
    """What readings say of the signal, by the mean of the shared error and its range of 9 in 10; no figure."""
    way = "weaker" if mean_db < 0 else "stronger"
    if low_db > 0 or high_db < 0:
        return f"is {way} than predicted"
    if abs(mean_db) >= (high_db - low_db) / 2 / NINE_IN_TEN_SD:
        return f"seems {way} than predicted; the readings are too few to be sure"
    return "is as predicted, as far as the readings can tell"


def share_words(found: Measured, units: Units = METRIC, named: Named = _plain) -> str:
    """What is served from where the trailer stands, now and before."""
    place = named(found.standing.spot.name)
    if not found.rows:
        return f"From spot {place}, {_share(found.before, units)} of the weighted area has service, as planned."
    return (
        f"From spot {place}, {_share(found.now, units)} of the weighted area has service now. The plan said "
        f"{units.share(found.before.share)}."
    )


def warning_lines(found: Measured, units: Units = METRIC) -> list[str]:
    """What may be wrong with the unit or with the readings."""
    out = []
    if found.surprising:
        way = "weaker" if found.found.mean_db < 0 else "stronger"
        out.append(
            f"The signal is far {way} than the prediction allows. Before moving, check the radio's power, the cables, "
            "the sector bearings and the mast, and that the phone was on this cell."
        )
    wild = len(found.wild)
    if wild:
        out.append(f"{_readings(wild)} of {len(found.rows)} fit no level of this cell and are left out of account.")
    if found.rows and wild > len(found.rows) / 4:
        out.append("So many do not fit that the readings may be of another cell. Check the cell and read again.")
    if found.no_prediction:
        out.append(f"{_readings(found.no_prediction)} lie where nothing is predicted and do not count.")
    if found.left_out:
        out.append(f"{_readings(found.left_out)} of other cells are left out.")
    return out


def walk_lines(found: Measured, units: Units = METRIC, named: Named = _plain) -> list[str]:
    """Where to walk with a phone next, the most telling first."""
    return [_walk(walk, units, named) for walk in found.walks]


def _walk(walk: Walk, units: Units, named: Named) -> str:
    chance = "not known" if math.isnan(walk.chance) else units.share(walk.chance)
    if walk.point:
        return f"{named(walk.point)}: chance of service {chance}, nobody read there."
    return (
        f"Around {walk.latitude:.5f}, {walk.longitude:.5f}: chance of service {chance}, {units.share(walk.share)} of "
        "the weighted area."
    )


def rank_line(again: Redrawn, found: Measured, named: Named = _plain) -> str:
    """Where the trailer stands in the ranking with the readings in it."""
    place = named(found.standing.spot.name)
    first = named(again.ranks[0].name) if again.ranks else NOT_KNOWN
    if first == place and again.stands_rank not in (None, 1):  # it stands beside the spot that it was sent to
        count = len(again.plan.judged)
        rank = f"number {again.stands_rank} of {count} now"
        return f"The place where the trailer stands is {rank}; spot {place} itself is first."
    if again.stands_rank is None:
        return f"Spot {place}, where the trailer stands, breaks a limit of the plan."
    if again.stands_rank == 1:
        return f"Spot {place} is still the best place that was judged." if found.rows else f"Spot {place} is first."
    return f"Spot {place} is number {again.stands_rank} of {len(again.plan.judged)} now; spot {first} is first."


def turn_line(again: Redrawn, found: Measured, units: Units = METRIC) -> str:
    """What setting mast and sectors anew would give where the trailer stands; '' for no more than a hundredth."""
    set_anew = again.stands_coverage
    if set_anew is None or set_anew.share < found.now.share + LEAST_GAIN:
        return ""
    bearings = " and ".join(units.bearing(b) for b in set_anew.sector_bearings_deg)
    return (
        f"With the mast at {units.stop(set_anew.mast_height_m)} and the sectors turned to {bearings} true it would "
        f"serve {units.share(set_anew.share)}."
    )


def rank_rows(ranks: Iterable[RankNow], units: Units = METRIC, named: Named = _plain) -> list[list[str]]:
    """Rank now, spot, area now, rank before, area before."""
    return [
        [
            str(r.rank),
            named(r.name),
            units.share(r.share),
            f"{r.old_rank:.0f}" if math.isfinite(r.old_rank) else "-",
            units.share(r.old_share),
        ]
        for r in ranks
    ]


def point_rows(points: Iterable[PointNow], units: Units = METRIC, named: Named = _plain) -> list[list[str]]:
    """Point, chance before, chance now with its range, what was read there."""
    return [
        [
            named(p.name) + (" (required)" if p.required else ""),
            _chance(p.before, units),
            _range(p.now, p.low, p.high, units),
            _read(p),
        ]
        for p in points
    ]


def _range(middle: float, low: float, high: float, units: Units) -> str:
    """`77 % (73 % to 82 %)`; one figure where the three are told alike."""
    told, least, most = (units.share(v) for v in (middle, low, high))
    return told if told == least == most or not math.isfinite(middle) else f"{told} ({least} to {most})"


def _chance(chance: float, units: Units) -> str:
    return units.share(chance) if math.isfinite(chance) else NOT_KNOWN


def _read(p: PointNow) -> str:
    if not p.read:
        return "not read"
    parts = [f"{p.measured_dbm:.0f} dBm"] if math.isfinite(p.measured_dbm) else []
    if p.served is not None:
        parts.append("service" if p.served * 2 > p.read else "no service")
    return f"{', '.join(parts)} ({_readings(p.read)})"


def figure_rows(found: Measured) -> list[list[str]]:
    """The radio figures: before, from the readings, now."""
    off = found.found
    if not found.rows:
        return []
    radio = found.after.radio
    return [
        ["Level against the prediction", f"{_db(off.mean_db)} dB ({_db(off.low_db)} to {_db(off.high_db)}, 9 in 10)"],
        ["Doubt of the level everywhere", f"{off.prior_db:.1f} dB before, {off.spread_db:.1f} dB now"],
        [
            "Spread from place to place",
            f"{found.mission.radio.location_sigma_db:.1f} dB before, {off.place_db:.1f} dB now "
            f"({off.place_low_db:.1f} to {off.place_high_db:.1f})",
        ],
        ["Readings", f"{len(found.rows)}, count as {off.counted:.0f} that do not tell the same"],
        ["Phones", f"{found.devices}, each {found.mission.doubts.readings_device_db:g} dB off by itself"],
        ["Planned with from here on", f"{radio.measured_offset_db:+.1f} dB, model {radio.model_sigma_db:.1f} dB"],
    ]


def _db(value: float) -> str:
    """With its sign, but for nothing."""
    return f"{value:+.1f}" if abs(value) >= 0.05 else "0.0"


def class_rows(found: Measured, units: Units = METRIC) -> list[list[str]]:
    """By distance, then by ground cover: class, readings, median of measured less predicted, spread."""
    rows = [_class(r, _band(r.number, units)) for r in found.by_distance]
    return rows + [_class(r, COVER[KINDS[r.number]]) for r in found.by_cover]


def _class(row: ClassRow, name: str) -> list[str]:
    spread = f"{row.spread_db:.1f}" if math.isfinite(row.spread_db) else "-"
    return [name, str(row.count), f"{row.median_db:+.1f}", spread]


def _band(number: int, units: Units) -> str:
    low, high = DISTANCE_EDGES_M[number], DISTANCE_EDGES_M[number + 1]
    if math.isinf(high):
        return f"beyond {units.distance(low)}"
    return f"{units.distance(low)} to {units.distance(high)}" if low else f"up to {units.distance(high)}"


def reading_rows(found: Measured, most: int, named: Named = _plain) -> list[list[str]]:
    """Row, place, measured, predicted, difference: the largest differences first."""
    rows = sorted(found.rows, key=lambda r: (-abs(r.residual_db) if math.isfinite(r.residual_db) else 0.0, r.row))
    return [
        [
            str(r.row),
            named(r.name) or f"{r.latitude:.5f}, {r.longitude:.5f}",
            _got(r),
            f"{r.predicted_dbm:.0f} dBm" if math.isfinite(r.predicted_dbm) else NOT_KNOWN,
            f"{r.residual_db:+.0f} dB" if math.isfinite(r.residual_db) else "-",
            "left out" if r in found.wild else "",
        ]
        for r in rows[:most]
    ]


def _got(r: ReadingRow) -> str:
    if math.isfinite(r.measured_dbm):
        return f"{r.measured_dbm:.0f} dBm"
    return {True: "service", False: "no service", None: "-"}[r.served]


def reading_tip(r: ReadingRow) -> str:
    """One reading on the map."""
    told = f"{r.predicted_dbm:.0f} dBm" if math.isfinite(r.predicted_dbm) else "nothing"
    return f"{r.name + ', ' if r.name else ''}{_got(r)}, predicted {told}"


def taken_line(found: Measured) -> str:
    """How the readings were taken as they were held against the prediction."""
    held = sorted({r.taken for r in found.rows})
    return f"Taken {' and '.join(TAKEN[h] for h in held)}, the phone held as the plan has it." if held else ""


def measured_lines(found: Measured, again: Redrawn, units: Units = METRIC) -> list[str]:
    """For the terminal."""
    lines = [headline(found, units), share_words(found, units), turn_line(again, found, units), rank_line(again, found)]
    lines = [line for line in lines if line]
    lines += warning_lines(found, units)
    lines += [f"{label}: {words}." for label, words in figure_rows(found)]
    walks = walk_lines(found, units)
    return lines + ([f"Walk next: {' '.join(walks)}"] if walks else [])


def measured_record(found: Measured, again: Redrawn | None, units: Units = METRIC) -> dict[str, Any]:
    """For machines; decibels, degrees, shares 0..1; null where not known."""
    spot, off = found.standing.spot, found.found
    return {
        "format": 1,
        "file": found.file,
        "headline": headline(found, units),
        "stands": {
            "spot": spot.name,
            "latitude": spot.latitude,
            "longitude": spot.longitude,
            "mast_height_m": found.standing.mast_height_m,
            "sector_bearings_deg": list(found.standing.sector_bearings_deg),
            "rank": None if again is None else again.stands_rank,
        },
        "shared_error": {k: v for k, v in asdict(off).items() if k != "wild"},
        "share_before": asdict(found.before),
        "share_now": asdict(found.now),
        "warnings": warning_lines(found, units),
        "left_out": found.left_out,
        "no_prediction": found.no_prediction,
        "devices": found.devices,
        "by_distance": [
            {"from_m": DISTANCE_EDGES_M[r.number], "to_m": DISTANCE_EDGES_M[r.number + 1], **_figures(r)}
            for r in found.by_distance
        ],
        "by_cover": [{"cover": KINDS[r.number], **_figures(r)} for r in found.by_cover],
        "points": [asdict(p) for p in found.points],
        "walks": [asdict(w) for w in found.walks],
        "ranks": [] if again is None else [asdict(r) for r in again.ranks],
        "mission": {
            "radio": {
                name: getattr(found.after.radio, name)
                for name in ("measured_offset_db", "model_sigma_db", "location_sigma_db", "measured_files")
            },
            "doubts": {name: getattr(found.after.doubts, name) for name in OF_THE_SIGNAL},
        },
        "readings": [reading_record(r) for r in found.rows],
    }


def reading_record(r: ReadingRow) -> dict[str, Any]:
    """One reading, as in the table."""
    return {
        "row": r.row,
        "name": r.name,
        "time": "" if r.time is None else r.time.isoformat(),
        "latitude_deg": round(r.latitude, 7),
        "longitude_deg": round(r.longitude, 7),
        "taken": r.taken,
        "measured_rsrp_dbm": _rounded(r.measured_dbm),
        "served": r.served,
        "told_by_bars": r.from_bars,
        "predicted_rsrp_dbm": _rounded(r.predicted_dbm),
        "measured_less_predicted_db": _rounded(r.residual_db),
        "chance_of_something_else": round(r.wild, 3),
        "distance_m": _rounded(r.distance_m, 0),
        "ground_cover": KINDS[r.kind] if r.kind >= 0 else "",
    }


def _rounded(value: float, digits: int = 1) -> float | None:
    return round(value, digits) if math.isfinite(value) else None


def _figures(row: ClassRow) -> dict[str, Any]:
    return {"count": row.count, "median_db": row.median_db, "spread_db": row.spread_db}


def _share(share: Share, units: Units) -> str:
    return _range(share.share, share.low, share.high, units)


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def more_readings(count: int) -> str:
    """What the page leaves out."""
    return f"{_readings(count)} more in residuals.csv." if count > 0 else ""
