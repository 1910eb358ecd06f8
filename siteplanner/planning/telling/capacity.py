"""What a spot carries, in words: people and handsets at once, the backhaul they share, delay, the second radio."""

from __future__ import annotations

from siteplanner.planning.spots.capacity import GOOD_DELAY_MS, MOST_DELAY_MS, Capacity
from siteplanner.planning.spots.served import BLOCKING
from siteplanner.planning.telling.backhaul_rows import KINDS
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

ASSUMED = "Counted with one handset a person, everybody calling at once, and the backhaul at its stated rate."


def at_once_words(c: Capacity, units: Units = METRIC) -> str:
    """`128 handsets at once, for about 520 people; 390 wait when all are busy, first come first served`."""
    text = f"{c.handsets:,} handsets at once"
    if c.people_served is None or c.waiting is None:
        return text
    text += f", for about {units.people(c.people_served)} people"
    if c.waiting < 1:
        return text
    who = "responders go first" if c.first_served == "responders" else "first come, first served"
    return f"{text}; about {units.people(c.waiting)} wait when all call, {who}"


def rate_words(c: Capacity, units: Units = METRIC) -> str:
    """`20 Mbit/s down, 5 up; 156 and 39 kbit/s a handset when 128 are busy`."""
    if c.backhaul is None or (c.down_mbit_s is None and c.up_mbit_s is None):
        return NOT_KNOWN
    down, up = (NOT_KNOWN if v is None else f"{v:g} Mbit/s" for v in (c.down_mbit_s, c.up_mbit_s))
    each = [NOT_KNOWN if v is None else f"{v:.0f}" for v in (c.each_down_kbit_s, c.each_up_kbit_s)]
    return f"{down} down, {up} up; {each[0]} and {each[1]} kbit/s a handset when {c.busy:,.0f} are busy"


def talk_words(c: Capacity, units: Units = METRIC) -> str:
    """How much talk goes through, and what has the fewest lines."""
    limit = "the cell" if c.lines_by == "cell" else "the backhaul"
    text = f"{c.lines:,} talks at once, {limit} decides"
    if c.people_served is None or c.people_served < 1:
        return text
    minutes = min(60 * c.talk_erlangs / c.people_served, 60.0)
    return f"{text}; about {minutes:.0f} min an hour each before {units.share(BLOCKING)} find no line"


def delay_words(c: Capacity, units: Units = METRIC) -> str:
    """`about 280 ms one way: pause between turns`; what ITU-T G.114 says of it."""
    if c.delay_ms is None:
        return NOT_KNOWN
    told = f"about {round(c.delay_ms, -1):.0f} ms one way"
    if c.delay_ms <= GOOD_DELAY_MS:
        return f"{told}: not noticed in talk"
    if c.delay_ms <= MOST_DELAY_MS:
        return f"{told}: say over, wait for the answer"
    return f"{told}: more than talk should have"


def wifi_words(c: Capacity, units: Units = METRIC) -> str:
    """How far the second radio reaches; '' without one."""
    return "" if c.wifi_radius_m is None else f"within {units.there(c.wifi_radius_m)} of the trailer, in the open"


def capacity_rows(c: Capacity, units: Units = METRIC) -> list[tuple[str, str]]:
    """Label and figure, a row each."""
    rows = [("At once", at_once_words(c, units))]
    if c.down_mbit_s is not None or c.up_mbit_s is not None:
        rows.append(("Shared", rate_words(c, units)))
        rows.append(("Talk", talk_words(c, units)))
    if c.delay_ms is not None and c.delay_ms > GOOD_DELAY_MS:
        rows.append(("Delay", delay_words(c, units)))
    if c.wifi_radius_m is not None:
        rows.append(("Wi-Fi", wifi_words(c, units)))
    return rows


def capacity_sentences(c: Capacity, units: Units = METRIC) -> list[str]:
    """The same as sentences, with what each assumes."""
    used = "The backhaul" if c.backhaul is None else f"The {KINDS[c.backhaul].lower()}"
    out = [f"The cell carries {at_once_words(c, units)}, one handset a person."]
    out.append(f"{used} carries {rate_words(c, units)}." if rate_words(c, units) != NOT_KNOWN else "")
    out.append(f"Speech: {talk_words(c, units)} (Erlang B).")
    flight = "" if c.flight_ms is None else f", {c.flight_ms:.0f} ms of it the flight of the signal"
    out.append(f"Delay over the backhaul {delay_words(c, units)}{flight} (ITU-T G.114)." if c.delay_ms else "")
    out.append(f"The second radio reaches people {wifi_words(c, units)}." if c.wifi_radius_m is not None else "")
    return [line for line in out if line]
