"""What is said of one place, apart from its ground and roads: magnetic north, wind, donor sites."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.planning.telling.units import Units
from siteplanner.planning.telling.wind import KINDS

Facts = Mapping[str, Any]
NOT_ITS_OWN = "above which field manuals ask for extra care in raising any mast (this unit's own limit is not stated)"


def _gusts(what: str) -> Callable[[Facts, Units], tuple[str, str]]:
    return lambda f, u: (
        f"Forecast {KINDS[f['kind']]} at the dish: up to {u.gust(f['peak_m_s'])}; {what} for about "
        f"{u.figure(f['hours'], 'h', 1)}.",
        "Inform those who rely on the service; have a second way to talk for these hours.",
    )


def _mast(f: Facts, u: Units) -> tuple[str, str]:
    lower = ", ".join(u.stop(stop) for stop in f["lower_stops_m"])
    down = f"Use a lower stop ({lower}) or guy" if lower else "Guy"
    how = "guyed" if f["guyed"] else "not guyed"
    return (
        f"Forecast {KINDS[f['kind']]} at the top of the mast at {u.stop(f['mast_height_m'])}: up to "
        f"{u.gust(f['peak_m_s'])}, above its limit of {u.gust(f['limit_m_s'])} ({how}) for about "
        f"{u.figure(f['hours'], 'h', 1)}.",
        f"{down} as the unit's manual says before the wind rises; lower the mast when the manual says so. "
        "This is advice, not a rating of the mast.",
    )


def _raising(f: Facts, u: Units) -> tuple[str, str]:
    return (
        f"Forecast {KINDS[f['kind']]} at the top of the mast up to {u.gust(f['peak_m_s'])}: above "
        f"{u.gust(f['limit_m_s'])}, {'its limit for raising' if f.get('stated', True) else NOT_ITS_OWN}, for about "
        f"{u.figure(f['hours'], 'h', 1)}.",
        "Raise and lower it outside these hours; nobody stands in its fall circle.",
    )


def _not_stated(f: Facts, u: Units) -> tuple[str, str]:
    missing = " and ".join(
        word
        for word, stated in (("wind limit", f["standing_stated"]), ("limit for raising", f["raising_stated"]))
        if not stated
    )
    peak = "" if f["peak_m_s"] is None else f" Forecast {KINDS[f['kind']]} at its top: up to {u.gust(f['peak_m_s'])}."
    return (
        f"Mast {missing} not stated: read the manual ({u.stop(f['mast_height_m'])}, "
        f"{'guyed' if f['guyed'] else 'not guyed'}).{peak}",
        "Find the figures of this stop before the mast goes up; given in the mission (wind table), they are judged.",
    )


def _heights(f: Facts, u: Units) -> tuple[str, str]:
    left = f["count"] - len(f["names"])
    more = f" and {left} more" if left else ""
    return (
        f"{f['count']} of {f['of']} donor sites have no usable height of their antenna: {u.stop(f['height_m'])} above "
        f"ground is assumed for {', '.join(f['names'])}{more}.",
        "Give column height_m, or set backhaul.donor_link.default_donor_height_m.",
    )


SITE_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "magnetic_model_expired": lambda f, u: (
        f"Magnetic bearings are not given: {f['day']} lies outside the years of the magnetic model ({f['model']}: "
        f"{f['valid_from']} to {f['valid_until']}).",
        "Use the true bearings, with a GPS compass or from the map; or bring pygeomag up to date.",
    ),
    "magnetic_blackout": lambda f, u: (
        f"Magnetic bearings are not given: near the magnetic pole the horizontal field is {f['field_nt']:.0f} nT, and "
        f"below {f['least_nt']:.0f} nT a compass is no guide ({f['model']}, blackout zone).",
        "Use the true bearings, with a GPS compass or from the map.",
    ),
    "magnetic_caution": lambda f, u: (
        f"Magnetic bearings may be off by several degrees: the horizontal field is weak here, {f['field_nt']:.0f} nT "
        f"({f['model']}, caution zone below {f['least_nt']:.0f} nT).",
        "Trust the true bearings more, with a GPS compass or from the map.",
    ),
    "wind_stow": _gusts("the dish stows"),
    "wind_tracking": _gusts("the dish may lose the satellite"),
    "wind_mast": _mast,
    "wind_raising": _raising,
    "wind_mast_not_stated": _not_stated,
    "donor_sites_unused": lambda f, u: (
        "Donor sites are given, but no donor link is requested: they are drawn and not judged.",
        "Add donor_link to backhaul.wanted, at the place of its preference.",
    ),
    "donor_height_assumed": _heights,
}
