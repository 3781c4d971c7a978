"""What is noted beside a reading: of which picture, by which settings, whole or not, logged or not.

The notes are small, so that ten thousand folders are looked through in a second or two.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from cogloupe_calibration.files import read_file, write_whole
from cogloupe_calibration.plain_text import printable

READING_FILE = "reading.json"
MARK_FILE = ".cogloupe.json"
REFUSED_FILE = "not-read.txt"
LOGGED_FILE = "logged.txt"
READING_FILES = frozenset({
    READING_FILE, MARK_FILE, REFUSED_FILE, "teeth.csv", "teeth.xlsx", "report.html", "overlay.png",
    "chart.png", "outline.svg", "outline.dxf", "thumbnail.jpg", "profiles.png", "gaps.png",
    "camera.png",
})  # fmt: skip
"""What a reading's folder may hold of its own, what was exported of it or an earlier version wrote
included; a later reading takes it all away."""
MARK_MOST_BYTES = 100_000
"""A hundred times what is written."""

_LOGGED_HEAD = "A log of attempts names this reading, so it is never replaced. The logs:\n"


@dataclass(frozen=True)
class Stamp:
    """Where a picture's file was, its size and time: while they stand, so do its bytes."""

    path: str
    size: int
    mtime_ns: int


@dataclass(frozen=True)
class Mark:
    """Which picture a folder's reading is of, and what makes the folder whole.

    Attributes
    ----------
    sha256 : str
        Of the picture's bytes; of a set, of its pictures' hashes.
    stamp : Stamp or None
        Of the picture's file; None for a set, and where it was sent from elsewhere.
    known : str
        What it was read by: version and settings.
    files : mapping of str to int
        Size of each file of the reading.
    """

    sha256: str
    stamp: Stamp | None
    known: str
    files: Mapping[str, int]


@dataclass(frozen=True)
class Refused:
    """A picture that could not be read when it was last tried, by what was known, and why."""

    photo: str
    sha256: str
    known: str
    reason: str
    details: str = ""


def mark_bytes(mark: Mark) -> bytes:
    """Write a mark as it is kept."""
    return json.dumps(asdict(mark)).encode()


def load_mark(folder: Path) -> Mark | None:
    """Read the mark of a reading's folder; None where there is none that can be read."""
    try:
        kept = json.loads(read_file(folder / MARK_FILE, MARK_MOST_BYTES))
        stamp = None if kept["stamp"] is None else Stamp(**kept["stamp"])
        files = {str(name): int(size) for name, size in kept["files"].items()}
        return Mark(str(kept["sha256"]), stamp, str(kept["known"]), files)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def is_whole(folder: Path, mark: Mark) -> bool:
    """Tell whether every file of a reading is there as it was written."""
    try:
        return all((folder / name).stat().st_size == size for name, size in mark.files.items())
    except OSError:
        return False


def note_refused(folder: Path, refused: Refused) -> None:
    """Note that a picture could not be read.

    Parameters
    ----------
    folder : Path
        Made where it is not there.

    Raises
    ------
    OSError
    """
    folder.mkdir(parents=True, exist_ok=True)
    lines = (refused.photo, refused.sha256, refused.known, refused.reason)
    text = "\n".join([*map(printable, lines), "", refused.details])
    write_whole(folder / REFUSED_FILE, text.encode("utf-8", "backslashreplace"))


def load_refused(folder: Path) -> Refused | None:
    """Read the note of a picture that could not be read.

    None where there is none that can be read.
    """
    try:
        text = read_file(folder / REFUSED_FILE, MARK_MOST_BYTES).decode("utf-8")
        return Refused(*text.split("\n")[:4])
    except (OSError, ValueError, TypeError):
        return None


def is_logged(folder: Path) -> bool:
    """Tell whether a log of attempts names the reading of a folder."""
    return (folder / LOGGED_FILE).exists()


def note_logged(folder: Path, logs: Iterable[Path]) -> None:
    """Note that logs of attempts name the reading of a folder, so that it is never replaced.

    Raises
    ------
    OSError
    """
    path = folder / LOGGED_FILE
    try:
        known = path.read_text("utf-8").splitlines()[1:]
    except (OSError, UnicodeDecodeError):
        known = []
    names = list(dict.fromkeys([*known, *(printable(str(log)) for log in logs)]))
    if names != known:
        write_whole(path, (_LOGGED_HEAD + "\n".join(names) + "\n").encode())
