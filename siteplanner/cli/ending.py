"""How a command ends: errors become one sentence and an exit code."""

from __future__ import annotations

import errno
import gc
import os
import signal
import sys
from collections.abc import Callable
from typing import Any

import typer

from siteplanner.cli.commands import app
from siteplanner.cli.letters import speak_plainly
from siteplanner.cli.screen import asked_to_end, stderr
from siteplanner.errors import Cancelled, SiteplannerError
from siteplanner.outputs.words.text import message

GARBAGE_AFTER = (20_000, 20, 20)
"""Objects made before the collector looks round, and how often it looks farther: a run makes hundreds of thousands that
stay; the interpreter's own 700 cost the county a tenth of its processor time, with what it took to touch the pages."""


def _end(number: int, frame: Any) -> None:
    asked_to_end.set()
    signal.default_int_handler(number, frame)


def main(argv: list[str] | None = None) -> None:
    """Entry point: errors become one sentence and an exit code, never a traceback."""
    gc.set_threshold(*GARBAGE_AFTER)
    signal.signal(signal.SIGTERM, _end)  # asked to end: tidy up as for Ctrl-C
    for stream in (sys.stdout, sys.stderr):
        speak_plainly(stream)
    code = run(lambda: app(args=argv, standalone_mode=False))
    flushed = run(sys.stdout.flush)
    _mute(sys.stdout)
    sys.exit(code or flushed)


def _mute(stream: Any) -> None:
    """What cannot be written any more must not become a message of the interpreter when it ends."""
    try:
        stream.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def run(call: Callable[[], Any]) -> int:
    """Exit code of a command."""
    try:
        result = call()
        if result == 130:  # the command line library has turned Ctrl-C into a code, without a word
            raise KeyboardInterrupt
    except SiteplannerError as error:
        stderr.print(
            message(f"{'Stopped' if isinstance(error, Cancelled) else 'Error'}: {error}"),
            style="bold red",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )
        return 130 if isinstance(error, Cancelled) else 2
    except (KeyboardInterrupt, typer.Abort):
        stderr.print("Interrupted; nothing was written.", style="yellow")
        return 130
    except typer.Exit as error:
        return error.exit_code
    except BrokenPipeError:  # nobody reads on, as in `siteplanner plan ... | head -1`: the work is done
        return 0
    except MemoryError:
        stderr.print(
            "Error: this machine ran out of memory. Remedy: Set a larger search.cell_size_m, or a smaller "
            "search.radius_m or radio.max_radius_m.",
            style="bold red",
        )
        return 2
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EIO):
            raise
        stderr.print(
            f"Printing the result failed ({error.strerror}); files named as written are whole.", style="bold red"
        )
        return 2
    except Exception as error:
        show = getattr(error, "show", None)  # a usage error of the command line library, whichever it rests on
        if show is None:
            raise
        show()
        return 2
    return int(result) if isinstance(result, int) else 0
