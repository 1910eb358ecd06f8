"""A check or a plan in a thread of its own, so that the page stays alive, shows progress and can cancel."""

from __future__ import annotations

import atexit
import contextlib
import gc
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from siteplanner.errors import Cancelled, SiteplannerError
from siteplanner.mission import Mission
from siteplanner.planning.study.progress import SHARES

if TYPE_CHECKING:
    from siteplanner.planning.atlas.answer import Quick

SPARE_S = 0.3  # how often what a run has made is set apart from the garbage collector
CLOSING_S = 30.0  # what the program waits at its end for plans that are still being written
State = Literal["running", "done", "failed", "cancelled"]


@dataclass(eq=False)
class Run:
    """One piece of work in the background.

    `stages` are (words, seconds) of what is behind; `result` is there when `state` is `done`, `error` when it is
    `failed`. The thread holds no reference to a page: closing the browser does not end it, `cancel` does.
    """

    mission: Mission
    job: Callable[[Mission, Callable[[str, float], None]], Any]
    state: State = "running"
    stage: str = "Starting"
    share: float = 0.0
    stages: list[tuple[str, float]] = field(default_factory=list)
    result: Any = None
    kept: Any = None  # of a cancelled plan: what the next run may take over
    error: SiteplannerError | None = None
    seconds: float = 0.0
    seen: bool = False  # the page has acted on the end
    after: Callable[[Any], None] | None = None  # gets the result when the page can have it; the program waits for it
    in_turn: bool = False  # waits until no other such run is at work: two plans at once would starve each other
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None
    _since: float = 0.0
    _stage_since: float = 0.0
    _stage_share: float = 0.0  # overall, when the stage began
    _spared: float = 0.0

    def start(self) -> Run:
        self._since = time.monotonic()
        self._thread = threading.Thread(target=self._work, name="siteplanner-run", daemon=True)
        self._thread.start()
        return self

    def cancel(self) -> None:
        """Ask the run to stop; it does so at its next step."""
        self._stop.set()

    @property
    def stopping(self) -> bool:
        return self._stop.is_set() and self.state == "running"

    @property
    def writing(self) -> bool:
        """Whether the result is on the screen and not yet on the disk."""
        return self in _FINISHING

    @property
    def elapsed_s(self) -> float:
        return time.monotonic() - self._since if self.state == "running" else self.seconds

    @property
    def stage_part(self) -> float:
        """How much of the stage at hand is done, 0..1."""
        whole = SHARES.get(self.stage, 0.0)
        return min(max((self.share - self._stage_share) / whole, 0.0), 1.0) if whole else 0.0

    @property
    def stage_s(self) -> float:
        """Seconds in the stage at hand."""
        return time.monotonic() - self._stage_since

    def wait(self, timeout_s: float | None = None) -> None:
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _progress(self, stage: str, share: float) -> None:
        if self._stop.is_set():
            raise Cancelled()
        if stage != self.stage:
            now = time.monotonic()
            if self.stage != "Starting":
                self.stages.append((self.stage, now - self._stage_since))
            self.stage, self._stage_since, self._stage_share = stage, now, share
        self.share = min(max(share, self.share), 1.0)
        self._spare()

    def _spare(self) -> None:
        """Streamlit collects garbage after every turn of every page, so that each look at the progress would walk
        through all that a run has made: a plan took five times its own time. What is frozen is passed over; it is
        still freed when nothing refers to it, and cycles are looked for when the next run starts."""
        now = time.monotonic()
        if now - self._spared > SPARE_S:
            self._spared = now
            gc.freeze()

    def _work(self) -> None:
        self._stage_since = time.monotonic()
        gc.unfreeze()
        gc.collect()
        gc.freeze()
        try:
            with _turn(self) if self.in_turn else contextlib.nullcontext():
                self._since = self._stage_since = time.monotonic()
                self.result = self.job(self.mission, self._progress)
            if self._stop.is_set():
                raise Cancelled()
            self.stages.append((self.stage, time.monotonic() - self._stage_since))
            end: State = "done"
        except Cancelled as stopped:
            self.result, self.kept, end = None, stopped.kept, "cancelled"
        except SiteplannerError as error:
            self.error, end = error, "failed"
        except MemoryError:
            self.error = SiteplannerError(
                "This machine ran out of memory.", remedy="Set a larger search.cell_size_m or a smaller search radius."
            )
            end = "failed"
        except (
            BaseException
        ) as error:  # a panic of a compiled library is no Exception, and the page would wait for ever
            # the page shows one sentence; whoever mends the program finds the rest on the terminal
            traceback.print_exc()
            self.error = SiteplannerError(
                f"The program failed ({type(error).__name__}: {error}).",
                remedy="Try again. If it fails again, send the terminal output to your administrator.",
            )
            end = "failed"
        gc.freeze()
        self.seconds = time.monotonic() - self._since
        if self.after is None or end != "done":
            self.state = end
            return
        _FINISHING.add(self)
        self.state = end
        try:
            self.after(self.result)
        finally:
            gc.freeze()
            _FINISHING.discard(self)


@dataclass(frozen=True, eq=False)
class Checked:
    """Layers that can be used, with what was found, the study for the map, and what a run need not read again."""

    inputs: tuple[Any, ...]
    findings: tuple[Any, ...]
    study: Any
    kept: Any
    fit: Any = None  # what a run takes of memory and time


def check_job(mission: Mission, progress: Callable[[str, float], None], previous: Any = None) -> Checked:
    """Read and vet every layer, as `siteplanner check` does; `previous` (a Kept) need not be read again."""
    from siteplanner.outputs.sheets.fonts import extra_fonts
    from siteplanner.planning.plan.detail import forecast_of
    from siteplanner.planning.study.cost import fit_of
    from siteplanner.planning.study.load import load_study
    from siteplanner.planning.study.progress import Stages
    from siteplanner.planning.study.reuse import Reuse

    extra_fonts(mission)
    forecast_of(mission)
    reuse = Reuse(previous)
    study = load_study(mission, Stages(progress), reuse)
    return Checked(study.inputs, study.findings, study, reuse.kept, fit_of(study))


def make_ready() -> None:
    """While the findings are being read: load what a plan needs once in a program's life (3 s of libraries and tables).

    A failure here is no news: the plan meets the same and says it.
    """
    if not _READY.acquire(blocking=False):
        return

    def load() -> None:
        with contextlib.suppress(Exception):
            from siteplanner.planning.plan.pipeline import plan  # noqa: F401
            from siteplanner.planning.site.rain import attenuation_db

            attenuation_db(0.0, 0.0, 0.0, 45.0, 45.0, 12.0, 1.0, 1.0)
            gc.freeze()

    threading.Thread(target=load, name="siteplanner-ready", daemon=True).start()


def plan_job(mission: Mission, progress: Callable[[str, float], None], previous: Any = None, names: Any = None) -> Any:
    """The main job. The result is the plan; `names`: what spots are called already."""
    progress("Starting (the first run on a machine takes up to a minute longer)", 0.0)
    from siteplanner.outputs.sheets.fonts import extra_fonts
    from siteplanner.planning.plan.pipeline import plan

    extra_fonts(mission)  # the sheets come last: a font that is none is told before the work
    return plan(mission, progress, previous, names)


def exact_job(quick: Quick, mission: Mission, progress: Callable[[str, float], None], previous: Any = None) -> Any:
    """The listed places of an answer from an atlas, judged exactly. The result is the plan."""
    progress("Starting (the first run on a machine takes up to a minute longer)", 0.0)
    from siteplanner.outputs.sheets.fonts import extra_fonts
    from siteplanner.planning.atlas.answer import exact_plan

    extra_fonts(mission)
    return exact_plan(quick, mission, progress, previous)


WAITING = "Waiting until another plan is done"
_QUEUE: deque[Run] = deque()
_MOVES = threading.Condition()


@contextlib.contextmanager
def _turn(run: Run) -> Iterator[None]:
    """The turn of a run: first come, first served; while it waits it can be cancelled. Raises Cancelled."""
    with _MOVES:
        _QUEUE.append(run)
    try:
        with _MOVES:
            while _QUEUE[0] is not run:
                run.stage = WAITING
                if run._stop.is_set():
                    raise Cancelled()
                _MOVES.wait(0.2)
            run.stage = "Starting"
        yield
    finally:
        with _MOVES:
            _QUEUE.remove(run)
            _MOVES.notify_all()


_READY = threading.Lock()  # taken for good by the first who makes ready
_FINISHING: set[Run] = set()  # runs whose result is on the screen and not yet on the disk


@atexit.register
def _finish() -> None:
    """The program ends only when plans that have been shown have also been written."""
    until = time.monotonic() + CLOSING_S
    for run in list(_FINISHING):
        run.wait(max(0.0, until - time.monotonic()))
