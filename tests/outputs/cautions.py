"""Which caution must stand on whose sheet: the words, and the people they protect."""

from __future__ import annotations

from siteplanner.planning.telling.words import MANUAL_FIRST, TURN_BACK, WALK_IT, WIRES

EVERYONE = ("commander", "driver", "crew")
# words -> sheets that carry them
CAUTION_SHEETS: dict[str, tuple[str, ...]] = {
    WIRES: ("crew",),  # overhead lines: who raises the mast
    WALK_IT: ("driver", "crew"),  # unseen ground: who drives on it, who stands on it
    TURN_BACK: ("driver",),  # unknown road limits
    MANUAL_FIRST: ("crew",),  # exhaust, field, wind, guys
    "29 CFR 1926.140": ("crew",),  # how near the nearest line is; the commander is told of one that is near
    "Wire down or hanging low: stay": ("driver",),  # wires that hang as built are for loads from 14 ft up only
    "Do not let a phone choose the road": ("driver",),
    "Breakaway cable to the truck's frame": ("driver",),
    "Carbon monoxide kills": ("crew",),
    "cool before refueling": ("crew",),
    "hang your tag": ("crew",),
    "let the pressure out": ("crew",),  # 29 CFR 1910.147(d)(5)
    "until 30 min after the last thunder": ("crew",),  # OSHA FS-3863
    "have buried lines marked": ("crew",),  # 29 CFR 1926.651(b)
    "a CO alarm where the crew sleeps": ("crew",),
    "Stay 11 m (35 ft) off": ("crew",),  # a wire on the ground, 35 ft
    "do not stand in front of it or on the roof": ("crew",),  # the dish
    "Radio off before anyone climbs": ("crew",),
    "Tape round the fall circle": ("crew",),
    "tracking is lost above 45 mph": ("crew",),
    "stow above 50 mph": ("crew",),
    "it stows above 50 mph": ("commander",),
    "nobody who need not be there": ("crew",),  # the mast's fall circle
    "Look up again": ("crew",),
    "Chock the wheels on both sides, before and behind, the downhill side first": ("crew",),
    "Not on air after 60 min (two) or 75 min (one): stop, call, think.": ("crew",),
    "Nobody between rig and trailer": ("driver",),
    "Back only with a spotter in sight": ("driver",),
    "Not stated is not safe": ("driver",),
    "predicted for half of the time, not measured": ("commander",),
    "Look up: wires over the spot": ("commander", "crew"),  # on arrival
    "The unit's manual, local codes, the landowner and licensed practice come first.": EVERYONE,
}
ROWS = [(kind, words) for words, kinds in CAUTION_SHEETS.items() for kind in kinds]
