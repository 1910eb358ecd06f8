"""What the command line prints with: the two consoles, text made harmless, findings, JSON, a progress bar."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.markup import escape

from siteplanner.cli.letters import json_for
from siteplanner.errors import Finding
from siteplanner.outputs.words.text import clean, message

if TYPE_CHECKING:
    from siteplanner.mission import Mission
    from siteplanner.planning.study.cost import Fit
    from siteplanner.planning.telling.units import Units


class _Screen(Console):
    """A console that lets whoever called know that nobody reads it any more."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


asked_to_end = Event()
"""Set by the signal to end: a library may have swallowed the interruption itself."""


def _go_on() -> None:
    if asked_to_end.is_set():
        raise KeyboardInterrupt


stderr = _Screen(stderr=True)
stdout = _Screen(soft_wrap=True)


def print_json(value: Any) -> None:
    from siteplanner.outputs.write import json_text

    print(json_for(sys.stdout, json_text(value)))


def say_finding(finding: Finding, mission: Mission | None = None, units: Units | None = None) -> None:
    """A finding in the units of its mission, or in those given."""
    from siteplanner.planning.telling.findings import said
    from siteplanner.planning.telling.signal_words import signal_word
    from siteplanner.planning.telling.units import METRIC, reader_units

    units = units or (METRIC if mission is None else reader_units(mission).first)
    words, severity = said(finding, units), finding.severity
    style = {"warning": "bold red", "note": "dim"}.get(severity, "yellow")
    where = f" [{Path(finding.file).name}]" if finding.file else ""
    text = f"{signal_word(severity)}{where}: {words.message} {words.remedy}"
    stderr.print(message(text), style=style, markup=False, highlight=False, soft_wrap=True)


def note_run(folder: Path, text: str, spot: str = "", **more: Any) -> None:
    """What a run has done, into the log of a plan's folder; where that fails it is said and nothing else is lost."""
    from siteplanner.outputs.log import told_by_run

    failed = told_by_run(folder, text, spot, **more)
    if failed:
        stderr.print(message(failed), style="yellow", markup=False, highlight=False, soft_wrap=True)


def say_cost(fit: Fit, mission: Mission) -> None:
    """What a run will take, before it starts."""
    from siteplanner.planning.telling.cost import cost_words
    from siteplanner.planning.telling.units import reader_units

    style = "bold red" if fit.tight else None
    words = cost_words(fit, reader_units(mission).first)
    stderr.print(message(words), style=style, markup=False, highlight=False, soft_wrap=True)


def safe(text: str) -> str:
    """Text for the terminal: no escape sequence, forced direction or markup of a name gets through."""
    return escape(clean(text))


@contextmanager
def bar_of(quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """A progress callable shown as a bar on stderr; silent when asked or when stderr is not a terminal."""
    if quiet or not stderr.is_terminal:
        yield lambda stage, share: _go_on()
        return
    from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    with Bar(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        console=stderr,
        transient=True,
    ) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda stage, share: bar.update(task, description=stage, completed=share)


@contextmanager
def named(mission: Path) -> Iterator[None]:
    """A field of the mission that is at fault is named with the mission's file."""
    from siteplanner.errors import InputError

    try:
        yield
    except InputError as error:
        if error.file is not None or error.field is None:
            raise
        raise error.placed(file=mission) from error
