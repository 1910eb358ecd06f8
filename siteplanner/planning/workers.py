"""Work shared out to processes on `dask.distributed`: of this machine by default, or of any scheduler by its address.

What is shared out must survive without us: each piece of work leaves its result on the disk that all share, and what
is asked for here is only who is done. A worker that is lost loses nothing but the piece it was at; a scheduler that is
lost is waited for, and asked again.
"""

from __future__ import annotations

import logging
import math
import os
import queue
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, Protocol, TypeVar

from siteplanner.errors import Cancelled, InputError, SiteplannerError
from siteplanner.planning.study.progress import Progress

T = TypeVar("T")
R = TypeVar("R")
Work = Callable[[T, Progress], R]
"""A piece of work: a function that a module holds by its name, of an item and of what it tells its progress to."""
Heard = Callable[[int, str, float], None]
"""Called with the number of an item, its stage and its share 0..1, and now and then with (-1, '', 0)."""

EVERY_S = 0.3  # between two words of one piece of work, and between two looks at whether to stop
ASKED_AGAIN = 3  # times that a piece of work is given out anew when the scheduler forgot it
CONNECT_S = 20.0
STOP_S = 10.0  # that workers of ours get to end by themselves


@dataclass(frozen=True)
class Done(Generic[R]):
    """One piece of work that has ended: its value, or the error with which it ended."""

    number: int
    value: R | None = None
    error: BaseException | None = None


class Crew(Protocol):
    """Who does the work."""

    def results(self, work: Work[T, R], items: Sequence[T], heard: Heard) -> Iterator[Done[R]]:
        """Each piece as it ends, in any order. What `heard` raises stops the work and leaves here."""


class Alone:
    """This process, one piece after the other."""

    def results(self, work: Work[T, R], items: Sequence[T], heard: Heard) -> Iterator[Done[R]]:
        """Each piece in its order."""
        for number, item in enumerate(items):

            def said(stage: str, share: float, number: int = number) -> None:
                heard(number, stage, share)

            try:
                done = Done(number, work(item, said))
            except (Cancelled, KeyboardInterrupt):
                raise
            except Exception as error:
                done = Done(number, None, error)
            yield done


class Cluster:
    """Workers of a scheduler."""

    def __init__(self, client: Any, stop: Path) -> None:
        self._client, self._stop = client, stop

    def results(self, work: Work[T, R], items: Sequence[T], heard: Heard) -> Iterator[Done[R]]:
        """Each piece as it ends; one whose worker was lost is done by another, three times at most."""
        topic, news = f"siteplanner-{uuid.uuid4().hex}", queue.SimpleQueue[Any]()
        self._client.subscribe_topic(topic, lambda event: news.put(event[1]))
        futures: dict[int, Any] = {}
        asked = [0] * len(items)

        def ask(number: int) -> None:
            asked[number] += 1
            future = self._client.submit(
                _work, work, items[number], number, topic, str(self._stop), key=f"{topic}-{number}-{asked[number]}",
                pure=False, fifo_timeout="0 ms",
            )  # fmt: skip
            futures[number] = future
            future.add_done_callback(lambda ended, number=number: news.put((number, ended)))

        try:
            for number in range(len(items)):
                ask(number)
            while futures:
                try:
                    word: Any = news.get(timeout=EVERY_S)
                except queue.Empty:
                    heard(-1, "", 0.0)
                    if self._client.status in ("closed", "closing"):
                        raise _scheduler_lost() from None
                    continue
                if len(word) == 3:
                    heard(*word)
                    continue
                number, ended = word
                if number not in futures or futures[number] is not ended:
                    continue
                if ended.status in ("cancelled", "lost"):  # not by us: the scheduler began anew
                    self._back(heard)
                    if asked[number] > ASKED_AGAIN:
                        raise _scheduler_lost()
                    ask(number)
                    continue
                del futures[number]
                yield _ended(number, ended)
        except BaseException:
            with suppress(OSError):
                self._stop.touch()
            with suppress(Exception):
                self._client.cancel(list(futures.values()), force=True)
            raise
        finally:
            with suppress(Exception):
                self._client.unsubscribe_topic(topic)

    def _back(self, heard: Heard) -> None:
        """Wait until the scheduler answers again. Raises SiteplannerError when it does not."""
        until = time.monotonic() + 3 * CONNECT_S
        while self._client.status != "running":
            if self._client.status in ("closed", "closing") or time.monotonic() > until:
                raise _scheduler_lost()
            heard(-1, "", 0.0)
            time.sleep(EVERY_S)


def _ended(number: int, future: Any) -> Done[Any]:
    error = future.exception()
    if error is None:
        return Done(number, future.result())
    if type(error).__name__ == "KilledWorker":
        error = SiteplannerError(
            "Its worker process was lost again and again, most often for want of memory.",
            remedy="Use fewer workers (--workers 1), or a larger search.cell_size_m.",
        )
    return Done(number, None, error)


def _scheduler_lost() -> SiteplannerError:
    return SiteplannerError(
        "The scheduler of the workers was lost and did not come back.",
        remedy="Start it and its workers again, then run the same command: what is finished is kept.",
        field="--scheduler",
    )


def _work(work: Work[Any, Any], item: Any, number: int, topic: str, stop: str) -> Any:
    """A piece of work on a worker: it tells its progress now and then, and ends when it is asked to."""
    from distributed import get_worker

    worker, last = get_worker(), -math.inf

    def said(stage: str, share: float) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last < EVERY_S:
            return
        last = now
        if os.path.exists(stop):
            raise Cancelled()
        worker.log_event(topic, (number, stage, share))

    return work(item, said)


@contextmanager
def crew_of(address: str | None, count: int | None, pieces: int, shared: Path) -> Iterator[Crew]:
    """Who does so many pieces of work: this process where one is asked for, else a cluster.

    `address`: of a scheduler that somebody runs; None: one of our own on the loopback of this machine, with `count`
    worker processes (None: a process a core). `shared`: a folder that every worker sees.
    Raises InputError for a scheduler that does not answer, or that has no workers.
    """
    wanted = min(count or os.cpu_count() or 1, max(pieces, 1))
    if address is None and wanted == 1:
        yield Alone()
        return
    import dask
    from distributed import Client

    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)  # a lost scheduler is told once, in our words
    shared.mkdir(parents=True, exist_ok=True)
    stop = shared / f".stop-{uuid.uuid4().hex}"
    with ExitStack() as stack:
        stack.callback(lambda: stop.unlink(missing_ok=True))
        scratch = stack.enter_context(tempfile.TemporaryDirectory(prefix="siteplanner-workers-"))
        stack.enter_context(dask.config.set(_settings(scratch)))
        target: Any = address if address is not None else stack.enter_context(_own_cluster(wanted))
        try:
            client = stack.enter_context(Client(target, timeout=CONNECT_S, set_as_default=False))
            if address is not None:
                client.wait_for_workers(1, timeout=CONNECT_S)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputError(
                f"No scheduler with workers answers at this address ({str(error)[:120] or type(error).__name__}).",
                remedy="Start it and its workers, or leave --scheduler out to use the cores of this machine.",
                file=address,
                field="--scheduler",
            ) from error
        yield Cluster(client, stop)


def _settings(scratch: str) -> dict[str, Any]:
    """Nothing of the cluster is to be seen from outside, and nothing asks outside: no pages, no dashboard."""
    return {
        "temporary-directory": scratch,
        "distributed.scheduler.http.routes": [],
        "distributed.worker.http.routes": [],
        "distributed.nanny.http.routes": [],
        "distributed.diagnostics.nvml": False,
        "distributed.worker.profile.enabled": False,
        "distributed.logging.distributed": "error",
    }


@contextmanager
def _own_cluster(count: int) -> Iterator[Any]:
    """Worker processes of this machine, one thread each: the kernels take further cores by themselves."""
    from distributed import LocalCluster

    cluster = LocalCluster(
        n_workers=count,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        worker_dashboard_address="127.0.0.1:0",
        silence_logs=50,
    )
    try:
        yield cluster
    finally:
        cluster.close(timeout=STOP_S)
