"""Folders of readings that are written whole: beside the old one, then put in its place.

Between two renames, some microseconds, neither is in its place; where a process is killed there,
`settle` puts the old one back.
"""

import os
import shutil
import tempfile
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from cogloupe.reading.provenance import READING_FILES, load_mark

SCRATCH = ".cogloupe-"
"""Begins the name of a folder for what is not whole yet, and of the lock beside it."""
LOCK = ".lock"
NEW, OLD = "new", "old"


@contextmanager
def scratch(parent: Path) -> Iterator[Path]:
    """Make a folder for what is not whole yet, and take it away afterwards.

    Beside it lies a lock, kept while its process lives, so that others know what is left over.

    Parameters
    ----------
    parent : Path
        Folder in which the whole thing will lie.
    """
    from filelock import FileLock

    handle, name = tempfile.mkstemp(LOCK, SCRATCH, parent)
    os.close(handle)
    lock, work = Path(name), Path(name).with_suffix("")
    try:
        with FileLock(lock):
            work.mkdir()
            try:
                yield work
            finally:
                shutil.rmtree(work, ignore_errors=True)
    finally:
        lock.unlink(missing_ok=True)


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write a reading's folder so that the old one stays until the new one is there, whole.

    Parameters
    ----------
    folder : Path
        Made where it is not there, with the folders above it.
    files : mapping of str to bytes
        What it is to hold. What an older reading had goes with it; whatever else lies there stays.

    Raises
    ------
    OSError
        Where it cannot be written; the old one is as it was.
    """
    folder = Path(os.path.realpath(folder))
    folder.parent.mkdir(parents=True, exist_ok=True)
    with scratch(folder.parent) as work:
        new = work / NEW / folder.name
        new.mkdir(parents=True)
        for name, contents in files.items():
            (new / name).write_bytes(contents)
        _put(new, folder, work)


def _put(new: Path, folder: Path, work: Path) -> None:
    old = work / OLD / folder.name
    old.parent.mkdir()
    if folder.exists():
        if not folder.is_dir():
            raise NotADirectoryError(20, "Not a directory", str(folder))
        os.replace(folder, old)
    try:
        os.replace(new, folder)
    except OSError:
        if old.exists():
            os.replace(old, folder)
        raise
    _carry_over(old, folder)


def _carry_over(old: Path, folder: Path) -> None:
    """Move over what a person, or another gear of the picture, left in the old folder."""
    if old.is_dir():
        replaced = _of_reading(old)
        for item in old.iterdir():
            if item.name not in replaced and not item.name.startswith(SCRATCH):
                os.replace(item, folder / item.name)


def _of_reading(folder: Path) -> Collection[str]:
    """Names that the reading in a folder has."""
    mark = load_mark(folder)
    return READING_FILES if mark is None else READING_FILES.union(mark.files)


def settle(parent: Path) -> None:
    """Put right what killed processes left behind.

    Parameters
    ----------
    parent : Path
        Folder that readings lie in.
    """
    from filelock import FileLock, Timeout

    for lock in parent.glob(f"{SCRATCH}*{LOCK}"):
        with suppress(OSError, Timeout), FileLock(lock, timeout=0):
            work = lock.with_suffix("")
            for old in (work / OLD).iterdir() if (work / OLD).is_dir() else ():
                _put_back(old, parent / old.name)
            shutil.rmtree(work, ignore_errors=True)
            lock.unlink(missing_ok=True)


def _put_back(old: Path, folder: Path) -> None:
    if folder.exists():
        _carry_over(old, folder)
    else:
        os.replace(old, folder)
