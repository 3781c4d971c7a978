"""Reads photographs in worker processes of this machine, each of which imports once."""

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context, parent_process

from cogloupe.folders.jobs import Job, Outcome
from cogloupe.folders.single_photo import read_job
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.plain_text import shown_name

Outcomes = tuple[Outcome, ...]
Handle = tuple[ProcessPoolExecutor, "Future[Outcomes]"]


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class ProcessCrew:
    """Worker processes; one that dies costs no picture but the one that killed it."""

    def __init__(self, count: int) -> None:
        self.count = count
        self._pool = _pool(count)
        self._alone: ProcessPoolExecutor | None = None

    def give(self, job: Job) -> Handle:
        """Give out a photograph to be read, and tell by which pool."""
        try:
            return self._pool, self._pool.submit(read_job, job)
        except BrokenProcessPool:
            self._renew(self._pool)
            return self._pool, self._pool.submit(read_job, job)

    def take(self, job: Job, handle: Handle) -> Outcomes:
        """Wait for what became of a photograph."""
        pool, future = handle
        try:
            return future.result()
        except BrokenProcessPool:  # killed by this picture or by another that was read beside it
            self._renew(pool)
            return self._read_alone(job)

    def call_off(self, handle: Handle) -> bool:
        """Call off a photograph that nobody has begun.

        False where it is in hand or done already.
        """
        return handle[1].cancel()

    def _renew(self, broken: ProcessPoolExecutor) -> None:
        if broken is self._pool:
            broken.shutdown(wait=False)
            self._pool = _pool(self.count)

    def _read_alone(self, job: Job) -> Outcomes:
        """Read a photograph with no other beside it, so that it is known whether it kills."""
        self._alone = self._alone or _pool(1)
        try:
            return self._alone.submit(read_job, job).result()
        except BrokenProcessPool:
            self._alone = None
            return (Outcome(job.photo, None, fatal(job)),)

    def end(self) -> None:
        """Let the processes go, once what they have in hand is done."""
        for pool in (self._pool, self._alone):
            if pool is not None:
                pool.shutdown(cancel_futures=True)

    def drop(self) -> None:
        """End the processes at once; what they have in hand is as it was before."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        for child in active_children():
            child.kill()


@contextmanager
def process_crew(count: int) -> Iterator[ProcessCrew]:
    """Begin worker processes, and end them afterwards."""
    crew = ProcessCrew(count)
    try:
        yield crew
    except KeyboardInterrupt:
        crew.drop()
        raise
    finally:
        crew.end()


def fatal(job: Job) -> PhotoError:
    """What is told of a photograph whose reading ends the process that reads it."""
    return PhotoError(
        f"{shown_name(job.photo)} ended the program that read it: is there memory enough? If so, "
        "please report it with the photograph"
    )


def _pool(count: int) -> ProcessPoolExecutor:
    # A fresh interpreter is the same on every system, and no thread of ours is copied half-way.
    # Modules in the folder the person happens to be in are none of ours.
    os.environ.setdefault("PYTHONSAFEPATH", "1")
    return ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """Make a fresh process ready: it leaves Ctrl+C to the first one, and ends with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    import cv2

    from cogloupe.inspection import inspect_photo  # noqa: F401
    from cogloupe.report.charts import warm_up

    cv2.setNumThreads(1)
    warm_up()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
