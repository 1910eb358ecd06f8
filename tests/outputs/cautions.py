"""Which caution must stand on whose sheet: the words, and the people they protect."""

from __future__ import annotations

from siteplanner.planning.telling.words import CAUTIONS

EVERYONE = ("commander", "driver", "crew")
# words -> sheets that carry them
CAUTION_SHEETS: dict[str, tuple[str, ...]] = {
    CAUTIONS[0]: ("crew",),  # overhead lines: who raises the mast
    CAUTIONS[1]: ("driver", "crew"),  # unseen ground: who drives on it, who stands on it
    CAUTIONS[2]: ("driver",),  # unknown road limits
    CAUTIONS[3]: ("crew",),  # exhaust, field, wind, guys
    "29 CFR 1926.140": ("commander", "crew"),  # how near the nearest line is
    "Wire down or hanging low: stay": ("driver",),  # wires that hang as built are for loads from 14 ft up only
    "Do not let a phone choose the road": ("driver",),
    "Breakaway cable to the truck's frame": ("driver",),
    "Carbon monoxide kills": ("crew",),
    "cool before refuelling": ("crew",),
    "hang your tag": ("crew",),
    "Stay out of the dish's beam": ("crew",),
    "Radio off before anyone climbs": ("crew",),
    "keep-away tape": ("crew",),
    "tracking is lost above 45 mph": ("crew",),
    "stow above 50 mph": ("crew",),
    "it stows above 50 mph": ("commander",),
    "nobody who need not be there": ("crew",),  # the mast's fall circle
    "Look up again": ("crew",),
    "chock both wheels": ("crew",),
    "Not on air after 60 min (two) or 75 min (one): stop, call, think.": ("crew",),
    "Nobody between rig and trailer": ("driver",),
    "Back only with a spotter in sight": ("driver",),
    "Not stated is not safe": ("driver",),
    "predicted, not measured": ("commander",),
    "at least once a quarter": ("crew",),
    "Look up: wires over the spot": ("commander", "crew"),  # on arrival
    "The unit's manual, local codes, the landowner and licensed practice come first.": EVERYONE,
}
ROWS = [(kind, words) for words, kinds in CAUTION_SHEETS.items() for kind in kinds]
