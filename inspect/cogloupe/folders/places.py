"""Where the readings of photographs go: a folder belongs to the picture that was read into it."""

import json
import tempfile
from collections.abc import Container, Iterator
from contextlib import contextmanager, suppress
from itertools import chain, count
from pathlib import Path

from cogloupe.folders.photos import Pictured, set_hash
from cogloupe.reading.atomic_folder import SCRATCH, settle
from cogloupe.reading.files import READING_MOST_BYTES
from cogloupe.reading.provenance import READING_FILE, is_logged, is_whole, load_mark, load_refused
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import read_file
from cogloupe_calibration.plain_text import printable, shown_name

LOCK_FILE = ".cogloupe.lock"
LOCK_SECONDS = 60.0
"""A reading is written in a hundredth of a second, on a slow network drive in some."""
LONGEST_NAME = 150
"""Bytes; file systems take 255, and something may have to be put before or behind."""
PART = "gear-"
"""Begins the names of the folders of several gears on one picture."""


def reading_folder(
    photo: Pictured, out: Path, taken: Container[Path] = (), known: str = ""
) -> Path:
    """Folder for the reading of a photograph.

    ``out / stem``, unless that is taken, holds another picture's reading, or one that a log of
    attempts names; then ``out / full name``, and after that with a number behind it.

    Parameters
    ----------
    taken : container of Path
        Folders already given out in this run.
    known : str, optional
        What it is to be read by: a whole reading by just that is found even where a log names it.
    """
    stem, name = folder_name(photo.path.stem), folder_name(photo.path.name)
    choices = chain([out / stem, out / name], (out / f"{name}-{n}" for n in count(2)))
    return next(
        f for f in choices if f not in taken and (may_take(f, photo) or holds(f, photo, known))
    )


def holds(folder: Path, photo: Pictured, known: str) -> bool:
    """Tell whether a folder holds the whole reading of a photograph, read by just that."""
    mark = load_mark(folder)
    if mark is None or mark.known != known:
        return False
    return is_whole(folder, mark) and photo.is_of(mark)


def folder_name(text: str) -> str:
    """Name of a folder after a photograph's: printable, not hidden, neither empty nor too long."""
    name = printable(text).replace("\\", "_").encode()[:LONGEST_NAME].decode("utf-8", "ignore")
    return name.lstrip(". ~").rstrip(". ") or "picture"


def may_take(folder: Path, photo: Pictured) -> bool:
    """Tell whether the reading of a photograph may be put in a folder.

    False where another picture's reading is there, or one that a log of attempts names.
    """
    if not folder.exists():
        return True
    mark = load_mark(folder)
    if mark is not None:
        parts = {folder, *((folder / name).parent for name in mark.files)}
        return photo.is_of(mark) and not any(is_logged(part) for part in parts)
    parts = {folder, *folder.glob(f"{PART}*")}
    return all(_is_free(part, photo) and not is_logged(part) for part in parts)


def _is_free(folder: Path, photo: Pictured) -> bool:
    mark = load_mark(folder)
    if mark is not None:
        return photo.is_of(mark)
    owner = _read_from(folder)
    if owner:
        return owner == photo.sha256
    refused = load_refused(folder)
    return refused is None or refused.photo == shown_name(photo.path)


def _read_from(folder: Path) -> str:
    """Hash of the picture whose reading, without a mark, lies in a folder; empty without one."""
    try:
        reading = json.loads(read_file(folder / READING_FILE, READING_MOST_BYTES))
        pictures = (reading.get("photo_set") or {}).get("pictures")
        if pictures:
            return set_hash(picture["sha256"] for picture in pictures)
        return str(reading["photo"]["sha256"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return ""


@contextmanager
def one_at_a_time(out: Path) -> Iterator[None]:
    """Keep others from putting readings into a folder meanwhile.

    Raises
    ------
    UseError
        Where somebody else keeps it for too long.
    """
    from filelock import FileLock, Timeout

    try:
        with FileLock(out / LOCK_FILE, timeout=LOCK_SECONDS):
            yield
    except Timeout as error:
        raise UseError(
            f"{out} is kept by another program for more than {LOCK_SECONDS:.0f} s: end it, then "
            "try again"
        ) from error


def check_writable(out: Path) -> None:
    """Make the output folder, see that it can be written, and clear up after killed processes.

    Raises
    ------
    UseError
        Where it cannot.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        raise UseError(
            f"{out} cannot be written ({error.strerror}): choose another folder with --out"
        ) from error
    with suppress(OSError):
        for parent in {out, *(work.parent for work in out.glob(f"*/{SCRATCH}*"))}:
            settle(parent)
