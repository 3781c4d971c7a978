"""Watching a folder: each photograph that is dropped in is read once, when it is whole."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

from cogloupe.folders.batch import SettingsOf, jobs_for, was_read
from cogloupe.folders.jobs import Job, Outcome
from cogloupe.folders.photos import PhotoFile, photos_in, stamp_of
from cogloupe.folders.single_photo import read_job
from cogloupe.inputs.photo import CutShortError
from cogloupe.inputs.settings import SETTINGS_FILE
from cogloupe.reading.provenance import REFUSED_FILE, Stamp, load_refused

QUIET_SECONDS = 0.5
"""A file counts as completely written when its size and time stand still this long."""
PATIENCE_SECONDS = 10.0
"""A picture that is cut short but was written to within this time is waited for: a copy that
stalls is not a bad file."""


def watch_folder(
    folder: Path,
    out: Path,
    settings_of: SettingsOf,
    stop: threading.Event | None = None,
    begin: Callable[[Path], object] = lambda photo: None,
) -> Iterator[Outcome]:
    """Read every photograph in a folder and every one that is dropped in later.

    One for each photograph, as it is read.

    Parameters
    ----------
    folder : Path
        Watched folder; subfolders are not.
    settings_of : callable
        Gives the settings for a photograph; may raise CogloupeError.
    stop : threading.Event, optional
        Set it to end the watch.
    begin : callable, optional
        Told of each photograph before it is read.

    Raises
    ------
    UseError
        Where the folder cannot be looked into, or is taken away.

    Notes
    -----
    A photograph whose whole reading is there, made of these very bytes by the same settings and
    version, is not read again, also after a restart; nor is one that failed and will fail again. A
    file is taken only when it has stood still from one look at the folder to the next. Looking,
    rather than being told of changes, also works on network drives, and misses nothing that
    arrives while a photograph is being read.
    """
    stop = stop or threading.Event()
    seen: dict[Path, Stamp | None] = {}
    handled: dict[Path, Stamp | None] = {}
    settings = stamp_of(folder / SETTINGS_FILE)
    while not stop.is_set():
        before, seen = seen, {photo: stamp_of(photo) for photo in photos_in(folder)}
        if settings != (settings := stamp_of(folder / SETTINGS_FILE)):
            handled.clear()
        for photo in [p for p, stamp in seen.items() if stamp == before.get(p) != handled.get(p)]:
            outcome = _read_once(photo, out, settings_of, begin)
            if outcome is not None and _may_grow(outcome):
                continue
            handled[photo] = seen[photo]
            if outcome is not None:
                yield outcome
        stop.wait(QUIET_SECONDS)


def _may_grow(outcome: Outcome) -> bool:
    """Tell whether a photograph was cut short only because it is still being written."""
    stamp = stamp_of(outcome.photo)
    age = time.time() - (stamp.mtime_ns / 1e9 if stamp is not None else 0)
    return isinstance(outcome.error, CutShortError) and age < PATIENCE_SECONDS


def _read_once(
    photo: Path, out: Path, settings_of: SettingsOf, begin: Callable[[Path], object]
) -> Outcome | None:
    """Read a photograph, unless these very bytes were read before, or failed as they will again."""
    job = next(jobs_for([photo], out, settings_of, every=False))
    if isinstance(job, Outcome):
        return job
    if was_read(job) or _was_refused(job):
        return None
    begin(photo)
    outcome = read_job(job)[0]
    if _may_grow(outcome):
        with suppress(OSError):
            (job.place / REFUSED_FILE).unlink()
    return outcome


def _was_refused(job: Job) -> bool:
    refused = load_refused(job.place)
    return refused is not None and (refused.sha256, refused.known) == (
        PhotoFile(job.photo).sha256,
        job.known,
    )
