"""How the antennas on the mast stand to each other and to the nose, in words: set on the ground, turned once up."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.mission import Mission
from siteplanner.planning.site.mast_wind import mast_limit
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.aiming import both_bearings, up_text
from siteplanner.planning.telling.units import NOT_KNOWN, Units


def clockwise_deg(from_deg: float, to_deg: float) -> int:
    """Whole degrees clockwise from one bearing to another, as the printed bearings give it."""
    return (round(to_deg) - round(from_deg)) % 360


def _link(e: Evaluation) -> float | None:
    """Bearing of the link antenna; None where no donor link is in use."""
    return None if e.donor is None else e.donor.bearing_deg


def angles_words(e: Evaluation, mission: Mission, units: Units) -> str:
    """What is set against what before the mast rises, in a sentence."""
    bearings = e.coverage.sector_bearings_deg if e.coverage else ()
    link = _link(e)
    first = bearings[0] if bearings else None
    nose = e.ground.heading_deg
    each = []
    if first is not None and nose == nose:
        each.append(f"sector 1 stands {units.figure(clockwise_deg(nose, first), '°')} clockwise from the tongue")
    each += [
        f"sector {n} {units.figure(clockwise_deg(bearings[0], b), '°')} clockwise from sector 1"
        for n, b in enumerate(bearings[1:], 2)
    ]
    if link is not None and e.donor is not None:
        to = "on its own bearing" if first is None else f"{clockwise_deg(first, link)}° clockwise from sector 1"
        each.append(f"the link antenna {to}, {up_text(e.donor.elevation_deg, units)}")
    if not each:
        return "clamp the antennas, run the cables free of the winch: there is no angle to set between them."
    if link is None and mission.radio.sector_separation_deg != "free":
        return f"the sectors are fixed: check that {', '.join(each)}."
    return f"set the angles seen from above and clamp them before raising: {', '.join(each)}."


def turn_words(e: Evaluation, units: Units) -> str:
    """What is turned once the mast is up: sector 1, the others go with it."""
    bearings = e.coverage.sector_bearings_deg if e.coverage else ()
    link = _link(e)
    if bearings:
        others = "; the others then stand right" if len(bearings) > 1 or link is not None else ""
        return f"Turn the mast until sector 1 points to {both_bearings(bearings[0], e, units)}{others}."
    if link is not None:
        return f"Turn the mast until the link antenna points to {both_bearings(link, e, units)}."
    return "No bearing to turn to: the antenna serves all round."


def bearing_advice(bearings_deg: Sequence[float], units: Units) -> str:
    """How a crew finds a bearing on the ground; '' where there is none."""
    if not bearings_deg:
        return ""
    return (
        "Take the bearings ten paces from steel, before the mast goes up, and pick a landmark on each. Within "
        f"{units.angle(GOOD_ENOUGH_DEG, 0)} is good enough."
    )


GOOD_ENOUGH_DEG = 5.0  # of a sector a hundred degrees wide; common practice, no source


def mast_rows(e: Evaluation, mission: Mission, units: Units) -> list[tuple[str, str]]:
    """The stop and how the mast is held."""
    if e.coverage is None:
        return []
    guys = f"{mission.guys} guys, anchors {units.length(mission.trailer.guy_anchors_m, 1)} from the mast"
    return [
        ("Mast stop", units.stop(e.coverage.mast_height_m)),
        ("Guys", guys if mast_limit(mission, e.coverage.mast_height_m).guyed else "none planned"),
    ]


def sector_rows(e: Evaluation, units: Units) -> list[list[str]]:
    """Each sector: name, bearing true and magnetic, clockwise from the nose and from sector 1."""
    from siteplanner.planning.telling.aiming import true_and_magnetic

    bearings = e.coverage.sector_bearings_deg if e.coverage else ()
    heading = e.ground.heading_deg
    out = []
    for n, bearing in enumerate(bearings, 1):
        nose = NOT_KNOWN if heading != heading else units.bearing(clockwise_deg(heading, bearing))
        first = "-" if n == 1 else units.bearing(clockwise_deg(bearings[0], bearing))
        out.append([f"Sector {n}", *true_and_magnetic(bearing, e, units), nose, first])
    return out
