"""Keeps the page of a folder of readings in step with what is read."""

from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from cogloupe.reading.files import load_reading
from cogloupe.report.folder_page import (
    DATA_FILE,
    INDEX_FILE,
    Entry,
    entries_in,
    entry_of,
    index_data,
    index_html,
)
from cogloupe.report.write import write_files, write_shared
from cogloupe_calibration.errors import UseError

READING_FILE = "reading.json"
OURS = (".toml", ".json", ".csv", ".md", ".txt", ".html", ".js", ".pdf", ".svg", ".xlsx", ".dxf")
"""Files that lie beside photographs and are none."""
MOVIES = (".mp4", ".mov", ".avi", ".mkv", ".webm", ".m4v", ".3gp", ".wmv")
PHONES = (".heic", ".heif", ".avif")
RAW = (".dng", ".cr2", ".cr3", ".nef", ".arw", ".orf", ".raf", ".rw2")


class FolderPage:
    """The page of one folder of readings, written anew whenever something is noted.

    Parameters
    ----------
    out : Path
        The folder of readings.
    watching : bool
        Readings go on coming, so that the page is to look again.
    """

    def __init__(self, out: Path, watching: bool = False) -> None:
        self._out, self._watching, self._now = out, watching, ""
        self._entries = {_key(entry): entry for entry in self._known()}

    def begin(self, photo: Path) -> None:
        """Say that a photograph is being read.

        Parameters
        ----------
        photo : Path
        """
        self._now = photo.name
        self.write()

    def note(self, entries: Iterable[Entry]) -> None:
        """Put in what became of some photographs, in place of what was known of them.

        Parameters
        ----------
        entries : iterable of Entry
        """
        self._now = ""
        for entry in entries:
            self._entries.pop(entry.photo, None)  # what was said while it was not read
            self._entries[_key(entry)] = entry
        self.write()

    def end(self) -> None:
        """Say that nothing more will come."""
        self._watching, self._now = False, ""
        self.write()

    @property
    def entries(self) -> list[Entry]:
        """What is there, newest first."""
        there = [e for e in self._entries.values() if not e.folder or self._is_there(e)]
        return sorted(there, key=lambda entry: entry.when, reverse=True)

    def write(self) -> None:
        """Write the page; what cannot be written costs no reading."""
        stamp, newest, title = timestamp(), self.entries, self._out.resolve().name
        with suppress(OSError):
            write_shared(self._out)
            write_files(self._out, {
                DATA_FILE: index_data(newest, stamp, self._watching, self._now).encode(),
                INDEX_FILE: index_html(title).encode(),
            })  # fmt: skip

    def _is_there(self, entry: Entry) -> bool:
        return (self._out / entry.folder / READING_FILE).exists()

    def _known(self) -> list[Entry]:
        """What an earlier page said; without one, what the readings themselves say."""
        try:
            return entries_in((self._out / DATA_FILE).read_text("utf-8"))
        except OSError:
            return [
                found
                for path in sorted(self._out.glob(f"*/{READING_FILE}"))
                if (found := self._from_file(path)) is not None
            ]

    def _from_file(self, path: Path) -> Entry | None:
        with suppress(UseError, OSError):
            when = datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")
            return entry_of(load_reading(path), path.parent.name, when)
        return None


def _key(entry: Entry) -> str:
    """What tells entries apart: the reading's folder, for a picture may show several gears."""
    return entry.folder or entry.photo


def timestamp() -> str:
    """Now, as the page writes it.

    Returns
    -------
    str
        ISO 8601, to the millisecond.
    """
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def passed_over(folder: Path) -> list[Entry]:
    """Files of a folder that are not looked at, with the reason.

    Parameters
    ----------
    folder : Path
        Where photographs lie.

    Returns
    -------
    list of Entry
        Without our own settings and what is hidden.
    """
    from cogloupe.inputs.photo import PHOTO_SUFFIXES

    found = []
    for path in sorted(folder.iterdir()) if folder.is_dir() else []:
        kind = path.suffix.lower()
        if path.is_dir() or path.name.startswith((".", "~")) or kind in (*PHOTO_SUFFIXES, *OURS):
            continue
        when = datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")
        found.append(Entry(
            photo=path.name, status="not_looked_at", when=when, reason=why_not(path.name),
        ))  # fmt: skip
    return found


def why_not(name: str) -> str:
    """Why a file of this name is not read, and what to do.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
    """
    kind = Path(name).suffix.lower()
    if kind in MOVIES:
        return "a movie: save a still picture of it as JPEG or PNG"
    if kind in PHONES:
        return "a phone's own format: set its camera to JPEG, or save the picture as JPEG"
    if kind in RAW:
        return "a camera's raw format: develop it without sharpening, and save it as TIFF or PNG"
    named = f"files ending in {kind}" if kind else "files without an ending"
    return f"{named} are not read: save the picture as JPEG, PNG or TIFF"
