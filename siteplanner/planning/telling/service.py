"""Who is served, in words: of what the share is, of which service, where the handset is, which direction decides."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.planning.spots.evaluation import Coverage
from siteplanner.planning.spots.served import BLOCKING, SEAM_DB, SERVED, Service
from siteplanner.planning.telling.prediction import elevation_sentence
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

PLACES = {
    "outdoors": "outdoors",
    "vehicle": "in a vehicle",
    "building_traditional": "in a traditional building",
    "building_efficient": "in a thermally efficient building",
}
WHOLE = {
    "weight": "weighted area",
    "people": "area weighted by people",
    "area": "area",
}
"""What a share is a share of, by the column that the weights come from."""


NONE_EXPECTED = 0.1  # below it no service is expected at a point, from here to SERVED it is unlikely. Common practice


def without_words(points: Sequence[tuple[str, float]], units: Units = METRIC, most: int = 2) -> str:
    """`no service expected at Search base (6 %); service unlikely at Ford and 2 more (30 %)`: of (name, chance)
    below 50 %, those with the least first; '' for none."""
    parts = []
    for low, high, said in (
        (-1.0, NONE_EXPECTED, "no service expected"),
        (NONE_EXPECTED, SERVED, "service unlikely"),
    ):
        found = sorted((p for p in points if low <= p[1] < high), key=lambda p: p[1])
        if found:
            named = [f"{name} ({units.share(chance)})" for name, chance in found[:most]]
            more = f" and {len(found) - most} more" if len(found) > most else ""
            parts.append(f"{said} at {', '.join(named)}{more}")
    return "; ".join(parts)


def chance_words(chance: float) -> str:
    """`none expected`, `unlikely`, `likely`: what a chance of service at a point comes to."""
    if chance != chance:
        return NOT_KNOWN
    return "none expected" if chance < NONE_EXPECTED else "unlikely" if chance < SERVED else "likely"


def share_words(coverage: Coverage, units: Units = METRIC, digits: int = 0) -> str:
    """`69 % of the weighted area`: the share that ranks, told as what it is."""
    whole = "incident area" if coverage.service is None else WHOLE[coverage.service.weighted_by]
    return f"{units.share(coverage.share, digits)} of the {whole}"


def people_words(service: Service, units: Units = METRIC) -> str:
    """`about 520 of 665 people`; '' where they are not stated for every polygon."""
    if service.people is None or service.people_served is None:
        return ""
    return f"about {units.people(service.people_served)} of {service.people:,.0f} people"


def served_words(coverage: Coverage, units: Units = METRIC) -> str:
    """`69 % of the weighted area (about 520 of 665 people)`, for a sentence or a row."""
    people = "" if coverage.service is None else people_words(coverage.service, units)
    return share_words(coverage, units) + (f" ({people})" if people else "")


def kind_words(service: Service) -> str:
    """`data (1 Mbit/s down, 256 kbit/s up), outdoors`; a stated threshold is said instead of the rate."""
    if service.stated_threshold:
        return f"by the mission's own threshold, {PLACES[service.place]}"
    down, up = (_rate(v) for v in (service.downlink_kbit_s, service.uplink_kbit_s))
    return f"{service.kind} ({down} down, {up} up), {PLACES[service.place]}"


def _rate(kbit_s: float) -> str:
    return f"{kbit_s / 1000:g} Mbit/s" if kbit_s >= 1000 else f"{kbit_s:g} kbit/s"


def decides_words(service: Service, units: Units = METRIC) -> str:
    """`the downlink decides, the uplink has 5.5 dB more`."""
    other = "uplink" if service.decides == "downlink" else "downlink"
    if service.decides_by_db < 0.05:
        return "both directions reach equally far"
    return f"the {service.decides} decides, the {other} has {units.decibels(service.decides_by_db, 1)} more"


def service_sentence(coverage: Coverage, units: Units = METRIC) -> str:
    """Service of what, where, of whom; which direction decides; '' in a plan put together by hand."""
    service = coverage.service
    if service is None:
        return ""
    parts = [f"{units.share(service.area_share)} of the area as it lies"]
    if service.weighted_by != "area":
        parts.insert(0, share_words(coverage, units))
    people = people_words(service, units)
    return (
        f"Expected service, {kind_words(service)}: {', '.join([*parts, *([people] if people else [])])}; "
        f"{decides_words(service, units)}."
    )


def polygon_words(service: Service, units: Units = METRIC) -> list[str]:
    """One row a polygon: `Flooded valley floor: 84 %, about 520 of 620 people`; none where there is only one."""
    if len(service.polygons) < 2:
        return []
    out = []
    for number, one in enumerate(service.polygons, 1):
        people = ""
        if one.people is not None and one.people_served is not None:
            people = f", about {units.people(one.people_served)} of {one.people:,.0f} people"
        out.append(f"{one.name or f'Area {number}'}: {units.share(one.share)}{people}")
    return out


def service_lines(coverage: Coverage, units: Units = METRIC) -> list[str]:
    """Everything that is known of the service, a sentence or a row each; none in a plan put together by hand."""
    if coverage.service is None:
        return []
    lines = [service_sentence(coverage, units), *polygon_words(coverage.service, units)]
    more = elevation_sentence(coverage, units), handsets_sentence(coverage.service, units)
    return [*lines, *filter(None, (*more, seam_sentence(coverage.service, units)))]


def handsets_sentence(service: Service, units: Units = METRIC) -> str:
    """`The cell carries 128 handsets at once, for about 520 people served; used for speech alone, each may talk ...`"""
    at_once = f"The cell carries {service.handsets:,} handsets at once"
    if service.people_served is None or service.people_served < 1:
        return f"{at_once}."
    minutes = 60 * service.talk_erlangs / service.people_served
    enough = "more than for" if service.handsets >= service.people_served else "for"
    talk = "all may talk all the time" if minutes >= 60 else f"each may talk about {minutes:.0f} min an hour"
    return (
        f"{at_once}, {enough} about {units.people(service.people_served)} people served; used for speech alone, {talk} "
        f"before {units.share(BLOCKING)} of calls find no line (Erlang B)."
    )


def seam_sentence(service: Service, units: Units = METRIC) -> str:
    """Where own sectors disturb each other; '' for one sector or carriers of their own."""
    if service.seam_share is None:
        return ""
    return (
        f"The sectors share one carrier: {units.share(service.seam_share)} of what is served lies between their "
        f"bearings, with another sector less than {SEAM_DB:g} dB weaker; when both are busy, data is slow there. That "
        "is not in the prediction."
    )
