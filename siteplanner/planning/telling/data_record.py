"""What the metadata record of the GIS package says: what the data are, what they came from, how far to trust them."""

from __future__ import annotations

from siteplanner.data.records import InputRecord
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.inputs import holds_words
from siteplanner.planning.telling.prediction import cover_sentence, prediction_sentence, probability_meaning
from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.planning.telling.words import BEFORE_ACTING, recommendation

PURPOSE = "To decide where to park a communications trailer, how to get it there and what it will serve."


def abstract_words(plan: Plan, units: Units = METRIC) -> str:
    """What the data set is, and its answer."""
    judged, listed = len(plan.judged), len(plan.spots)
    return (
        f"Where a towable communications trailer can stand, for the mission {plan.mission.name}: {judged} judged "
        f"spots, {listed} of them calculated in full, with drives, limits, predicted service and what limits it. "
        f"{recommendation(plan, units)}"
    )


def lineage_words(plan: Plan) -> str:
    """How it was made, in one paragraph."""
    name, version = plan.software.get("name", "siteplanner"), plan.software.get("version", "")
    return (
        f"Computed by {name} {version} from {len(plan.inputs)} input files, each named here with the SHA-256 of its "
        "bytes: limits cell by cell over the search ground, candidate spots, then ground, sky, service, backhaul and "
        "way in of each. Every parameter as used stands in plan.json."
    )


def source_words(record: InputRecord) -> str:
    """One input file: what it was used as, what it holds, its fingerprint."""
    extent = ", ".join(f"{v:.5f}" for v in record.extent_lonlat)
    unit = f" Heights in {record.unit}." if record.unit else ""
    return (
        f"{record.role}: {record.file}. {holds_words(record.held)}. CRS {record.crs}.{unit} "
        f"West, south, east, north {extent} degrees. SHA-256 {record.sha256}."
    )


def accuracy_words(plan: Plan) -> tuple[str, ...]:
    """What is known of how good the figures are."""
    radio, grid = plan.mission.radio, plan.scene.elevation
    cell, served = METRIC.length(grid.cell_size_m), METRIC.length(grid.cell_size_m * plan.scene.area_step)
    return (
        f"Cells of {cell} for limits, of {served} for service: no line of the limits is closer than half a cell.",
        prediction_sentence(radio, METRIC),
        probability_meaning(radio, METRIC),
        cover_sentence(plan.mission, plan.findings, METRIC),
    )


def use_limits(plan: Plan) -> tuple[str, ...]:
    """What the data must not be used for, or not alone."""
    return (
        "A planning aid for one incident and one unit; out of date when the incident, roads or weather change.",
        *(f"{word}: {text}" for word, text in BEFORE_ACTING),
    )
