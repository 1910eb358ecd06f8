"""What one user has in hand: files, mission, run, plan. Held outside Streamlit's own session.

Streamlit forgets everything when a page is loaded again, and a tablet does that whenever it needs memory. So each
piece of work is held here under a secret name that stands in the page's address; nobody who does not have
the address can see it.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from siteplanner.app.drawing import Drawn, load
from siteplanner.app.private import PassingFolder
from siteplanner.mission import Mission, mission_from_dict

if TYPE_CHECKING:
    from siteplanner.app.from_atlas import FromAtlas
    from siteplanner.app.intake import Brought
    from siteplanner.app.running import Run
    from siteplanner.errors import SiteplannerError
    from siteplanner.planning.atlas.answer import Quick
    from siteplanner.planning.choose.ranked import RankedSpot
    from siteplanner.planning.plan.explain import Explanation
    from siteplanner.planning.plan.model import Plan
    from siteplanner.planning.study.reuse import Kept

MAX_HELD = 12  # pieces of work that nobody looks at
MAX_FULL = 3  # of them, with their plans in memory: a plan of a county takes two hundred MB
IDLE_S, CLOSED_S, EMPTY_S = 24 * 3600.0, 3600.0, 60.0
"""Unused for so long, a piece of work may go: any; one beyond MAX_HELD; one in which nothing was done. After the last
of them, the plan of one beyond MAX_FULL waits on the disk."""
ADDRESS_KEY = "work"
CHOICES = ("weights", "compared", "ground", "report_number", "trailers")
"""Keys of what somebody chose on them, in the work's memory."""
T = TypeVar("T")


@dataclass(frozen=True)
class Away:
    """Where the plan lies, and what was chosen on its pages."""

    folder: Path
    chosen: str | None
    choices: dict[str, Any]


@dataclass(eq=False)
class Work:
    """One user's work. `draft` is the mission as plain data, `base` the folder its paths start from."""

    token: str
    folder: PassingFolder = field(default_factory=PassingFolder)
    used: float = field(default_factory=time.monotonic)
    origin: str = ""  # where the mission came from, for the screen
    draft: dict[str, Any] | None = None
    base: Path = Path(".")
    edition: int = 0  # rises when another mission is opened, so that fields start afresh
    revision: int = 0  # rises when its settings are applied
    brought: list[Brought] = field(default_factory=list)
    saved: set[str] = field(default_factory=set)  # uploads that were dealt with, by Streamlit's id
    own_names: dict[str, str] = field(default_factory=dict)  # name of a file that was kept -> as its user calls it
    refused: dict[str, SiteplannerError] = field(default_factory=dict)
    drawn: list[Drawn] = field(default_factory=list)  # shapes that are part of the mission
    pending: list[Drawn] = field(default_factory=list)  # shapes as they stand in the list, used or not
    drawn_edition: int = 0  # rises when the map of shapes starts afresh
    replaced: dict[str, str] = field(default_factory=dict)  # role -> the file that a drawn one stands for
    ground: tuple[Any, dict[str, Any]] | None = None  # what the map of shapes lies over
    check: Run | None = None
    run: Run | None = None
    run_of: Quick | None = None  # the answer from an atlas whose places the run judges
    atlas: FromAtlas | None = None  # the mission answered from an atlas
    atlas_folder: str = ""  # as it was typed
    opening: Run | None = None  # an earlier plan on its way from the disk
    kept: Kept | None = None  # results of the last run, cancelled or not, for the next
    note: str = ""  # what went wrong beside the plan itself, such as a full disk
    plan: Plan | None = None  # under the weights of the moment
    planned: Plan | None = None  # as it came from the run
    chosen: str | None = None  # key of the spot in hand; None: the best, whichever it is
    asked: Explanation | None = None
    report: dict[str, Any] = field(default_factory=dict)  # what the crew radioed back, as it was typed
    arrival: Run | None = None  # the place as it stands, being judged or judged
    again: Run | None = None  # a changed mission, planned again while the trailer stands
    papers: dict[str, Any] = field(default_factory=dict)  # records for the next shift: built, measured, again, incident
    kept_at: Path | None = None  # where the plan in hand is kept on the disk
    away: Away | None = None  # the plan left the memory while nobody looked at it
    pages: set[str] = field(default_factory=set)  # Streamlit's names of the pages that have shown this work
    memory: dict[str, Any] = field(default_factory=dict)  # made from the plan: pictures, outputs

    @property
    def files(self) -> Path:
        path = Path(self.folder.name) / "files"
        path.mkdir(exist_ok=True)
        return path

    def open(self, draft: dict[str, Any] | None, base: Path, origin: str) -> None:
        """Start on another mission; what belonged to the last one is dropped."""
        self.stop()
        self.kept = self.lend()
        self.draft, self.base, self.origin = draft, base, origin
        self.edition, self.revision = self.edition + 1, 0
        self.note, self.opening, self.ground, self.away = "", None, None, None
        self.drawn = load(base) if base.is_dir() else []
        self.pending, self.replaced = list(self.drawn), {}
        self.check = self.run = self.plan = self.planned = self.asked = self.chosen = None
        self.report, self.arrival, self.kept_at = {}, None, None
        self.again, self.papers = None, {}
        self.atlas = self.run_of = None
        self.memory.clear()

    def starting_shapes(self) -> list[Drawn]:
        """Shapes that the map starts with; the same until it starts afresh."""
        key = (self.edition, self.drawn_edition)
        if self.memory.get("starting_shapes", (None,))[0] != key:
            self.memory["starting_shapes"] = (key, list(self.pending))
        return cast(list, self.memory["starting_shapes"][1])

    def take(self, plan: Plan) -> None:
        """A plan has come; its best spot is in hand until another is chosen."""
        self.plan = self.planned = plan
        self.kept = plan.kept if plan.kept.results else self.kept
        self.chosen = self.asked = self.arrival = None
        shapes = self.memory.get("starting_shapes")
        self.memory.clear()
        if shapes is not None:
            self.memory["starting_shapes"] = shapes

    def take_finished(self) -> None:
        """Take the plan of a run that has come to its end while no page watched it."""
        run = self.run
        if run is not None and run.state == "done" and not run.seen:
            run.seen = True
            self.take(run.result)
            self._weigh_as_answered(run)

    def _weigh_as_answered(self, run: Run) -> None:
        """Weights that were moved over the answer from an atlas still stand where they were."""
        from siteplanner.planning.plan.pipeline import rescore

        weights = run.mission.weights if self.run_of is None else self.run_of.mission.weights
        if weights != run.mission.weights and self.planned is not None and self.planned.spots:
            self.memory["weights"] = weights.model_dump()
            self.plan = rescore(self.planned, weights, at_once=True)

    def lend(self) -> Kept | None:
        """What the next check or run may take over: each result is compared by content before it is."""
        kept = self.kept
        for run in (self.check, self.run):
            more = (
                run.kept
                if run is not None and run.kept is not None
                else getattr(run.result if run is not None else None, "kept", None)
            )
            if more is not None:
                kept = kept.joined(more) if kept is not None else more
        return kept

    def begin_check(self) -> None:
        """Vet the layers in the background. Raises InputError for a mission that is not one."""
        from siteplanner.app.running import Run, check_job, make_ready

        assert self.draft is not None
        mission = mission_from_dict(self.draft, base=self.base)
        lent = self.lend()
        if self.check is not None:
            self.check.cancel()
        self.check = Run(mission, partial(check_job, previous=lent), after=lambda _: make_ready()).start()

    def begin_plan(
        self, mission: Mission, names: Mapping[tuple[float, float], str] | None = None, quick: Quick | None = None
    ) -> None:
        """Plan in the background, from what is known already; the plan is kept on disk once it can be shown. `names`:
        what spots are called already; `quick`: an answer from an atlas, whose listed places are then judged in the
        place of a search. A second press for what is at work already changes nothing."""
        from siteplanner.app.running import Run, exact_job, plan_job

        at_work = self.run is not None and self.run.state == "running" and not self.run.stopping
        if at_work and self.run is not None and self.run.mission == mission and self.run_of is quick:
            return
        lent = self.lend()
        if self.run is not None:
            self.run.cancel()
        self.note, self.opening, self.away = "", None, None
        if self.atlas is not None:
            self.atlas.in_front = False
        self.run_of = quick
        planned = partial(plan_job, previous=lent, names=names)
        job = planned if quick is None else partial(exact_job, quick, previous=lent)
        self.run = Run(mission, job, after=self._keeper(), in_turn=True).start()

    def _keeper(self) -> Callable[[Plan], None]:
        """Writes a plan into the earlier work as the mission stands now."""
        from siteplanner.app import earlier, pace
        from siteplanner.outputs.log import told_by_run
        from siteplanner.planning.telling.units import reader_units
        from siteplanner.planning.telling.words import recommendation

        draft, base, files, origin = dict(self.draft or {}), self.base, self.files, self.origin

        def keep(plan: Plan) -> None:
            self.kept_at = None  # that of the plan before it
            if plan.reused.get("coverage", (0, 0))[0] == 0:  # the long part was not taken over
                pace.remember(earlier.pace_file(), pace_kind(plan.mission), plan.timings_s)
            try:
                self.kept_at = earlier.keep(plan, draft, base, files, origin, earlier.owner_of(self.token))
                told_by_run(self.kept_at, recommendation(plan, reader_units(plan.mission).first))
            except Exception as error:  # a plan that is on the screen is not lost for this
                why = (error.strerror if isinstance(error, OSError) else None) or f"{type(error).__name__}: {error}"
                self.note = (
                    f"This plan could not be kept on this computer ({why}). It is lost when the program "
                    "ends: take the deployment package from Downloads."
                )

        return keep

    def busy_elsewhere(self, is_active: Callable[[str], bool], mine: str) -> bool:
        """Whether another page that is open now holds this work."""
        return any(is_active(s) for s in self.pages if s != mine)

    def once(self, key: str, make: Callable[[], T]) -> T:
        """What `make` gives, made once for the plan in hand."""
        if key not in self.memory:
            self.memory[key] = make()
        return cast(T, self.memory[key])

    def stop(self) -> None:
        for run in (self.check, self.run, self.arrival, self.again, self._asked):
            if run is not None:
                run.cancel()

    @property
    def _asked(self) -> Run | None:
        return None if self.atlas is None else self.atlas.run

    @property
    def is_empty(self) -> bool:
        """Nothing was brought, opened or drawn: a page was merely looked at."""
        return self.draft is None and not (self.brought or self.saved or self.pending or self.refused)

    @property
    def runs(self) -> bool:
        """Whether anything is being worked out for it."""
        return any(
            r is not None and r.state == "running"
            for r in (self.check, self.run, self.opening, self.arrival, self.again, self._asked)
        )

    def spot(self) -> RankedSpot | None:
        """The spot in hand under the weights of the moment; the best when that one is no longer listed."""
        if self.plan is None or not self.plan.spots:
            return None
        return next((r for r in self.plan.spots if spot_key(r) == self.chosen), self.plan.spots[0])

    def list_chosen(self) -> None:
        """Work the spot in hand out in full where it was only judged so far."""
        from siteplanner.planning.plan.require import hand_over

        if self.plan is not None and self.chosen is not None:
            found = next((r for r in self.plan.judged if spot_key(r) == self.chosen), None)
            self.plan = self.plan if found is None else hand_over(self.plan, found.spot.key)


def put_away(work: Work) -> bool:
    """Let go the plan of work that nobody looks at, where the disk holds it as it stands. Whether it did so."""
    from siteplanner.planning.plan.require import required_now

    plan, planned, folder = work.plan, work.planned, work.kept_at
    if plan is None or planned is None or folder is None or not folder.is_dir() or work.runs:
        return False
    if work.arrival is not None or work.again is not None or work.papers or (work.run and work.run.writing):
        return False
    if required_now(plan) != required_now(planned):
        return False
    work.away = Away(folder, work.chosen, {key: work.memory[key] for key in CHOICES if key in work.memory})
    work.plan = work.planned = work.asked = work.kept = None
    work.run = work.check = work.opening = None
    work.atlas = work.run_of = None  # asked again in seconds
    work.memory.clear()
    return True


def pace_kind(mission: Mission) -> str:
    """Runs of one kind take about the same time: the same layers, searched the same way."""
    held = {k: mission.parameters()[k] for k in ("layers", "search", "staging")}
    return hashlib.sha256(json.dumps([held, str(mission.base)]).encode()).hexdigest()[:16]


def others_open(mine: Work, page: str, is_active: Callable[[str], bool]) -> set[str]:
    """Owner marks of work that somebody else has open on another page right now."""
    from siteplanner.app.earlier import owner_of

    with _LOCK:
        held = list(_HELD.values())
    return {owner_of(w.token) for w in held if w is not mine and w.busy_elsewhere(is_active, page)}


def spot_key(ranked: RankedSpot) -> str:
    """A name for a spot that stays when ranks change."""
    return f"{ranked.spot.x:.1f}:{ranked.spot.y:.1f}"


_HELD: dict[str, Work] = {}
_LOCK = threading.Lock()


def work_of(token: str | None, is_active: Callable[[str], bool] = lambda page: False) -> Work:
    """The work of that name, or new work under a new secret name.

    What nobody has used for long goes then, with its files; never one that runs or that is open on a page
    (`is_active`): however many pages are loaded, nobody loses work by it.
    """
    now = time.monotonic()
    with _LOCK:
        work = _HELD.get(token or "")
        if work is None:
            work = Work(secrets.token_urlsafe(24))
            _HELD[work.token] = work
        work.used = now
        idle = [w for w in _HELD.values() if w is not work and not w.runs]
        for held in list(idle):
            if any(map(is_active, list(held.pages))):
                held.used = now
                idle.remove(held)
        full = sorted((w for w in idle if not w.is_empty), key=lambda w: w.used)
        spare = full[: max(0, len(full) - MAX_HELD)]
        for w in full:
            w.take_finished()  # of a page that was closed during its run
        planned = [w for w in full if w.planned is not None]
        for w in planned[: max(0, len(planned) - MAX_FULL)]:
            if now - w.used > EMPTY_S:
                put_away(w)
        for w in idle:
            age = now - w.used
            if age > IDLE_S or (w.is_empty and age > EMPTY_S) or (w in spare and age > CLOSED_S):
                del _HELD[w.token]
                w.folder.cleanup()
    return work
