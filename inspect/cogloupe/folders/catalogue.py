"""The catalogue of a folder of readings: which there are, found by what they came to.

It holds nothing of its own: lost or spoilt, it is made again from the folders.
"""

import datetime
import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from cogloupe.folders.places import PART
from cogloupe.reading.catalogue_entry import Entry, entry_of
from cogloupe.reading.files import READING_MOST_BYTES
from cogloupe.reading.provenance import READING_FILE, REFUSED_FILE, load_refused
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import read_file
from cogloupe_calibration.plain_text import printable

CATALOGUE_FILE = "catalogue.sqlite"
VERSION = 1
"""Grows with the columns: a catalogue of another version is made again."""
WAIT_SECONDS = 20.0
"""Another program keeps the catalogue for a second or two at most."""
SAME_MODULE = 0.005
"""Modules that differ by less are one size: a diametral pitch is written with so many digits."""

_NAMES = [field.name for field in fields(Entry)]
_COLUMNS = ", ".join(_NAMES)
_PLACES = ", ".join(f":{name}" for name in _NAMES)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What readings are looked for; None asks for nothing.

    The module is met within half a per cent. Days, first and last, are those on which photographs
    were taken, or else read; the status is "read" or "not_read".
    """

    teeth: int | None = None
    module_mm: float | None = None
    since: datetime.date | None = None
    until: datetime.date | None = None
    status: str | None = None

    def where(self) -> tuple[str, list[object]]:
        """Spell it as SQL has it: the condition, and the values for its places."""
        day, m = "substr(coalesce(taken, read_at), 1, 10)", self.module_mm
        conditions: list[tuple[str, object]] = [
            ("teeth = ?", self.teeth),
            ("module_mm >= ?", None if m is None else m * (1 - SAME_MODULE)),
            ("module_mm <= ?", None if m is None else m * (1 + SAME_MODULE)),
            (f"{day} >= ?", self.since and self.since.isoformat()),
            (f"{day} <= ?", self.until and self.until.isoformat()),
            ("status = ?", self.status),
        ]
        used = [(text, value) for text, value in conditions if value is not None]
        return " AND ".join(text for text, _ in used) or "1", [value for _, value in used]


class Catalogue:
    """The catalogue of a folder of readings, while it is open."""

    def __init__(self, out: Path, database: sqlite3.Connection) -> None:
        self._out, self._database = out, database

    def bring_up_to_date(self) -> int:
        """Look through the folders, and read again what is new or changed there.

        Number of entries that were added, changed or taken away.
        """
        rows = self._database.execute("SELECT folder, stamp FROM entry")
        known, there = dict(rows.fetchall()), dict(_outcomes_in(self._out))
        gone = [(folder,) for folder in known if folder not in there]
        changed = [folder for folder, stamp in there.items() if known.get(folder) != stamp]
        with self._database:
            self._database.executemany("DELETE FROM entry WHERE folder = ?", gone)
            self._database.executemany(
                f"INSERT OR REPLACE INTO entry (stamp, {_COLUMNS}) VALUES (:stamp, {_PLACES})",
                ({"stamp": there[f], **asdict(_entry(self._out, f))} for f in changed),
            )
        return len(gone) + len(changed)

    def entries(self, asked: Asked | None = None) -> list[Entry]:
        """Look readings up, by day, oldest first; all where nothing is asked."""
        condition, values = (asked or Asked()).where()
        rows = self._database.execute(
            f"SELECT {_COLUMNS} FROM entry WHERE {condition} "
            "ORDER BY coalesce(taken, read_at), folder",
            values,
        )
        return [Entry(**dict(zip(_NAMES, row, strict=True))) for row in rows]


@contextmanager
def catalogue_of(out: Path) -> Iterator[Catalogue]:
    """Open the catalogue of a folder of readings, made anew where it is not there or spoilt.

    As it was left; `bring_up_to_date` looks at the folders.

    Raises
    ------
    UseError
        Where it cannot be kept.
    """
    path = out / CATALOGUE_FILE
    try:
        with closing(_opened(path)) as database:
            yield Catalogue(out, database)
    except (sqlite3.Error, OSError) as error:
        raise UseError(f"{path} cannot be kept: {error}") from error


def _opened(path: Path) -> sqlite3.Connection:
    try:
        return _checked(path)
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):  # kept by another, or cannot be written
            raise
        path.unlink()
        return _checked(path)


def _checked(path: Path) -> sqlite3.Connection:
    """Open a catalogue of this version."""
    # What is lost with the power is made again, so nothing is waited for.
    database = sqlite3.connect(path, timeout=WAIT_SECONDS)
    try:
        database.execute("PRAGMA synchronous = OFF")
        if database.execute("PRAGMA user_version").fetchone() != (VERSION,):
            with database:
                database.execute("BEGIN IMMEDIATE")
                database.execute("DROP TABLE IF EXISTS entry")
                columns = ", ".join(n for n in _NAMES if n != "folder")
                database.execute(
                    f"CREATE TABLE entry (folder TEXT PRIMARY KEY, stamp TEXT, {columns})"
                )
                database.execute(f"PRAGMA user_version = {VERSION}")
        database.execute("SELECT folder, stamp FROM entry LIMIT 1")
    except sqlite3.Error:
        database.close()
        raise
    return database


def _outcomes_in(out: Path) -> Iterator[tuple[str, str]]:
    """Every folder that holds an outcome, as seen from the folder of readings, and its stamp."""
    for folder in _folders_in(out):
        parts = [folder, *(p for p in _folders_in(folder.path) if p.name.startswith(PART))]
        for part in parts:
            stamp = _stamp_in(part.path)
            if stamp:
                yield os.path.relpath(part.path, out).replace(os.sep, "/"), stamp


def _folders_in(folder: Path | str) -> list["os.DirEntry[str]"]:
    with os.scandir(folder) as items:
        return [item for item in items if _is_shown(item.name) and item.is_dir()]


def _is_shown(name: str) -> bool:
    """Neither hidden nor one that cannot be written down; readings are in no such folder."""
    return not name.startswith(".") and printable(name) == name


def _stamp_in(folder: str) -> str:
    """Which file tells of an outcome, and its time and size; empty where there is none."""
    for name in (READING_FILE, REFUSED_FILE):
        try:
            status = os.stat(os.path.join(folder, name))
        except OSError:
            continue
        return f"{name} {status.st_mtime_ns} {status.st_size}"
    return ""


def _entry(out: Path, folder: str) -> Entry:
    """Entry of a folder as it is now."""
    place = out / folder
    name = READING_FILE if (place / READING_FILE).exists() else REFUSED_FILE
    try:
        moment = datetime.datetime.fromtimestamp((place / name).stat().st_mtime)
        read_at = moment.isoformat(timespec="seconds")
        if name == REFUSED_FILE:
            return _refused_entry(place, folder, read_at)
        reading = json.loads(read_file(place / READING_FILE, READING_MOST_BYTES))
        return entry_of(folder, reading, read_at)
    except (OSError, ValueError, AttributeError, RecursionError) as error:
        return Entry(folder=folder, status="not_read", reason=printable(f"not a reading: {error}"))


def _refused_entry(place: Path, folder: str, read_at: str) -> Entry:
    refused = load_refused(place)
    if refused is None:
        return Entry(folder=folder, status="not_read", read_at=read_at)
    return Entry(
        folder=folder, status="not_read", read_at=read_at, reason=printable(refused.reason),
        photo=printable(refused.photo), sha256=printable(refused.sha256),
    )  # fmt: skip
