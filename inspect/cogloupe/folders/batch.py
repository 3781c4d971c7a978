"""Many photographs: what is to be read of them, and reading it in order, several at a time."""

import hashlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from threading import Event
from typing import Protocol, TypeVar

from cogloupe import __version__
from cogloupe.folders.jobs import Job, Outcome
from cogloupe.folders.photos import PhotoFile, stamp_of
from cogloupe.folders.places import holds, reading_folder
from cogloupe.folders.single_photo import read_job
from cogloupe.inputs.settings import GearSettings
from cogloupe.reading.provenance import Stamp
from cogloupe.report.chart_process import Draw
from cogloupe_calibration.calibration import CALIBRATION_MOST_BYTES
from cogloupe_calibration.errors import CogloupeError
from cogloupe_calibration.files import read_file
from cogloupe_calibration.plain_text import printable

AHEAD = 4
"""Pictures given out for each reader before the first of them is done: so many that none waits
where one picture takes several times as long as others."""

SettingsOf = Callable[[Path], GearSettings]
Handle = TypeVar("Handle")


class Crew(Protocol[Handle]):
    """Whoever reads photographs, several at a time."""

    @property
    def count(self) -> int:
        """How many are read at a time."""

    def give(self, job: Job) -> Handle:
        """Give out a photograph to be read."""

    def take(self, job: Job, handle: Handle) -> tuple[Outcome, ...]:
        """Wait for what became of it."""

    def call_off(self, handle: Handle) -> bool:
        """Call off one that nobody has begun; False where it is in hand or done already."""


def jobs_for(
    photos: Iterable[Path], out: Path, settings_of: SettingsOf, every: bool
) -> Iterator[Job | Outcome]:
    """Say what is to be read, and where it is to go.

    One for each photograph, in order; an outcome where its settings cannot be. With `every` each
    gear on a picture is read by itself.
    """
    taken: set[Path] = set()
    for path in photos:
        try:
            settings = settings_of(path)
        except CogloupeError as error:
            yield Outcome(path, None, error)
            continue
        known = known_of(settings, every)
        place = reading_folder(PhotoFile(path), out, taken, known)
        taken.add(place)
        yield Job(photo=path, settings=settings, known=known, out=out, place=place, every=every)


def known_of(settings: GearSettings, every: bool = False) -> str:
    """Version and settings that a photograph is read by, in one line that differs when they do."""
    known = [__version__, settings.model_dump_json(exclude_defaults=True)]
    if settings.calibration is not None:
        known.append(f"calibration {_hash_of(stamp_of(settings.calibration))}")
    return printable(" ".join([*known, "every gear"] if every else known))


@lru_cache(maxsize=64)
def _hash_of(stamp: Stamp | None) -> str:
    """Hash of a calibration file, as it stands."""
    try:
        assert stamp is not None
        return hashlib.sha256(read_file(Path(stamp.path), CALIBRATION_MOST_BYTES)).hexdigest()
    except (OSError, AssertionError):
        return "missing"


def was_read(job: Job) -> bool:
    """Tell whether the whole reading of a photograph by the same settings and version is there."""
    return holds(job.place, PhotoFile(job.photo), job.known)


def read_here(jobs: Iterable[Job | Outcome], draw: Draw) -> Iterator[tuple[Outcome, ...]]:
    """Read one photograph after the other in this process: an outcome for each job, in order."""
    for job in jobs:
        yield (job,) if isinstance(job, Outcome) else read_job(job, draw)


def read_by(
    jobs: Iterable[Job | Outcome], crew: Crew[Handle], stop: Event
) -> Iterator[tuple[Outcome, ...]]:
    """Read photographs by a crew, several at a time: an outcome for each job, in order.

    Where `stop` is set, those in hand are finished and no others begun.
    """
    waiting: deque[Outcome | tuple[Job, Handle]] = deque()
    for job in jobs:
        if stop.is_set():
            break
        waiting.append(job if isinstance(job, Outcome) else (job, crew.give(job)))
        if len(waiting) >= AHEAD * crew.count:
            yield _taken(waiting.popleft(), crew)
    while waiting:
        yield _taken(waiting.popleft(), crew)
        if stop.is_set():
            waiting = deque(w for w in waiting if isinstance(w, Outcome) or not crew.call_off(w[1]))


def _taken(item: Outcome | tuple[Job, Handle], crew: Crew[Handle]) -> tuple[Outcome, ...]:
    return (item,) if isinstance(item, Outcome) else crew.take(*item)
