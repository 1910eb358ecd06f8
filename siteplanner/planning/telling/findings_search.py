"""What is said of the search as a whole: its ground, its satellites, what stands around a handset."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.planning.telling.ground import cell_words
from siteplanner.planning.telling.prediction import clutter_words
from siteplanner.planning.telling.service import WHOLE
from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]


def _surface_gaps(f: Facts, u: Units) -> tuple[str, str]:
    taken = "land cover" if f["mapped"] else clutter_words(f["kind"], f["height_m"], u)
    return (
        f"The surface layer does not say what stands on {u.share(f['share'], 1)} of the search ground: trees and "
        f"roofs there are not known. For the radio {taken} is taken.",
        "Give a surface that covers it; where it does not, look for trees on arrival.",
    )


def _required_unmet(f: Facts, u: Units) -> tuple[str, str]:
    each, whole = [], WHOLE[f["weighted_by"]]
    for point in f["points"]:
        if not point["spot"]:
            each.append(f"{point['name']}, by none")
        else:
            each.append(f"{point['name']}, by spot {point['spot']} ({u.share(point['share'])} of the {whole})")
    return (
        f"No spot serves every required point at {u.share(f['chance'])} or better, so no spot is ruled out for that. "
        f"Which spot serves which: {'; '.join(each)}. The first spot serves {u.share(f['share'])} of the {whole}.",
        "Decide which point this trailer must serve, and send another to the rest.",
    )


SEARCH_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "no_geostationary_satellite": lambda f, u: (
        f"At latitude {f['latitude_deg']:.1f} no geostationary satellite at all stands "
        f"{u.posted(f['least_elevation_deg'], '°')} above the level: there is nothing to point the dish at, so every "
        f"spot is ruled out.",
        "Plan with another backhaul, such as a terminal for moving satellites, or stand nearer to the equator.",
    ),
    "satellite_too_low": lambda f, u: (
        f"The satellite at {u.angle(f['longitude_deg'])} stands at {u.angle(f['elevation_deg'])} here, below the "
        f"{u.angle(f['least_deg'])} that the mission's least elevation and margin ask for.",
        "Name a satellite nearer to this longitude.",
    ),
    "input_changed": lambda f, u: (
        "This layer has changed since the plan was made.",
        "Plan again before you rely on this.",
    ),
    "spacing_widened": lambda f, u: (
        f"More spots would fit than `search.max_spots`: candidates stand {u.length(f['used_m'])} apart instead of "
        f"{u.length(f['asked_m'])}.",
        "Raise search.max_spots for a finer search.",
    ),
    "land_cover_unmapped": lambda f, u: (
        f"Land-cover codes without a kind of clutter count as open ground: {', '.join(map(str, f['codes']))}.",
        "Name them in layers.land_cover_classes.",
    ),
    "clutter_out_of_range": lambda f, u: (
        "What woods cost is known from 106 to 2,118 MHz, and houses from 30 to 3,000 (ITU-R P.833-9, P.2108-1 section "
        f"3.1), not at {f['frequency_mhz']:g} MHz: the figure of the nearest known frequency is used. Above, that "
        "is too little.",
        "Above it leave a margin in radio.building_loss_db.",
    ),
    "clutter_assumed": lambda f, u: (
        "What stands on the ground is not known: no surface and no land cover is given. Service is that of "
        f"{clutter_words(f['kind'], f['height_m'], u)} everywhere; woods cost more, open ground less.",
        "Give layers.surface or layers.land_cover, or state layers.default_clutter.",
    ),
    "surface_gaps": _surface_gaps,
    "required_unmet": _required_unmet,
    "required_tried": lambda f, u: (
        f"No candidate spot served what is required, so {f['count']} more places were tried: those that lie best for "
        "a handset at these points.",
        "Where none of them serves it either, name a spot of your own, or send another trailer there.",
    ),
    "required_costs": lambda f, u: (
        f"Serving what is required ({', '.join(f['names'])}) rules out {f['lost']} judged spots that pass every other "
        f"limit: the first spot serves {u.share(f['share'])} of the {WHOLE[f['weighted_by']]}, the best without "
        f"it {u.share(f['without'])}.",
        "Make the points wanted, not required, where the area counts more.",
    ),
    "land_cover_gaps": lambda f, u: (
        f"The layers do not say what stands on {u.share(f['share'], 1)} of the search ground: "
        f"{clutter_words(f['kind'], f['height_m'], u)} is assumed there for the radio.",
        "Give layers that cover it, or say in layers.default_clutter what stands there.",
    ),
    "search_ground_unknown": lambda f, u: (
        f"{100 * f['share']:.1f} % of the search ground has no elevation and is ruled out.",
        "Add elevation that covers more ground, or make search.radius_m smaller.",
    ),
    "coarse_elevation": lambda f, u: (
        f"The elevation has cells of {cell_words(f['cell_size_m'], u)}: a bank, a ditch or a single tree does not "
        f"show in it.",
        "The crew checks level, soft ground, trees toward the satellite and overhead lines on arrival.",
    ),
    "donors_without_ground": lambda f, u: (
        f"The elevation was not read as far as the donor sites ({f['why']}) Links to those outside it are not known.",
        "Leave far donor sites out, set backhaul.donor_link.max_distance_m lower, or take coarser cells.",
    ),
}
