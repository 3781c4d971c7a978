"""Folders that are written whole: beside the old one, then put in its place.

Between two renames, some microseconds, neither is in its place; where a process is killed there,
`settle` puts the old one back.
"""

import os
import shutil
import tempfile
import time
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

SCRATCH = ".cogloupe-"
"""Begins the name of a folder for what is not whole yet."""
LOCK = "lock"
NEW, OLD = "new", "old"
STALE_SECONDS = 3600.0
"""Nobody takes so long between making a scratch folder and locking it."""


@contextmanager
def scratch(parent: Path) -> Iterator[Path]:
    """Make a folder for what is not whole yet, and take it away afterwards.

    Parameters
    ----------
    parent : Path
        Folder in which the whole thing will lie.

    Yields
    ------
    Path
        Locked while its process lives, so that others know what is left over.
    """
    from filelock import FileLock

    work = Path(tempfile.mkdtemp(prefix=SCRATCH, dir=parent))
    try:
        with FileLock(work / LOCK):
            yield work
    finally:
        shutil.rmtree(work, ignore_errors=True)


def write_folder(folder: Path, files: Mapping[str, bytes], replaced: Collection[str]) -> None:
    """Write a folder so that the old one stays until the new one is there, whole.

    Parameters
    ----------
    folder : Path
        Made where it is not there, with the folders above it.
    files : mapping of str to bytes
        What it is to hold.
    replaced : collection of str
        Names that go with the old one if `files` lacks them; whatever else lies there stays.

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
        _put(new, folder, work, {*files, *replaced})


def _put(new: Path, folder: Path, work: Path, replaced: Collection[str]) -> None:
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
    _carry_over(old, folder, replaced)


def _carry_over(old: Path, folder: Path, replaced: Collection[str]) -> None:
    """Move over what a person, or another picture's part, left in the old folder."""
    if old.is_dir():
        for item in old.iterdir():
            if item.name not in replaced and not item.name.startswith(SCRATCH):
                os.replace(item, folder / item.name)


def settle(parent: Path, replaced: Collection[str]) -> None:
    """Put right what killed processes left behind.

    Parameters
    ----------
    parent : Path
        Folder that readings lie in.
    replaced : collection of str
        As for `write_folder`.
    """
    for work in parent.glob(f"{SCRATCH}*"):
        with suppress(OSError), _given_up(work) as given_up:
            if given_up:
                for old in (work / OLD).iterdir() if (work / OLD).is_dir() else ():
                    _put_back(old, parent / old.name, replaced)
                shutil.rmtree(work, ignore_errors=True)


def _put_back(old: Path, folder: Path, replaced: Collection[str]) -> None:
    if folder.exists():
        _carry_over(old, folder, replaced)
    else:
        os.replace(old, folder)


@contextmanager
def _given_up(work: Path) -> Iterator[bool]:
    """Tell whether nobody is at work in a scratch folder, and keep it so meanwhile."""
    from filelock import FileLock, Timeout

    if not (work / LOCK).exists():
        yield time.time() - work.stat().st_mtime > STALE_SECONDS
        return
    try:
        with FileLock(work / LOCK, timeout=0):
            yield True
    except Timeout:
        yield False
