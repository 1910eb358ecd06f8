"""What the public incident forms ask beside the plan: names, numbers, periods, channels, people, resources.

Fields are those of ICS 201 Incident Briefing, ICS 205 Incident Radio Communications Plan and ICS 214 Activity Log as
FEMA's forms and their instructions have them (NIMS ICS Forms; the booklet's number, FEMA 502-2, is from memory; block
numbers beside each field). Everything may be left out: what nobody stated stays blank.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BeforeValidator, Field, ValidationError, model_validator

from siteplanner.data.plain_text import parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.parts import Part

INCIDENT = "incident.toml"
MOST_INCIDENT = 1 << 20  # bytes
MOST_ROWS = 100
Words = Annotated[str, Field(max_length=300)]
Texts = Annotated[tuple[Annotated[str, Field(min_length=1, max_length=600)], ...], Field(max_length=MOST_ROWS)]


def _figure(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("A number is needed, not yes or no")
    return value


Megahertz = Annotated[Annotated[float, BeforeValidator(_figure), Field(gt=0, le=100_000)] | None, Field()]


class Channel(Part):
    """One row of ICS 205 block 4. Frequencies are those that a radio in somebody's hand is set to."""

    zone: Words = Field("", description="Zone or group.")
    channel: Words = Field("", description="Channel number in that zone.")
    function: Words = Field("", description="What it is for: command, tactical, ground to air, support, dispatch.")
    name: Words = Field("", description="Channel name or trunked talkgroup.")
    assignment: Words = Field("", description="Who uses it.")
    rx_mhz: Megahertz = Field(None, description="The radio hears on this.")
    rx_width: Literal["", "N", "W"] = Field("", description="Narrow or wide.")
    rx_tone: Words = Field("", description="Tone or NAC heard.")
    tx_mhz: Megahertz = Field(None, description="The radio sends on this.")
    tx_width: Literal["", "N", "W"] = Field("", description="Narrow or wide.")
    tx_tone: Words = Field("", description="Tone or NAC sent.")
    mode: Literal["", "A", "D", "M"] = Field("", description="Analog, digital or mixed.")
    remarks: Words = Field("", description="Anything else.")


class Person(Part):
    """Somebody with a position: ICS 201 block 9, ICS 214 block 6."""

    name: Words = Field(description="Who.")
    position: Words = Field("", description="ICS position or title.")
    agency: Words = Field("", description="Home agency and unit.")


class Resource(Part):
    """One row of ICS 201 block 10."""

    resource: Words = Field(description="What was ordered.")
    identifier: Words = Field("", description="Its designator.")
    ordered_at: AwareDatetime | None = Field(None, description="When it was ordered.")
    eta: Words = Field("", description="When it is expected.")
    arrived: bool | None = Field(None, description="Whether it is there.")
    notes: Words = Field("", description="Location, assignment, status.")


class Incident(Part):
    """The heads of the forms and what the plan cannot know."""

    name: Words = Field("", description="ICS 201, 205, 214 block 1. Empty: the mission's name.")
    number: Words = Field("", description="ICS 201 block 2.")
    initiated_at: AwareDatetime | None = Field(None, description="ICS 201 block 3.")
    period_from: AwareDatetime | None = Field(None, description="Operational period: ICS 205 block 3, ICS 214 block 2.")
    period_to: AwareDatetime | None = Field(None, description="The same, its end.")
    unit: Words = Field("", description="ICS 214 block 3: the unit or resource that the log is of.")
    position: Words = Field("", description="ICS 214 block 4: position of whoever leads it.")
    agency: Words = Field("", description="ICS 214 block 5: home agency and unit.")
    situation: Annotated[str, Field(max_length=4000)] = Field("", description="ICS 201 block 5, beside the plan's own.")
    objectives: Texts = Field((), description="ICS 201 block 7.")
    people: Annotated[tuple[Person, ...], Field(max_length=MOST_ROWS)] = Field(
        (), description="ICS 201 block 9, ICS 214 block 6."
    )
    resources: Annotated[tuple[Resource, ...], Field(max_length=MOST_ROWS)] = Field((), description="ICS 201 block 10.")
    channels: Annotated[tuple[Channel, ...], Field(max_length=MOST_ROWS)] = Field(
        (), description="ICS 205 block 4, beside the trailer's own cell."
    )
    special_instructions: Annotated[str, Field(max_length=4000)] = Field("", description="ICS 205 block 5.")
    prepared_by: Words = Field("", description="ICS 201 block 6, ICS 205 block 6, ICS 214 block 8: name.")
    prepared_position: Words = Field("", description="The same: position or title.")

    @model_validator(mode="after")
    def _in_order(self) -> Incident:
        if self.period_from is not None and self.period_to is not None and self.period_to <= self.period_from:
            raise ValueError("period_to is after period_from")
        return self


def load_incident(path: Path) -> Incident:
    """Read an incident file (TOML, or JSON by its ending). Raises InputError naming file, field and remedy."""
    data = parsed(read_text(path, MOST_INCIDENT, "An incident file"), as_json=path.suffix.lower() == ".json", file=path)
    if not isinstance(data, dict):
        raise InputError(
            "An incident file is a table of fields.", remedy="Start from the guide's page `handover`.", file=path
        )
    try:
        return Incident.model_validate(data)
    except ValidationError as error:
        raise fault(error, Incident, data, str(path), "`siteplanner guide handover` lists the fields") from None
