"""What a piece of work holds of an atlas: the mission that was asked of it, its answer, and the weights over that."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from siteplanner.app.running import Run
from siteplanner.mission import Mission, Weights

if TYPE_CHECKING:
    from siteplanner.planning.atlas.answer import Quick


@dataclass(eq=False)
class FromAtlas:
    """One mission asked of one atlas. `weights`: where the sliders stand; `shown`: the answer by them."""

    mission: Mission
    folder: Path
    run: Run
    in_front: bool = True  # whether the page Run shows it, not a run
    weights: dict[str, float] = field(default_factory=dict)
    shown: Quick | None = None

    def to_front(self) -> str:
        """Show the answer again."""
        self.in_front = True
        return "run"

    def weigh(self, moved: dict[str, float]) -> None:
        """Rank by the weights as they stand; all at 0 says nothing, and the last ranking stays. The sets follow when
        they are drawn."""
        self.weights.update(moved)
        if self.shown is not None and sum(self.weights.values()) > 0:
            self.shown = self.run.result.quick.weighed(Weights(**self.weights), at_once=True)

    def whole(self) -> Quick:
        """The answer by the weights as they stand, with its sets."""
        assert self.shown is not None
        if not self.shown.sets:
            self.shown = self.shown.weighed(self.shown.mission.weights)
        return self.shown
