"""Photographs in folders: which there are, where their readings go, and watching for new ones."""

import hashlib
import json
import sys
import threading
import time
from collections.abc import Callable, Container, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from importlib import import_module
from itertools import chain, count
from pathlib import Path

from cogloupe.inputs.photo import PHOTO_SUFFIXES, CutShortError, read_photo
from cogloupe.inputs.settings import SETTINGS_FILE, GearSettings
from cogloupe.reading.models import Reading
from cogloupe.report.chart_process import Draw, charts_here
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError

QUIET_SECONDS = 0.5
"""A file counts as completely written when its size and time stand still this long."""
PATIENCE_SECONDS = 10.0
"""A picture that is cut short but was written to within this time is waited for: a copy that
stalls is not a bad file."""
HAND_OVER_SECONDS = 0.0005
"""A tenth of what threads may keep the interpreter by default."""
DONE_FILE = "reading.json"
FAILED_FILE = "not-read.txt"

SettingsOf = Callable[[Path], GearSettings]
Stamp = tuple[int, int]


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
        Where a path is not there, a folder cannot be looked into, or nothing is found.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(_photos_in(path)))
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
    return next(f for f in choices if f not in taken and _owner(f) in ("", photo.name))


def _owner(folder: Path) -> str:
    """Name of the photograph that a folder holds the outcome of; empty where none."""
    return _was_read(folder)[0] or _was_refused(folder)[0]


def _was_read(folder: Path) -> tuple[str, str]:
    """Name and hash of the photograph whose reading a folder holds."""
    try:
        photo = json.loads((folder / DONE_FILE).read_bytes())["photo"]
        return str(photo["file"]), str(photo["sha256"])
    except (OSError, ValueError, KeyError, TypeError):
        return "", ""


def _was_refused(folder: Path) -> tuple[str, str, str]:
    """Name and hash of what could not be read in a folder when last tried, and what was known."""
    try:
        lines = (folder / FAILED_FILE).read_text("utf-8").splitlines()
        return lines[0], lines[1], lines[2]
    except (OSError, ValueError, IndexError):
        return "", "", ""


@dataclass(frozen=True)
class Outcome:
    """What became of one photograph: a reading, or the error that stopped it."""

    photo: Path
    reading: Reading | None
    error: CogloupeError | None
    folder: Path


def load_ahead() -> None:
    """Begin to import the steps of the work in a thread of its own.

    Notes
    -----
    The functions here import them when the first photograph is decoded, which leaves the
    interpreter free for it.
    """

    def load() -> None:
        for step in ("cogloupe.inspection", "cogloupe.report.write"):
            import_module(step)

    # Decoding hands the interpreter over a hundred times, and each time waits this long for it.
    sys.setswitchinterval(HAND_OVER_SECONDS)
    threading.Thread(target=load).start()


def read_one(
    photo: Path, settings_of: SettingsOf, folder: Path, draw: Draw = charts_here
) -> Outcome:
    """Read one photograph and write its report; whatever goes wrong is told, not raised.

    Parameters
    ----------
    photo : Path
    settings_of : callable
        Gives the settings for a photograph; may raise CogloupeError.
    folder : Path
        Where the files go.
    draw : callable, optional
        Draws the charts.

    Returns
    -------
    Outcome
    """
    try:
        picture, settings = read_photo(photo), settings_of(photo)
        from cogloupe.inspection import inspect_photo
        from cogloupe.report.write import write_report

        with ThreadPoolExecutor(max_workers=1) as beside:
            charts: list[Future[dict[str, bytes]]] = []
            reading, drawing = inspect_photo(
                picture, settings, lambda figures: charts.append(beside.submit(draw, figures))
            )
            write_report(reading, drawing, folder, lambda _: charts[0].result())
    except CogloupeError as error:
        return Outcome(photo, None, error, folder)
    except Exception as error:  # a fault of ours in one photograph must not cost the others
        what = f"{photo.name} could not be read ({type(error).__name__}: {error})"
        told = PhotoError(f"{what}; please report it with the photograph")
        return Outcome(photo, None, told, folder)
    return Outcome(photo, reading, None, folder)


def count_gears(photo: Path) -> int:
    """Number of gears on a photograph; 0 where it cannot be told, which reading it will explain.

    Parameters
    ----------
    photo : Path

    Returns
    -------
    int
    """
    try:
        pixels = read_photo(photo).pixels
        from cogloupe.finding.gear_selection import gears_on

        return len(gears_on(pixels))
    except CogloupeError:
        return 0


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


def watch_folder(
    folder: Path,
    out: Path,
    settings_of: SettingsOf,
    stop: threading.Event | None = None,
    begin: Callable[[Path], object] = lambda photo: None,
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
    begin : callable, optional
        Told of each photograph before it is read.

    Yields
    ------
    Outcome
        One for each photograph, as it is read.

    Raises
    ------
    UseError
        Where the folder cannot be looked into, or is taken away.

    Notes
    -----
    A photograph that was read is known again by its name and the hash of its bytes and is not
    read twice, also after a restart; one that failed is tried again when what is known of it
    (options, gear.toml) has changed. A file is taken only when it has stood still from one look
    at the folder to the next. Looking, rather than being told of changes, also works on network
    drives, and misses nothing that arrives while a photograph is being read.
    """
    stop = stop or threading.Event()
    seen: dict[Path, Stamp] = {}
    handled: dict[Path, Stamp] = {}
    settings = _stamp(folder / SETTINGS_FILE)
    while not stop.is_set():
        before, seen = seen, {photo: _stamp(photo) for photo in _photos_in(folder)}
        if settings != (settings := _stamp(folder / SETTINGS_FILE)):
            handled.clear()
        for photo in [p for p, stamp in seen.items() if stamp == before.get(p) != handled.get(p)]:
            outcome = _read_once(photo, reading_folder(photo, out), settings_of, begin)
            if outcome is not None and _may_grow(outcome):
                continue
            handled[photo] = seen[photo]
            if outcome is not None:
                yield outcome
        stop.wait(QUIET_SECONDS)


def _may_grow(outcome: Outcome) -> bool:
    """Tell whether a photograph was cut short only because it is still being written."""
    age = time.time() - _stamp(outcome.photo)[1] / 1e9
    return isinstance(outcome.error, CutShortError) and age < PATIENCE_SECONDS


def _photos_in(folder: Path) -> list[Path]:
    try:
        return [p for p in sorted(folder.iterdir()) if is_photo(p) and p.is_file()]
    except OSError as error:
        raise UseError(f"{folder} cannot be looked into: {error.strerror}") from error


def _stamp(path: Path) -> Stamp:
    """Size and time of a file; less than nothing where it is not there."""
    try:
        status = path.stat()
    except OSError:
        return -1, -1
    return status.st_size, status.st_mtime_ns


def _read_once(
    photo: Path, folder: Path, settings_of: SettingsOf, begin: Callable[[Path], object]
) -> Outcome | None:
    """Read a photograph, unless these very bytes were read before, or failed as they will again."""
    attempt = (photo.name, _hash(photo), _known_of(photo, settings_of))
    if attempt[:2] == _was_read(folder) or attempt == _was_refused(folder):
        return None
    begin(photo)
    outcome = read_one(photo, settings_of, folder)
    with suppress(OSError):  # without the note the person still sees the message
        if outcome.error is None:
            (folder / FAILED_FILE).unlink(missing_ok=True)
        elif not _may_grow(outcome):
            folder.mkdir(parents=True, exist_ok=True)
            note = "\n".join((*attempt, str(outcome.error), ""))
            (folder / FAILED_FILE).write_text(note, "utf-8")
    return outcome


def _known_of(photo: Path, settings_of: SettingsOf) -> str:
    """What is known of a photograph, in one line that differs when it does."""
    try:
        settings = settings_of(photo)
    except CogloupeError as error:
        return str(error)
    known = settings.model_dump_json(exclude_defaults=True)
    if settings.calibration is not None:
        known += f" {_stamp(settings.calibration)}"
    return known


def _hash(photo: Path) -> str:
    try:
        return hashlib.sha256(photo.read_bytes()).hexdigest()
    except OSError:
        return ""
