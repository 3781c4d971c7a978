"""Photographs in folders: which there are, where their readings go, and watching for new ones."""

import hashlib
import json
import threading
import time
from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass
from itertools import chain, count
from pathlib import Path

from watchfiles import watch as watch_changes

from cogloupe.inspection import inspect_photo
from cogloupe.photo import PHOTO_SUFFIXES, read_photo
from cogloupe.reading import Reading
from cogloupe.report.write import write_report
from cogloupe.settings import SETTINGS_FILE, GearSettings
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError

QUIET_SECONDS = 0.5
"""A file counts as completely written when its size and time stand still this long."""
DONE_FILE = "reading.json"
FAILED_FILE = "not-read.txt"

_UNKNOWN, _GONE = (-1, -1), (-2, -2)


def is_photo(path: Path) -> bool:
    """Tell whether a path is named like a photograph.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bool
        Hidden files (half-written copies, thumbnails) are not.
    """
    return path.suffix.lower() in PHOTO_SUFFIXES and not path.name.startswith((".", "~"))


def find_photos(paths: list[Path]) -> list[Path]:
    """Photographs named by a person: files as they are, folders by what lies in them.

    Parameters
    ----------
    paths : list of Path
        Files and folders.

    Returns
    -------
    list of Path
        In the order given, folders sorted by name, each once. Subfolders are not entered.

    Raises
    ------
    UseError
        Where a path is not there, or nothing is found.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(p for p in sorted(path.iterdir()) if is_photo(p)))
        elif path.exists():
            found[path] = None
        else:
            raise UseError(f"{path} is not there: check the name")
    if not found:
        raise UseError(
            f"no photographs in {', '.join(map(str, paths))}: looked for "
            f"{', '.join(PHOTO_SUFFIXES)}"
        )
    return list(found)


def reading_folder(photo: Path, out: Path, taken: Container[Path] = ()) -> Path:
    """Folder for the reading of a photograph.

    Parameters
    ----------
    photo : Path
    out : Path
        Where readings go.
    taken : container of Path
        Folders already given out in this run.

    Returns
    -------
    Path
        ``out / stem``, unless that is taken or holds another photograph's reading; then
        ``out / full name``, and after that with a number behind it.
    """
    choices = chain(
        [out / photo.stem, out / photo.name], (out / f"{photo.name}-{n}" for n in count(2))
    )
    return next(f for f in choices if f not in taken and _belongs(f)[0] in ("", photo.name))


def _belongs(folder: Path) -> tuple[str, str]:
    """Name and hash of the photograph that a folder holds the outcome of; empty where none."""
    try:
        photo = json.loads((folder / DONE_FILE).read_bytes())["photo"]
        return str(photo["file"]), str(photo["sha256"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        lines = (folder / FAILED_FILE).read_text("utf-8").splitlines()
        return lines[0], lines[1]
    except (OSError, ValueError, IndexError):
        return "", ""


def read_one(photo: Path, settings: GearSettings, folder: Path) -> Reading:
    """Read one photograph and write its report.

    Parameters
    ----------
    photo : Path
    settings : GearSettings
    folder : Path
        Where the five files go.

    Returns
    -------
    Reading

    Raises
    ------
    CogloupeError
        Where it cannot be read or written.
    """
    reading, evidence = inspect_photo(read_photo(photo), settings)
    write_report(reading, evidence, folder)
    return reading


def check_writable(out: Path) -> None:
    """Make the output folder and see that it can be written, before any work is done.

    Parameters
    ----------
    out : Path

    Raises
    ------
    UseError
        Where it cannot.
    """
    probe = out / ".cogloupe-write-test"
    try:
        out.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        raise UseError(
            f"{out} cannot be written ({error.strerror}): choose another folder with --out"
        ) from error


@dataclass(frozen=True)
class Outcome:
    """What became of one photograph: a reading, or the error that stopped it."""

    photo: Path
    reading: Reading | None
    error: CogloupeError | None


def watch_folder(
    folder: Path,
    out: Path,
    settings_of: Callable[[Path], GearSettings],
    stop: threading.Event | None = None,
) -> Iterator[Outcome]:
    """Read every photograph in a folder and every one that is dropped in later.

    Parameters
    ----------
    folder : Path
        Watched folder; subfolders are not.
    out : Path
        Where readings go.
    settings_of : callable
        Gives the settings for a photograph; may raise CogloupeError.
    stop : threading.Event, optional
        Set it to end the watch.

    Yields
    ------
    Outcome
        One for each photograph, as it is read.

    Notes
    -----
    A photograph that was read, or that failed, is known again by its name and the hash of its
    bytes and is not read twice, also after a restart; one that failed is tried again when the
    folder's gear.toml has changed since. A file is taken only when it has stood still for
    `QUIET_SECONDS`.
    """
    stop = stop or threading.Event()
    waiting = {p: _stamp(p) for p in _photos_in(folder)}
    changes = watch_changes(
        folder, stop_event=stop, recursive=False, yield_on_timeout=True, debounce=200,
        rust_timeout=int(1000 * QUIET_SECONDS), raise_interrupt=False,
    )  # fmt: skip
    time.sleep(QUIET_SECONDS if waiting else 0)
    yield from _settled(waiting, out, settings_of)
    for batch in changes:
        names = {Path(name).name for _, name in batch}
        if SETTINGS_FILE in names:
            names.update(p.name for p in _photos_in(folder))
        new = (folder / name for name in names if is_photo(Path(name)))
        waiting.update(dict.fromkeys((p for p in new if p not in waiting), _UNKNOWN))
        yield from _settled(waiting, out, settings_of)


def _photos_in(folder: Path) -> list[Path]:
    return [p for p in sorted(folder.iterdir()) if is_photo(p) and p.is_file()]


def _stamp(path: Path) -> tuple[int, int]:
    """Size and time of a file; `_GONE` where it is not there."""
    try:
        status = path.stat()
    except OSError:
        return _GONE
    return status.st_size, status.st_mtime_ns


def _settled(
    waiting: dict[Path, tuple[int, int]], out: Path, settings_of: Callable[[Path], GearSettings]
) -> Iterator[Outcome]:
    """Read the waiting photographs that have stood still since they were last looked at."""
    for photo, before in list(waiting.items()):
        now = _stamp(photo)
        waiting[photo] = now
        if now == _GONE:
            del waiting[photo]
        elif now == before:
            del waiting[photo]
            folder = reading_folder(photo, out)
            if not _done(photo, folder):
                yield _outcome(photo, settings_of, folder)


def _done(photo: Path, folder: Path) -> bool:
    """Tell whether these very bytes were read before, or failed under the same settings."""
    name, sha256 = _belongs(folder)
    if name != photo.name or sha256 != _hash(photo):
        return False
    if (folder / DONE_FILE).exists():
        return True
    settings = photo.parent / SETTINGS_FILE
    return not settings.exists() or _stamp(settings)[1] < _stamp(folder / FAILED_FILE)[1]


def _hash(photo: Path) -> str:
    try:
        return hashlib.sha256(photo.read_bytes()).hexdigest()
    except OSError:
        return ""


def _outcome(photo: Path, settings_of: Callable[[Path], GearSettings], folder: Path) -> Outcome:
    """Read one photograph; a failure is noted beside where its reading would be."""
    try:
        reading = read_one(photo, settings_of(photo), folder)
    except CogloupeError as error:
        _note_failure(photo, folder, error)
        return Outcome(photo, None, error)
    except Exception as error:  # one bad file must not end the watch
        unexpected = PhotoError(f"{photo.name} could not be read ({type(error).__name__}: {error})")
        _note_failure(photo, folder, unexpected)
        return Outcome(photo, None, unexpected)
    (folder / FAILED_FILE).unlink(missing_ok=True)
    return Outcome(photo, reading, None)


def _note_failure(photo: Path, folder: Path, error: CogloupeError) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / DONE_FILE).unlink(missing_ok=True)
        note = f"{photo.name}\n{_hash(photo)}\n{error}\n"
        (folder / FAILED_FILE).write_text(note, "utf-8")
    except OSError:
        return  # where even that cannot be written, the person still sees the message
