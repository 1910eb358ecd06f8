"""Where the samples lie: an invented county, and invented roads on real hills."""

from __future__ import annotations

from pathlib import Path

SAMPLES: dict[str, str] = {
    "dunmarrow_county": "An invented mountain county: flood in the main valley, search in a side valley.",
    "real_hills": "Real heights in degrees, invented roads; layers in many formats and coordinate systems.",
}


def sample_mission(name: str = "dunmarrow_county") -> Path:
    """The mission file of a sample: in the installed package, or in `data_samples` of the clone it runs from.

    Raises KeyError for a name that is not in `SAMPLES`, InputError where the files are not there.
    """
    if name not in SAMPLES:
        raise KeyError(f"{name!r} is not a sample; there are {', '.join(SAMPLES)}")
    here = Path(__file__).parent
    for samples in (here / "samples", here.parents[1] / "data_samples"):
        mission = samples / name / "mission.toml"
        if mission.is_file():
            return mission
    from siteplanner.errors import InputError

    raise InputError(
        f"The sample {name} is missing from this installation.",
        remedy="Install the package again, or name a mission file of your own.",
        file=str(here / "samples" / name),
    )
