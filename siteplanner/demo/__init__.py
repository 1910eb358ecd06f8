"""Where the samples lie: an invented county, and invented roads on real hills."""

from __future__ import annotations

from pathlib import Path

SAMPLES: dict[str, str] = {
    "dunmarrow_county": "An invented mountain county: flood in the main valley, search in a side valley.",
    "real_hills": "Real heights in degrees, invented roads; layers in many formats and coordinate systems.",
}

IN_A_WORD: dict[str, str] = {"dunmarrow_county": "invented", "real_hills": "real heights, invented roads"}
"""What a title says of each, so that nobody takes an exercise for the world, nor real hills for invented ones."""


def sample_mission(name: str = "dunmarrow_county") -> Path:
    """The mission file of a sample: in the installed package, or in `data_samples` of the clone it runs from.

    Raises KeyError for a name that is not in `SAMPLES`, InputError where the files are not there.
    """
    if name not in SAMPLES:
        raise KeyError(f"{name!r} is not a sample; there are {', '.join(SAMPLES)}")
    for folder in sample_folders():
        if folder.name == name:
            return folder / "mission.toml"
    from siteplanner.errors import InputError

    raise InputError(
        f"The sample {name} is missing from this installation.",
        remedy="Install the package again, or name a mission file of your own.",
        file=str(Path(__file__).parent / "samples" / name),
    )


def sample_folders() -> list[Path]:
    """The folders of the samples that are there."""
    here = Path(__file__).parent
    held = [s / name for s in (here / "samples", here.parents[1] / "data_samples") for name in SAMPLES]
    return [folder for folder in held if (folder / "mission.toml").is_file()]
