"""Who may use a road: the keys of access from general to special, each way, for a rig on the road of its mass.

OpenStreetMap wiki, Key:access: the more special key goes before the more general one (access, vehicle, motor_vehicle,
then motorcar or hgv), a key for one direction (`vehicle:backward`) before the one for both. Values parted by `;` are
alternatives that the mapper could not decide between.
"""

from __future__ import annotations

from typing import Literal

from siteplanner.mission import Rig

Verdict = Literal["open", "destination", "ask", "closed"]
# Key:access has no, military, dismount and use_sidepath; the rest are words of agencies for the first
CLOSED = frozenset((
    "no", "military", "dismount", "use_sidepath", "closed", "prohibited", "forbidden", "not_allowed", "false", "0",
))  # fmt: skip
OPEN = frozenset(("", "yes", "permissive", "designated", "public", "true", "1", "allowed", "unrestricted"))
DESTINATION = frozenset(("destination", "local"))  # Key:access: only to reach what lies on it, not to pass through
HEAVY_T = 3.5  # Key:hgv: vehicles above 3.5 t


def words(value: str) -> tuple[str, ...]:
    """The alternatives of a value, `no;destination` as two."""
    return tuple(w.strip() for w in value.replace(",", ";").split(";") if w.strip()) or ("",)


def verdict(value: str) -> Verdict:
    """What an access value means to a rig that nobody knows there.

    `ask`: for those who are permitted (private, customers, delivery, agricultural, forestry, emergency ...), for some
    and not for others (`no;destination`), or a word that is not known: open at an incident once somebody has agreed.
    """
    found = {_one(word) for word in words(value)}
    if len(found) == 1:
        return found.pop()
    return "destination" if found == {"open", "destination"} else "ask"


def _one(word: str) -> Verdict:
    if word in CLOSED:
        return "closed"
    if word in OPEN:
        return "open"
    return "destination" if word in DESTINATION else "ask"


def modes(rig: Rig) -> tuple[str, ...]:
    """The keys that hold for the rig, from general to special; `hgv` in the place of `motorcar` for a rig that counts
    as a heavy goods vehicle."""
    own = "hgv" if rig.heavy_goods == "yes" else "motorcar"
    return ("access", "vehicle", "motor_vehicle", "double_tracked_motor_vehicle", own)


def told_of_goods(rig: Rig) -> tuple[str, ...]:
    """Keys whose refusal is told and closes nothing: whether they hold for the rig only its papers say."""
    if rig.heavy_goods != "by mass" or rig.mass_kg / 1000 <= HEAVY_T:
        return ()
    return ("hgv", "goods")


def counts_as_heavy(rig: Rig) -> bool:
    """Whether limits that are posted for heavy goods vehicles hold for the rig beyond doubt."""
    return rig.heavy_goods == "yes"


def both_ways(forward: str, backward: str) -> tuple[str, bool, bool]:
    """(the word that holds where the rig may drive, closed forward, closed backward) of the words for each way."""
    shut = verdict(forward) == "closed", verdict(backward) == "closed"
    if shut == (True, True):
        return forward, True, True
    if shut[0] or shut[1]:
        return (backward if shut[0] else forward), *shut
    ask = next((w for w in (forward, backward) if verdict(w) == "ask"), "")
    return ask or next((w for w in (forward, backward) if verdict(w) == "destination"), forward), False, False
