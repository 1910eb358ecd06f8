"""What is said of one place, apart from its ground and roads: magnetic north, wind, donor sites."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]


def _gusts(what: str) -> Callable[[Facts, Units], tuple[str, str]]:
    return lambda f, u: (
        f"Forecast gusts reach {u.gust(f['peak_m_s'])} at the dish: {what} for about {f['hours']:.1f} h.",
        "Tell those who rely on the service; have a second way to talk for these hours.",
    )


def _mast(f: Facts, u: Units) -> tuple[str, str]:
    lower = ", ".join(u.stop(stop) for stop in f["lower_stops_m"])
    down = f"Use a lower stop ({lower}) or guy" if lower else "Guy"
    return (
        f"Forecast gusts reach {u.gust(f['peak_m_s'])} at the top of the mast at {u.stop(f['mast_height_m'])}.",
        f"{down} as the unit's manual says before the wind rises; lower the mast when the manual says so. "
        "This is advice, not a rating of the mast.",
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
    "donor_sites_unused": lambda f, u: (
        "Donor sites are given, but no donor link is wanted: they are drawn and not judged.",
        "Add donor_link to backhaul.wanted, at the place of its preference.",
    ),
    "donor_height_assumed": _heights,
}
