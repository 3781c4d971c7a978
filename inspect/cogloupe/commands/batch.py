"""Reading many photographs from the command line: by whom, how far it got, what is told of it."""

import signal
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from cogloupe.commands.console import (
    INTERRUPTED,
    NOT_ALL_READ,
    READ,
    WRONG_USE,
    about,
    complain,
    error_console,
    say,
)
from cogloupe_calibration.errors import UseError

if TYPE_CHECKING:  # their own imports are slow, and not needed to show the help
    from collections.abc import Iterable

    from cogloupe.folders.batch import SettingsOf
    from cogloupe.folders.jobs import Job, Outcome
    from cogloupe.reading.models import Reading

MOST_SHOWN = 50
"""Readings that a table in the terminal still serves; the rest is counted, and looked up in the
catalogue."""


@dataclass(frozen=True, kw_only=True)
class How:
    """How many photographs are to be read.

    `resume` leaves out those whose whole reading by the same settings and version is there; `ship`
    sends the pictures to the workers of the cluster; with `every` each gear on a picture is read by
    itself.
    """

    jobs: int | None
    resume: bool
    scheduler: str | None
    ship: bool
    every: bool


@dataclass(kw_only=True)
class Tally:
    """What became of the photographs so far.

    Photographs done with, readings made, and photographs read by an earlier run.
    """

    photos: int = 0
    read: int = 0
    before: int = 0
    status: int = READ
    _readings: list["Reading"] = field(default_factory=list)
    _told: set[str] = field(default_factory=set)

    @property
    def shown(self) -> list["Reading"]:
        """Readings to be shown in a table; none where they are too many."""
        return self._readings if self.read <= MOST_SHOWN else []

    def add(self, outcomes: "Iterable[Outcome]") -> None:
        """Count what became of a photograph, and tell of it where it could not be read."""
        self.photos += 1
        for outcome in outcomes:
            if outcome.reading is not None:
                self.read += 1
                if self.read <= MOST_SHOWN:  # ten thousand would not fit into memory
                    self._readings.append(outcome.reading)
            elif outcome.error is not None:
                self._tell(outcome)

    def _tell(self, outcome: "Outcome") -> None:
        """Tell of a failure; wrong use that concerns many photographs, only once."""
        wrong_use = isinstance(outcome.error, UseError)
        self.status = max(self.status, WRONG_USE if wrong_use else NOT_ALL_READ)
        assert outcome.error is not None
        message = str(outcome.error) if wrong_use else about(outcome.photo, outcome.error)
        if not wrong_use or message not in self._told:
            complain(message)
        if wrong_use:
            self._told.add(message)


def read_all(
    photos: list[Path], out: Path, settings_of: "SettingsOf", how: How, named: list[Path]
) -> Tally:
    """Read photographs, and keep catalogue and index of their folder.

    What is passed over in the files and folders that the person named is listed.

    Raises
    ------
    UseError
        Where the cluster cannot be reached, or is lost.
    """
    from cogloupe.folders.batch import jobs_for
    from cogloupe.folders.index import Bookkeeper

    tally, stop, books = Tally(), threading.Event(), Bookkeeper(out, named)
    jobs = _left_to_do(jobs_for(photos, out, settings_of, how.every), how.resume, tally)
    try:
        with ExitStack() as ends:
            outcomes = _readers(jobs, len(photos), how, stop, ends)
            progress = ends.enter_context(_progress(len(photos)))
            task = progress.add_task("reading", total=len(photos))
            for several in outcomes:
                tally.add(several)
                progress.update(task, completed=tally.photos + tally.before)
                books.after_outcome()
    except KeyboardInterrupt:
        stop.set()
    finally:
        books.bring_up_to_date()
    if stop.is_set():
        tally.status = INTERRUPTED
        _tell_how_far(tally, len(photos))
    return tally


def _left_to_do(
    jobs: "Iterable[Job | Outcome]", resume: bool, tally: Tally
) -> "Iterator[Job | Outcome]":
    from cogloupe.folders.batch import was_read
    from cogloupe.folders.jobs import Job

    for job in jobs:
        if resume and isinstance(job, Job) and was_read(job):
            tally.before += 1
        else:
            yield job


def _readers(
    jobs: "Iterator[Job | Outcome]", count: int, how: How, stop: threading.Event, ends: ExitStack
) -> "Iterator[tuple[Outcome, ...]]":
    """Whoever reads the photographs: a cluster, worker processes, or this process."""
    from cogloupe.folders.batch import read_by, read_here
    from cogloupe.folders.processes import cores, process_crew

    if how.scheduler is not None:
        from cogloupe.folders.cluster import cluster_crew

        ends.enter_context(_stopped_by_hand(stop))
        return read_by(jobs, ends.enter_context(cluster_crew(how.scheduler, how.ship)), stop)
    workers = min(how.jobs or cores(), count)
    if workers > 1:
        ends.enter_context(_stopped_by_hand(stop))
        return read_by(jobs, ends.enter_context(process_crew(workers)), stop)
    from cogloupe.folders.single_photo import load_ahead
    from cogloupe.report.chart_process import charts_beside

    draw = ends.enter_context(charts_beside())
    load_ahead()
    return read_here(jobs, draw)


@contextmanager
def _stopped_by_hand(stop: threading.Event) -> Iterator[None]:
    """Let the first Ctrl+C finish what is in hand; the next one drops it."""

    def ask(signal_number: int, frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        stop.set()
        complain("Stopping after the photographs in hand; Ctrl+C again drops them.")

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, ask)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _progress(count: int) -> Progress:
    quiet = count < 2 or not error_console.is_terminal
    return Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
        TimeRemainingColumn(), console=error_console, transient=True, disable=quiet,
    )  # fmt: skip


def _tell_how_far(tally: Tally, count: int) -> None:
    done = tally.photos + tally.before
    rest = "" if done == count else "; the same command with --resume reads the rest"
    complain(f"Stopped: {done} of {count} photographs are done{rest}.")


def counts(tally: Tally, out: Path) -> None:
    """Tell how many photographs were read, where there are too many for a table."""
    if tally.before:
        many = f"{tally.before} photographs were"
        photographs = "1 photograph was" if tally.before == 1 else many
        say(f"{photographs} read before by the same settings, and left as they are.")
    if tally.read > MOST_SHOWN:
        say(f"{tally.read} readings are in {out}: 'cogloupe catalogue {out}' lists them.")
