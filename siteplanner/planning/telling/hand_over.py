"""The page for the next shift in words: how it stands, what works, fuel, what comes next, what is open, channels.

What nobody stated is told as not known and never filled in.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from typing import Any

from siteplanner.data.grid_reference import grid_text
from siteplanner.mission.incident import Channel
from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.hand_over import AgainTold, Fuel, HandOver, NextMoment, PointState
from siteplanner.planning.telling.again import TALKS
from siteplanner.planning.telling.as_built import assumed_words
from siteplanner.planning.telling.clock import clock_range, clock_text, minutes_range
from siteplanner.planning.telling.findings import said_of_record
from siteplanner.planning.telling.log import entry_words, log_lines, log_rows, moment, period_words, prepared_words
from siteplanner.planning.telling.measured import signal_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units
from siteplanner.planning.telling.wind import above_words

Named = Callable[[str], str]
TOLD_BY = {
    "report": "as its crew reported",
    "readings": "where the readings were held against; no crew's report",
    "plan": "as planned; nobody has reported how it stands",
}
GAUGE = {
    "log": "by the gauge in the log",
    "report": "by the crew's report, as at first service",
    "plan": "no gauge was reported; a full tank at first service is assumed",
}
COMING = {
    "refuel": "Refuel", "empty": "Tank empty", "dusk": "Dark from", "dawn": "Light from", "wind": "Wind",
    "turn_round": "Turn back", "leave_spot": "Start the take-down", "relief": "Relief",
    "period_end": "End of the operational period",
}  # fmt: skip
CHANNEL_HEAD = (
    "Zone", "Ch", "Function", "Name", "Assignment", "RX MHz", "RX tone", "TX MHz", "TX tone", "Mode", "Remarks"
)  # fmt: skip
CELL, CELL_REMARK = "Data and voice, this trailer's cell", "channel {width}; phones need this cell's SIM"


def headline(h: HandOver, units: Units = METRIC, named: Named = str) -> str:
    """What the next shift must know first."""
    if h.stands is None:
        return "No trailer stands: the plan has no spot."
    broken = f" {limits_words(h)}" if h.broken else ""
    stands = "The trailer stands" if h.stands.told_by == "report" else "By the plan the trailer stands"
    return f"{stands} at spot {named(h.stands.name)}, {_on_air(h)}. {_served(h.points)}{broken}"


def _served(points: tuple[PointState, ...]) -> str:
    """How many named points have service: those where somebody read, and those where it is only predicted."""
    if not points:
        return "No points are named."
    read = [p for p in points if math.isfinite(p.served)]
    rest = [p.works for p in points if not math.isfinite(p.served)]
    parts = [f"service at {sum(bool(p.works) for p in read)} of {len(read)} named points tried"] * bool(read)
    if rest:
        parts.append(f"service predicted at {rest.count(True)} of {len(rest)} {'others' if read else 'named points'}")
    if None in rest:
        parts.append(f"{rest.count(None)} not known")
    told = ", ".join(parts)
    return f"{told[:1].upper()}{told[1:]}."


def _on_air(h: HandOver) -> str:
    if h.on_air_since is None:
        return f"on air since {h.on_air_said}, day not known" if h.on_air_said else "when it went on air is not known"
    if h.on_air_since > h.prepared_at:
        return f"on air from {clock_text(h.on_air_since)}"
    return f"on air since {clock_text(h.on_air_since)}"


def limits_words(h: HandOver) -> str:
    """Limits that are broken or near where it stands; never calm where nobody reported."""
    if h.stands is not None and h.stands.told_by != "report":
        return "Whether a limit is broken where it stands is not known: nobody has reported its place."
    if h.broken:
        return f"Broken where it stands: {_limits(h.broken)}."
    near = f" Ruled out close by: {_limits(h.near)}." if h.near else ""
    return f"No limit that the data tell of is broken where it stands.{near}"


def _limits(codes: tuple[str, ...]) -> str:
    return "; ".join(dict.fromkeys(LIMITS.get(c, c.replace("_", " ")).lower() for c in codes))


def stand_rows(h: HandOver, units: Units = METRIC, named: Named = str) -> list[list[str]]:
    """What, figure: the trailer as it stands."""
    s = h.stands
    if s is None:
        return []
    off = f"; {units.distance(s.off_m)} from the planned spot" if math.isfinite(s.off_m) else ""
    sectors = ", ".join(_bearing(b, s.declination_deg, units) for b in s.sector_bearings_deg) or NOT_KNOWN
    rows = [
        ["Stands at", f"spot {named(s.name)}, {TOLD_BY[s.told_by]}{off}"],
        ["Degrees", f"{s.latitude:.5f}, {s.longitude:.5f}" if math.isfinite(s.latitude) else NOT_KNOWN],
        ["Grid", grid_text(s.grid_reference) if s.grid_reference else NOT_KNOWN],
        ["Tongue points to", _bearing(s.heading_deg, s.declination_deg, units)],
        ["Mast stop", units.stop(s.mast_stop_m) if math.isfinite(s.mast_stop_m) else NOT_KNOWN],
        ["Sectors point to", sectors],
        ["Satellite", named(s.satellite) if s.satellite else NOT_KNOWN],
        ["On air", h.on_air_said or NOT_KNOWN if h.on_air_since is None else clock_text(h.on_air_since)],
        ["Limits", limits_words(h)],
    ]
    if s.assumed:
        rows.append(["Not reported", f"taken as planned: {assumed_words(s.assumed)}"])
    if s.reported_by:
        rows.append(["Reported by", named(s.reported_by)])
    return rows


def _bearing(true_deg: float, declination_deg: float, units: Units) -> str:
    if not math.isfinite(true_deg):
        return NOT_KNOWN
    if not math.isfinite(declination_deg):
        return f"{units.bearing(true_deg)} true (magnetic not known)"
    return f"{units.bearing(true_deg)} true ({units.bearing(true_deg - declination_deg)} magnetic)"


def service_words(h: HandOver, units: Units = METRIC) -> list[str]:
    """Share of the area now, and what the readings say of the prediction."""
    share, low, high = h.share
    if math.isfinite(share):
        least, most = units.share(low), units.share(high)
        span = f" ({least} to {most})" if math.isfinite(low + high) and least != most else ""
        lines = [f"Predicted: {units.share(share)}{span} of the weighted area has service."]
    else:
        lines = ["How much of the area has service is not known."]
    mean, less, more = h.off_db
    if h.readings and math.isfinite(mean):
        lines.append(
            f"{h.readings} readings: the signal {signal_words(mean, less, more)} "
            f"({mean:+.0f} dB; {less:+.0f} to {more:+.0f} dB, 9 in 10); the figures here have that in them."
        )
    else:
        lines.append("No readings were held against the prediction.")
    return lines


def point_rows(points: tuple[PointState, ...], units: Units = METRIC, named: Named = str) -> list[list[str]]:
    """Point, whether it works, chance by the prediction, what was read."""
    out = []
    for p in points:
        works = {True: "service", False: "NO service", None: NOT_KNOWN}[p.works]
        chance = units.share(p.chance) if math.isfinite(p.chance) else NOT_KNOWN
        read = [f"{p.read_dbm:.0f} dBm"] if math.isfinite(p.read_dbm) else []
        if math.isfinite(p.served):
            read.append("service" if p.served >= 0.5 else "no service")
        out.append([named(p.name), works, chance, ", ".join(read) or "not read"])
    return out


def fuel_rows(fuel: Fuel, units: Units = METRIC) -> list[list[str]]:
    """Gauge, refuel by, empty: ranges by the highest and lowest burn."""
    at = ", hour not known" if fuel.at is None else f" at {clock_text(fuel.at)}"
    refuel = NOT_KNOWN if fuel.refuel is None else clock_range(*fuel.refuel)
    empty = NOT_KNOWN if fuel.empty is None else clock_range(*fuel.empty)
    return [
        ["Tank", f"{units.share(fuel.share)} full{at}: {GAUGE[fuel.told_by]}"],
        ["Refuel by", refuel],
        ["Empty", empty],
    ]


def coming_rows(h: HandOver, named: Named = str) -> list[list[str]]:
    """When, what: the first to come first."""
    return [[_when(m, h.prepared_at), _what(m, named)] for m in h.coming]


def _when(m: NextMoment, now: datetime) -> str:
    if m.early <= now:
        return f"now, until {clock_text(m.late)}" if m.what == "wind" else f"DUE, {clock_text(m.late)} at the latest"
    return clock_text(m.early) if m.early == m.late else clock_range(m.early, m.late)


def _what(m: NextMoment, named: Named) -> str:
    if m.what == "wind":
        return above_words(m.name)
    why = f" ({named(m.name)})" if m.name else ""
    return f"{COMING[m.what]}{why}"


def question_lines(h: HandOver, named: Named = str, units: Units = METRIC) -> list[str]:
    """What is open: asked in the log first, then what the records leave open."""
    out = [f"Log {number}: {named(entry.text)}" for number, entry in h.questions]
    if h.again is not None:
        out.append(again_words(h.again, named))
    if h.newer_first is not None and h.again is None:
        out.append(f"A newer plan has spot {named(h.newer_first.name)} first; the trailer stands elsewhere.")
    if h.stands is not None and h.stands.told_by != "report":
        out.append("How the trailer stands was not reported.")
    if h.fuel.refuel is None and not h.shore_power:
        out.append("Until when the fuel lasts is not known: read the gauge and log it.")
    if not any(m.what == "wind" for m in h.coming):
        out.append("Wind of the next hours: nothing above a limit is in the plan, or it had no forecast.")
    if h.unread:
        out.append(f"Nobody read the signal at {', '.join(named(n) for n in h.unread)}.")
    if h.skipped:
        out.append(f"Folders whose files cannot be read: {', '.join(named(n) for n in h.skipped)}.")
    if h.log.damaged:
        out.append(f"Lines of the log that cannot be read: {', '.join(str(n.number) for n in h.log.damaged)}.")
    return [*out, *(named(said_of_record(m.code, m.facts, m.message, units.first)) for m in h.left_open)]


def again_words(told: AgainTold, named: Named = str) -> str:
    """What planning again has said last, and whether anybody has decided since."""
    off = ""
    if told.there and told.verdict in ("move", "depends") and math.isfinite(sum(told.off_min)):
        off = f" (spot {named(told.there)}, {minutes_range(*told.off_min)} without service)"
    since = "a decision is in the log since" if told.decided else "nobody has logged a decision since"
    answer = TALKS.get(told.verdict, NOT_KNOWN)
    return f"Planned again {clock_text(told.at)}: {answer[:1].lower()}{answer[1:]}{off}; {since}."


def decision_lines(h: HandOver) -> list[str]:
    """Who decided what, the last first."""
    return [entry_words(number, entry) for number, entry in reversed(h.decisions)]


def channel_rows(h: HandOver, named: Named = str) -> list[list[str]]:
    """Rows of ICS 205 block 4: the trailer's own cell, then those of the incident file; blank: not stated."""
    down, up, width = h.cell_mhz
    own = Channel(
        function=CELL,
        rx_mhz=down if math.isfinite(down) else None,
        tx_mhz=up if math.isfinite(up) else None,
        mode="D",
        remarks=CELL_REMARK.format(width=f"{width:g} MHz" if math.isfinite(width) else NOT_KNOWN),
    )
    return [_channel(c, named) for c in (own, *h.channels)]


def _channel(c: Channel, named: Named) -> list[str]:
    rx, tx = _mhz(c.rx_mhz, c.rx_width), _mhz(c.tx_mhz, c.tx_width)
    cells = (c.zone, c.channel, c.function, c.name, c.assignment, rx, c.rx_tone, tx, c.tx_tone, c.mode, c.remarks)
    return [named(cell) if cell else "" for cell in cells]


def _mhz(frequency: float | None, width: str) -> str:
    return "" if frequency is None else f"{frequency:.4f} {width}".strip()


def left_words(count: int) -> str:
    """What the page leaves out; '' for nothing."""
    return f"{count} more in handover.txt." if count else ""


def resource_rows(h: HandOver, named: Named = str) -> list[list[str]]:
    """Rows of ICS 201 block 10."""
    told = {True: "yes", False: "no", None: NOT_KNOWN}
    return [
        [named(r.resource), named(r.identifier), moment(r.ordered_at), named(r.eta), told[r.arrived], named(r.notes)]
        for r in h.incident.resources
    ]


def form_lines(h: HandOver, units: Units = METRIC) -> list[str]:
    """The whole page as text, by the blocks of ICS 201 and ICS 205; block 4's map is the plan's map.html."""
    i = h.incident
    name = i.name or h.mission_name or NOT_KNOWN
    people = [", ".join(filter(None, (p.position, p.name, p.agency))) for p in i.people]
    situation = [headline(h, units), *service_words(h, units), *filter(None, (h.note, i.situation))]
    return [
        "INCIDENT BRIEFING (blocks of ICS 201)",
        f"1. Incident name: {name}",
        f"2. Incident number: {i.number or NOT_KNOWN}",
        f"3. Date and time initiated: {moment(i.initiated_at)}",
        "4. Map: map.html and print_map.pdf of the plan",
        "5. Situation summary, health and safety:",
        *_block(situation),
        *_block([f"{what}: {told}" for what, told in stand_rows(h, units)]),
        *_block(["Points:", *[", ".join(row) for row in point_rows(h.points, units)]] if h.points else []),
        *_block([f"{what}: {told}" for what, told in fuel_rows(h.fuel, units)]),
        *_block(["Open questions:", *question_lines(h, units=units)]),
        f"6. Prepared by: {prepared_words(i)}; signature: ____________; {clock_text(h.prepared_at)}",
        "7. Current and planned objectives:",
        *_block(list(i.objectives) or [NOT_KNOWN]),
        "8. Current and planned actions (time, action):",
        *_block([f"{when}: {what}" for when, what in coming_rows(h)] or [NOT_KNOWN]),
        *_block(["Decided so far:", *decision_lines(h)] if h.decisions else ["Decided so far: nothing in the log"]),
        f"9. Current organization: {'; '.join(people) or NOT_KNOWN}",
        "10. Resource summary (resource, identifier, ordered, ETA, arrived, notes):",
        *_block([", ".join(cell or NOT_KNOWN for cell in row) for row in resource_rows(h)] or [NOT_KNOWN]),
        "",
        "INCIDENT RADIO COMMUNICATIONS PLAN (blocks of ICS 205)",
        f"1. Incident name: {name}",
        f"2. Date and time prepared: {clock_text(h.prepared_at)}",
        f"3. Operational period: {period_words(i)}",
        f"4. Basic radio channel use ({', '.join(CHANNEL_HEAD)}):",
        *_block(["; ".join(cell or NOT_KNOWN for cell in row) for row in channel_rows(h)]),
        f"5. Special instructions: {i.special_instructions or NOT_KNOWN}",
        f"6. Prepared by: {prepared_words(i)}; signature: ____________; {clock_text(h.prepared_at)}",
    ]


def _block(lines: list[str]) -> list[str]:
    return [f"   {line}" for line in lines]


def hand_over_record(h: HandOver, units: Units = METRIC) -> dict[str, Any]:
    """For machines: facts, and the lines of the page."""
    held = asdict(h) | {"log": log_rows(h.log), "log_lines": log_lines(h.log)}
    return {"format": 1, "headline": headline(h, units), **_plain(held), "lines": form_lines(h, units)}


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: _plain(held) for key, held in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(held) for held in value]
    return value.model_dump(mode="json") if hasattr(value, "model_dump") else value
