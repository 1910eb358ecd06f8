"""Who may change a folder now: claims that end with their process, turns between runs, interruptions that wait."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

try:
    import fcntl
except ImportError:  # not on every system
    fcntl = None  # type: ignore[assignment]


def lock(folder: Path, *, wait: bool) -> int | None:
    """A handle that holds a folder for this process until it is closed or the process ends; None: not to be had."""
    if fcntl is None:
        return None
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError:
        os.close(handle)
        return None
    return handle


def locks_work(folder: Path) -> bool:
    """Whether a folder can be held at all: not on every system, nor on every file system."""
    if fcntl is None:
        return False
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:  # somebody else holds it
        return True
    except OSError:
        return False
    finally:
        os.close(handle)
    return True


@contextmanager
def turn(folder: Path) -> Iterator[None]:
    """Wait until no other run makes, switches or removes work of a folder: the one above it is held meanwhile, or,
    where that cannot be opened, the folder itself (which then never changes places: `Switch.beside`)."""
    handle = lock(folder.parent, wait=True)
    if handle is None:
        handle = lock(folder, wait=True)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


@contextmanager
def held_signals() -> Iterator[None]:
    """Interruptions wait until the block is done.

    Their handlers are put off, not only the signals blocked: a signal to a process goes to any of its threads that has
    not blocked it, and Python then runs the handler in the main thread all the same. Other threads are never
    interrupted.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before: dict[int, Any] = {}
    for one in (signal.SIGINT, signal.SIGTERM):
        handler = signal.getsignal(one)
        if callable(handler) or (handler is signal.SIG_DFL):  # what is ignored stays so; None was not set by Python
            before[one] = signal.signal(one, lambda given, frame: came.append(given))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        for given in dict.fromkeys(came):
            signal.raise_signal(given)
