"""What the app says on its own pages: the run, the place asked about, the drive as plain lines."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.timeline import Moments
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluation import Access, Coverage
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.telling import service
from siteplanner.planning.telling.certainty import weights_words
from siteplanner.planning.telling.directions import step_words
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.signal_words import under
from siteplanner.planning.telling.sky import horizon_text, look_state, margin_text
from siteplanner.planning.telling.units import METRIC, Units


def would_rank_words(where: str, rank: int | None, points: str) -> str:
    """Which place a point that passes would take; `where` as the user writes places, `points` as they are shown."""
    return f"{where} would rank {rank} with {points} points."


def look_words(look: Look, bearing: str, units: Units = METRIC) -> str:
    """Where the satellite stands and by how much it clears the skyline; `bearing` true and magnetic."""
    return (
        f"{units.angle(look.elevation_deg)} up at {bearing}, skyline {horizon_text(look, units)}, margin "
        f"{margin_text(look, units)}, {look_state(look)}"
    )


def served_words(coverage: Coverage, units: Units = METRIC) -> str:
    """How much is served with the mast at its stop."""
    return f"{service.served_words(coverage, units)} with the mast at {units.stop(coverage.mast_height_m)}"


def drive_words(distance_m: float | None, time_s: float | None, units: Units = METRIC) -> str:
    """Length and time of a drive: `12.3 km, 24 min`."""
    return f"{units.distance(distance_m)}, {units.seconds(time_s)}"


def last_leg_words(access: Access, units: Units = METRIC) -> str:
    """The way from the road to the spot."""
    return f"Last leg: {units.distance(access.last_leg_m)} over ground to the spot. A spotter walks ahead."


def hazards_words(told_step_hazards: Sequence, units: Units = METRIC) -> str:
    """The hazards behind a step, each with where on the drive it lies."""
    return "; ".join(f"{ahead_words(h, units)}, at {units.distance(h.running_m)}" for h in told_step_hazards)


def drive_lines(ranked: RankedSpot, access: Access, told: Told, where: str, units: Units = METRIC) -> list[str]:
    """The drive as plain lines, to be copied into a message."""
    drive = drive_words(access.drive_distance_m, access.drive_time_s, units)
    lines = [f"Drive to spot {ranked.spot.name} at {where}: {drive}."]
    for number, step in enumerate(told.steps, 1):
        lines.append(f"{number}. At {units.distance(step.running_m)}: {step_words(step, units)}.")
        lines += [
            f"   {under(h.severity, f'at {units.distance(h.running_m)}{units.colon}{ahead_words(h, units)}')}."
            for h in step.hazards
        ]
    return [*lines, last_leg_words(access, units)]


def breakdown_words(spot: str, points: str) -> str:
    """Above the table of criteria of one spot."""
    return f"Spot {spot}: where the {points} points come from"


def dish_aim_words(true: str, magnetic: str, elevation_deg: float, units: Units = METRIC) -> str:
    """Where the dish points, in one line to set it by; the bearings as they are written."""
    return f"Dish {true} true, {magnetic} magnetic, {units.angle(elevation_deg)} up"


def link_aim_words(true: str, magnetic: str, up: str) -> str:
    """Where the antenna of a donor link points."""
    return f"Link antenna {true} true, {magnetic} magnetic, {up}"


def cells_words(cell_size_m: float, units: Units = METRIC) -> str:
    """How fine the elevation is."""
    return f"{units.length(cell_size_m)}: nothing finer is known"


def together_words(air: Moments, units: Units = METRIC) -> str:
    """When service starts, below the parts that lead to it."""
    return (
        f"On air {air.early_min:.0f} to {units.figure(air.late_min, 'min')} after dispatch in 9 of 10 cases, "
        f"{air.mean_min:.0f} on average: seldom are all parts quick or all slow at once."
    )


def lead_now_words(plan: Plan, units: Units = METRIC) -> str:
    """Which spot leads under the weights of the moment, and how firmly; '' where there is nothing to lead."""
    firm = plan.firmness
    if plan.best is None or firm is None or len(plan.spots) < 2:
        return ""
    head = f"Rank 1 now: {plan.best.spot.name}, {firm.lead_points:.1f} points ahead."
    return f"{head} {weights_words(firm, plan.mission, units)}"


def done_words(plan: Plan, seconds: float) -> str:
    """What a run did."""
    candidates = plan.search.candidates if plan.search is not None else 0
    return (
        f"Done in {seconds:.0f} s: {len(plan.spots)} spots listed of {len(plan.judged)} that pass, {candidates} "
        "candidates evaluated."
    )


def vetted_words(files: int, grave: int) -> str:
    """What the check of the layers came to, behind its verdict."""
    findings = f"{grave} things to know before you rely on the plan." if grave else "no problems found."
    return f"{files} files read; {findings}"


def left_words(seconds: float | None, units: Units = METRIC) -> str:
    """`about 20 s left`; '' when not known."""
    if seconds is None:
        return ""
    if seconds < 8:
        return "a few seconds left"
    if seconds < 95:
        return f"about {round(seconds / 10) * 10 or 10} s left"
    return f"about {units.seconds(seconds)} left"


def elapsed_words(what: str, seconds: float) -> str:
    """A job that runs, and for how long: `Opening the plan, 3 s`."""
    return f"{what}, {seconds:.0f} s"


def progress_words(stage: str, share: float, seconds: float) -> str:
    """Where a run is: `Judging spots: 40 % after 12 s`."""
    return f"{stage}: {METRIC.figure(100 * share, '%')} after {seconds:.0f} s"


def machine_time_words(seconds: float, units: Units = METRIC) -> str:
    """How long a run took on this machine."""
    return f"Time on this machine: {units.seconds(seconds)}."
