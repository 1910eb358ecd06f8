"""The fleet file: what units there are, what each weighs and has, when it last ran, what is broken or missing."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError, field_validator, model_validator

from siteplanner.data.plain_text import MOST_MISSION, parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.parts import Part

Words = Annotated[str, Field(min_length=1, max_length=200)]
Kilograms = Annotated[float, Field(gt=0, le=100_000)]
Hours = Annotated[float, Field(ge=0, le=1e6)]
Liters = Annotated[float, Field(ge=0, le=20_000)]


class Weighed(Part):
    """What a scale showed, loaded as it goes out."""

    on: date = Field(description="Day of the weighing.")
    trailer_kg: Kilograms = Field(description="The trailer by itself, on its axles and tongue.")
    rig_kg: Kilograms = Field(description="Tow vehicle and trailer together; `rig.mass_kg` of a mission.")
    tongue_kg: Kilograms | None = Field(None, description="On the hitch. None: not weighed.")
    rated_trailer_kg: Kilograms | None = Field(
        None, description="The most that the trailer may weigh, by its plate (GVWR). None: not stated."
    )


class Fault(Part):
    """Something that is broken. `stops`: the unit cannot go with it."""

    text: Words = Field(description="What is broken.")
    since: date = Field(description="Found on this day.")
    stops: bool = Field(False, description="Whether the unit cannot go before it is repaired.")


class Item(Part):
    """Something that belongs into the unit."""

    name: Words = Field(description="What it is.")
    need: int = Field(1, ge=0, le=100_000, description="How many belong there.")
    have: int = Field(ge=0, le=100_000, description="How many there are.")
    stops: bool = Field(False, description="Whether the unit cannot go without.")
    use_by: date | None = Field(None, description="Good until this day. None: it does not age.")


class Closed(Part):
    """A take-down that was entered: how the unit came home."""

    on: date
    hours: Hours
    fuel_l: Liters
    note: str = Field("", max_length=300)


class FleetUnit(Part):
    """One trailer with its tow vehicle. The tables `trailer`, `rig`, `radio`, `sky` are those of a mission's units."""

    name: str = Field(min_length=1, max_length=60, description="As it is called: on sheets, map and radio.")
    staging: str = Field("", max_length=60, description="Name of the staging point where it waits; empty: any.")
    away: str = Field("", max_length=200, description="Where it is out at present; empty: at home.")
    weighed: Weighed | None = Field(None, description="From a scale. None: never weighed.")
    powered_on: date | None = Field(None, description="Last day that generator, radio and dish ran. None: not known.")
    hours: Hours | None = Field(None, description="On the generator's counter. None: not known.")
    serviced_at_h: Hours | None = Field(None, description="The counter at the last service. None: not known.")
    fuel_l: Liters | None = Field(None, description="In the generator's tank. None: not known.")
    tank_l: Liters | None = Field(None, description="What the tank holds. None: not stated.")
    tires: Annotated[tuple[str, ...], Field(max_length=40)] = Field(
        (),
        description="Last four digits of each tire's DOT code, week and year: 2319 is week 23 of 2019 (49 CFR 574.5).",
    )
    faults: Annotated[tuple[Fault, ...], Field(max_length=200)] = Field((), description="What is broken.")
    inventory: Annotated[tuple[Item, ...], Field(max_length=500)] = Field((), description="What belongs into it.")
    closed: Annotated[tuple[Closed, ...], Field(max_length=2000)] = Field((), description="Take-downs, oldest first.")
    trailer: dict[str, Any] = Field({}, description="What differs of its trailer, as in a mission's units.")
    rig: dict[str, Any] = Field({}, description="The same of its tow vehicle.")
    radio: dict[str, Any] = Field({}, description="The same of its radio.")
    sky: dict[str, Any] = Field({}, description="The same of its dish and satellites.")

    @field_validator("tires")
    @classmethod
    def _week_and_year(cls, tires: tuple[str, ...]) -> tuple[str, ...]:
        for code in tires:
            if not (len(code) == 4 and code.isascii() and code.isdigit() and 1 <= int(code[:2]) <= 53):
                raise ValueError(f"{code[:20]!r} is no week and year of a DOT code; write e.g. 2319")
        return tires

    @model_validator(mode="after")
    def _figures_agree(self) -> FleetUnit:
        if self.fuel_l is not None and self.tank_l is not None and self.fuel_l > self.tank_l:
            raise ValueError(f"fuel_l {self.fuel_l:g} is more than tank_l {self.tank_l:g}")
        if self.hours is not None and self.serviced_at_h is not None and self.serviced_at_h > self.hours:
            raise ValueError(f"serviced_at_h {self.serviced_at_h:g} is later than hours {self.hours:g}")
        if self.weighed is not None and self.weighed.trailer_kg > self.weighed.rig_kg:
            raise ValueError("weighed.trailer_kg is more than weighed.rig_kg, which holds it")
        return self


class Rules(Part):
    """From when on something is due or overdue."""

    power_up_days: int = Field(
        31, ge=1, le=400, description="Due after so many days: monthly, 30 minutes under load (NFPA 110 section 8.4, "
        "from memory)."
    )  # fmt: skip
    power_up_most_days: int = Field(
        92, ge=1, le=800, description="Overdue after so many days: quarterly at least. Common practice, no source."
    )
    service_h: float = Field(250.0, gt=0, le=10_000, description="Generator hours between services; the manual "
        "overrides it. Common practice.")  # fmt: skip
    weigh_days: int = Field(365, ge=1, le=4000, description="Weighed again after so many days. Common practice.")
    tire_years: float = Field(
        6.0, gt=0, le=30, description="Tires are looked at by a dealer from this age on: vehicle makers name six to "
        "ten years whatever the tread (NHTSA tire safety pages, from memory)."
    )  # fmt: skip
    tire_most_years: float = Field(10.0, gt=0, le=30, description="And replaced from this age on. The same.")
    least_fuel_share: float = Field(0.9, ge=0, le=1, description="Of the tank, for a unit that waits. Common practice.")
    least_tongue_share: float = Field(0.10, ge=0, le=1, description="Of the trailer, on the hitch. Common practice.")
    most_tongue_share: float = Field(0.15, ge=0, le=1, description="The same, at most. Common practice.")


class Fleet(Part):
    """A fleet file."""

    name: str = Field("Fleet", max_length=120, description="Whose units these are.")
    rules: Rules = Rules()
    units: Annotated[tuple[FleetUnit, ...], Field(min_length=1, max_length=200)] = Field(description="As [[units]].")

    @model_validator(mode="after")
    def _names_differ(self) -> Fleet:
        names = [unit.name for unit in self.units]
        if len(set(names)) < len(names):
            raise ValueError("units need different names")
        return self


class TakeDown(Part):
    """What the crew writes down when the trailer is home again."""

    unit: str = Field(min_length=1, max_length=60, description="Its name, as in the fleet file.")
    on: date = Field(description="The day of the take-down.")
    hours: Hours = Field(description="On the generator's counter.")
    fuel_l: Liters = Field(description="Left in the tank.")
    faults: Annotated[tuple[Fault, ...], Field(max_length=200)] = Field((), description="What broke.")
    repaired: Annotated[tuple[Words, ...], Field(max_length=200)] = Field(
        (), description="Texts of faults that are gone."
    )
    counted: Annotated[tuple[Item, ...], Field(max_length=500)] = Field((), description="Items as they were counted.")
    serviced: bool = Field(False, description="Whether the generator was serviced.")
    note: str = Field("", max_length=300, description="Anything else.")


def load_fleet(path: str | Path) -> Fleet:
    """Read a fleet file (TOML, or JSON by its ending). Raises InputError naming file, field, remedy."""
    return Fleet.model_validate(_checked(Path(path), Fleet, "A fleet file"))


def load_take_down(path: str | Path) -> TakeDown:
    """Read a take-down record. Raises InputError naming file, field, remedy."""
    return TakeDown.model_validate(_checked(Path(path), TakeDown, "A take-down record"))


def _checked(path: Path, model: type[Part], what: str) -> dict[str, Any]:
    data = parsed(read_text(path, MOST_MISSION, what), as_json=path.suffix.lower() == ".json", file=path)
    if not isinstance(data, dict):
        raise InputError(f"{what} is a table of fields.", remedy="Start from the guide's page `ready`.", file=path)
    try:
        model.model_validate(data)
    except ValidationError as error:
        found = fault(error, model, data, str(path))
        remedy = "Correct the value; the guide's page `ready` lists the fields (siteplanner guide ready)."
        raise InputError(found.what, remedy=remedy, file=path, field=found.field) from None
    return data
