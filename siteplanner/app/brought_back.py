"""A plan that left the memory while nobody looked at it (`session.put_away`) comes back with its page."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from siteplanner.errors import InputError

if TYPE_CHECKING:
    from siteplanner.app.session import Work

SHOWN_ON = ("run", "decide", "spot", "downloads", "after_arrival")
"""The pages, by their addresses, that show the plan."""


def is_back(work: Work) -> bool:
    """Whether the plan is in hand again, or cannot be; while it is on its way, a word on that is drawn."""
    from siteplanner.app import earlier
    from siteplanner.app.earlier_work import open_job, watch
    from siteplanner.app.running import Run
    from siteplanner.app.weighing import weigh
    from siteplanner.mission import mission_from_dict

    away = work.away
    if away is None or work.draft is None:
        return True
    if work.opening is None:
        item = next((e for e in earlier.listed() if e.folder == away.folder and e.whole), None)
        if item is None:
            work.away = None
            raise InputError("The plan is no longer kept on this computer.", remedy="Run the mission again.")
        work.opening = Run(mission_from_dict(work.draft, base=work.base), partial(open_job, item=item)).start()
    run = work.opening
    if run.state == "running":
        watch(run)
        return False
    work.away = work.opening = None
    if run.error is not None:
        raise run.error
    if run.result is not None:
        work.take(run.result)
        work.memory |= away.choices
        if "weights" in work.memory:
            weigh(work, {})
        work.chosen = away.chosen
        work.list_chosen()
    return True
