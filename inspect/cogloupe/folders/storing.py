"""Writes readings where no other reading is lost by it."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from cogloupe.folders.jobs import Job, Outcome, Part
from cogloupe.folders.photos import PhotoFile, SetOfPhotos
from cogloupe.folders.places import may_take, one_at_a_time, reading_folder
from cogloupe.reading.atomic_folder import write_folder
from cogloupe.reading.provenance import (
    MARK_FILE,
    READING_FILE,
    Mark,
    Refused,
    Stamp,
    mark_bytes,
    note_refused,
)
from cogloupe.report.write import write_shared
from cogloupe_calibration.errors import CogloupeError, UseError
from cogloupe_calibration.files import write_whole
from cogloupe_calibration.plain_text import shown_name


def keep_parts(job: Job, parts: Sequence[Part], stamp: Stamp | None) -> tuple[Outcome, ...]:
    """Write what was read of a photograph, where no other picture's reading is lost by it.

    The stamp is that of the picture's file as it was read, None where that is not known.
    """
    photo = PhotoFile(job.photo)
    try:
        with one_at_a_time(job.out):
            free = may_take(job.place, photo)
            place = job.place if free else reading_folder(photo, job.out)
            outcomes = tuple(_keep(job, part, place, photo, stamp) for part in parts)
            if all(outcome.error is None for outcome in outcomes):
                _mark_together(job, place, parts, stamp)
    except (CogloupeError, OSError) as error:
        told = error if isinstance(error, CogloupeError) else _unwritable(job.out, error)
        return (Outcome(job.photo, None, told),)
    return outcomes


def _keep(job: Job, part: Part, place: Path, photo: PhotoFile, stamp: Stamp | None) -> Outcome:
    folder = place / part.place
    if part.reading is None:
        assert part.error is not None
        with suppress(OSError):  # without the note the person still sees the message
            note_refused(folder, _refused(job, part, photo))
        return Outcome(job.photo, None, part.error)
    mark = Mark(part.reading.photo.sha256, stamp, job.known, _sizes(part.files))
    try:
        _write(folder, part.files, mark)
    except OSError as error:
        return Outcome(job.photo, None, _unwritable(folder, error))
    return Outcome(job.photo, part.reading, None, folder)


def _sizes(files: Mapping[str, bytes]) -> dict[str, int]:
    return {name: len(contents) for name, contents in files.items()}


def _write(folder: Path, files: Mapping[str, bytes], mark: Mark) -> None:
    write_shared(folder.parent)
    write_folder(folder, {**files, MARK_FILE: mark_bytes(mark)})


def _refused(job: Job, part: Part, photo: PhotoFile) -> Refused:
    name = shown_name(job.photo)
    return Refused(name, photo.sha256, job.known, str(part.error), part.details)


def _unwritable(folder: Path, error: OSError) -> UseError:
    reason = error.strerror or str(error)
    return UseError(
        f"the report cannot be written to {folder}: {reason}; choose another folder with --out"
    )


def _mark_together(job: Job, place: Path, parts: Sequence[Part], stamp: Stamp | None) -> None:
    """Note that every gear of a picture was read, where it has several."""
    read = [part for part in parts if part.place and part.reading is not None]
    if read:
        sizes = {f"{p.place}/{READING_FILE}": len(p.files[READING_FILE]) for p in read}
        assert read[0].reading is not None
        mark = Mark(read[0].reading.photo.sha256, stamp, job.known, sizes)
        write_whole(place / MARK_FILE, mark_bytes(mark))


def keep_set(photos: SetOfPhotos, out: Path, files: Mapping[str, bytes], known: str) -> Path:
    """Write the one reading of several pictures; gives its folder.

    `known` is the version and the settings that it was read by.

    Raises
    ------
    UseError
        Where it cannot be written.
    """
    with one_at_a_time(out):
        folder = reading_folder(photos, out)
        try:
            _write(folder, files, Mark(photos.sha256, None, known, _sizes(files)))
        except OSError as error:
            raise _unwritable(folder, error) from error
    return folder
