"""What one user has in hand: files, mission, run, plan. Held outside Streamlit's own session.

Streamlit forgets everything when a page is loaded again, and a tablet does that whenever it needs memory. So each
piece of work is held here under a secret name that stands in the page's address; nobody who does not have
the address can see it.
"""

from __future__ import annotations

import secrets
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from siteplanner.app.intake import Brought
    from siteplanner.app.running import Run
    from siteplanner.errors import SiteplannerError
    from siteplanner.planning.explain import Explanation
    from siteplanner.planning.model import Plan, RankedSpot

MAX_HELD = 12  # pieces of work; a plan of a county takes some hundred MB
IDLE_S = 24 * 3600.0
ADDRESS_KEY = "work"


@dataclass(eq=False)
class Work:
    """One user's work. `draft` is the mission as plain data, `base` the folder its paths start from."""

    token: str
    folder: tempfile.TemporaryDirectory = field(default_factory=lambda: tempfile.TemporaryDirectory("", "siteplanner-"))
    used: float = field(default_factory=time.monotonic)
    origin: str = ""  # where the mission came from, for the screen
    draft: dict[str, Any] | None = None
    base: Path = Path(".")
    edition: int = 0  # rises when another mission is opened, so that fields start afresh
    revision: int = 0  # rises when its settings are applied
    brought: list[Brought] = field(default_factory=list)
    saved: set[str] = field(default_factory=set)  # uploads that were dealt with, by Streamlit's id
    refused: dict[str, SiteplannerError] = field(default_factory=dict)
    check: Run | None = None
    run: Run | None = None
    plan: Plan | None = None  # under the weights of the moment
    planned: Plan | None = None  # as it came from the run
    chosen: str | None = None  # key of the spot in hand; None: the best, whichever it is
    asked: Explanation | None = None
    memory: dict[str, Any] = field(default_factory=dict)  # made from the plan: pictures, outputs

    @property
    def files(self) -> Path:
        path = Path(self.folder.name) / "files"
        path.mkdir(exist_ok=True)
        return path

    def open(self, draft: dict[str, Any] | None, base: Path, origin: str) -> None:
        """Start on another mission; what belonged to the last one is dropped."""
        self.stop()
        self.draft, self.base, self.origin = draft, base, origin
        self.edition, self.revision = self.edition + 1, 0
        self.check = self.run = self.plan = self.planned = self.asked = self.chosen = None
        self.memory.clear()

    def take(self, plan: Plan) -> None:
        """A plan has come; its best spot is in hand until another is chosen."""
        self.plan = self.planned = plan
        self.chosen = self.asked = None
        self.memory.clear()

    def stop(self) -> None:
        for run in (self.check, self.run):
            if run is not None:
                run.cancel()

    def spot(self) -> RankedSpot | None:
        """The spot in hand under the weights of the moment; the best when that one is no longer listed."""
        if self.plan is None or not self.plan.spots:
            return None
        return next((r for r in self.plan.spots if spot_key(r) == self.chosen), self.plan.spots[0])


def spot_key(ranked: RankedSpot) -> str:
    """A name for a spot that stays when ranks change."""
    return f"{ranked.spot.x:.1f}:{ranked.spot.y:.1f}"


_HELD: dict[str, Work] = {}
_LOCK = threading.Lock()


def work_of(token: str | None) -> Work:
    """The work of that name, or new work under a new secret name. The longest unused is dropped when many are held."""
    now = time.monotonic()
    with _LOCK:
        work = _HELD.get(token or "")
        if work is None:
            work = Work(secrets.token_urlsafe(12))
            _HELD[work.token] = work
        work.used = now
        order = sorted(_HELD.values(), key=lambda w: w.used)
        old = [w for w in order if now - w.used > IDLE_S] + order[: max(0, len(order) - MAX_HELD)]
        for dropped in {w.token: w for w in old if w is not work}.values():
            del _HELD[dropped.token]
            dropped.stop()
            dropped.folder.cleanup()
    return work
