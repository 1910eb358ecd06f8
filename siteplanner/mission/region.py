"""A region to be judged before the call comes: a mission's tables without an incident area, and the table `region`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from siteplanner.data.plain_text import MOST_MISSION, parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.parameters import Mission
from siteplanner.mission.parts import Part, Paths
from siteplanner.mission.reading import mission_from_dict

LARGEST_TILE_CELLS = 20_000_000  # of the elevation under a tile with its margins


class Extent(Part):
    """The region, how it is cut, and what its people live in."""

    outline: str = Field(description="Polygons of the region; places are looked for inside.")
    settlements: Paths = Field(
        (),
        description="Optional points with a column `name`: for each the best place is reported, or that none "
        "serves it.",
    )
    tile_m: float = Field(
        5000.0,
        ge=200,
        le=50_000,
        description="Side of a tile: what one worker judges at a time, and what is done again when its inputs change. "
        "Common practice.",
    )
    margin_cell_m: float = Field(
        30.0,
        ge=5,
        le=500,
        description="Cells of the kept service, rounded to an odd number of the elevation's cells. Common practice.",
    )


@dataclass(frozen=True)
class Region:
    """What a region's file says. `mission` has the region's outline as its incident area."""

    mission: Mission
    extent: Extent
    file: Path

    @property
    def settlements(self) -> tuple[Path, ...]:
        """The files of the settlements."""
        return tuple(self.mission.path(path) for path in self.extent.settlements)


def load_region(path: str | Path) -> Region:
    """Read a region from TOML or JSON (by its ending): the tables of a mission, with `region` for its incident area.

    Raises InputError for an unreadable file, broken syntax, a wrong field, or what belongs to one incident only.
    """
    path = Path(path)
    if path.is_dir():
        raise InputError("This is a folder.", remedy="Name the region's file in it.", file=path)
    text = read_text(path, MOST_MISSION, "A region file (.toml or .json)")
    data = parsed(text, as_json=path.suffix.lower() == ".json", file=path)
    if not isinstance(data, dict) or not isinstance(data.get("region"), dict):
        raise InputError(
            "This file has no table `region`.",
            remedy='Add [region] with outline = "FILE": the polygons of the region; the other tables are a mission\'s.',
            file=path,
            field="region",
        )
    try:
        extent = Extent.model_validate(data["region"])
    except ValidationError as error:
        raise fault(error, Extent, data["region"], str(path)) from None
    rest: dict[str, Any] = {name: value for name, value in data.items() if name != "region"}
    layers = dict(rest["layers"]) if isinstance(rest.get("layers"), dict) else {}
    for name in ("incident_area", "must_serve", "spots", "closures"):
        if layers.get(name):
            raise InputError(
                "This layer belongs to one incident.",
                remedy="Leave it out here and give it to `siteplanner atlas plan` in the mission of the day.",
                file=path,
                field=f"layers.{name}",
            )
    if rest.get("units") and not isinstance(rest["units"], str):
        raise InputError(
            "An atlas is of one kind of trailer.",
            remedy="Leave [[units]] out and make one atlas for each kind.",
            file=path,
            field="units",
        )
    rest["layers"] = {**layers, "incident_area": extent.outline}
    rest.setdefault("name", path.stem)
    return Region(mission_from_dict(rest, base=path.parent, file=str(path)), extent, path)
