"""The log of attempts, `trials.toml`: what was cut when, and what was changed before it.

A log is written by hand as well as by the program, so an entry is put at its end and what stands
there is left as it is, comments and all.
"""

import datetime
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from cogloupe.inputs.toml_file import parse_toml
from cogloupe.wording.wrong_fields import wrong_field
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import read_text, write_whole
from cogloupe_calibration.json_files import LaterSchemaError, check_version

NOTHING = "nothing"
"""What is written as changed where a gear was cut again without a change."""

SCHEMA_VERSION = "1.0"
LOCK_SECONDS = 60.0
"""An entry is written in some milliseconds; on a slow network drive many wait for one another."""

_HEAD = f"""# Attempts, in the order they were made. changed: what was changed on the machine before
# this gear was cut; "{NOTHING}" where it was cut again without a change, which shows by how much
# gears differ by themselves.
schema_version = "{SCHEMA_VERSION}"
"""
_LINE = r"^[^\x00-\x1f\x7f]*$"

Line = Annotated[str, Field(max_length=500, pattern=_LINE)]


class Trial(BaseModel):
    """One attempt.

    `reading` is the place of its reading.json, as seen from the log; `reading_sha256` the hash of
    that file as it was compared.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    date: datetime.date = Field(description="a date as 2026-03-14, without quotes")
    reading: Annotated[str, Field(min_length=1, max_length=1000, pattern=_LINE)] = Field(
        description="the place of its reading.json, as seen from this file"
    )
    changed: Line = Field(default="", description="one line of text, up to 500 letters")
    note: Line = Field(default="", description="one line of text, up to 500 letters")
    reading_sha256: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")] = Field(
        default="", description="what Cogloupe wrote there, or nothing"
    )

    @property
    def repeats(self) -> bool:
        """Nothing was changed before this attempt."""
        return self.changed.strip().lower().rstrip(".") == NOTHING


def load_trials(path: Path) -> tuple[Trial, ...]:
    """Read a log, its trials in the order they stand; one that is not there is empty.

    Raises
    ------
    UseError
        One line: what is wrong, where, what to write.
    """
    return parse_trials(_text(path), str(path))


def _text(path: Path) -> str:
    return read_text(path, "a log") if path.exists() else ""


def parse_trials(text: str, where: str) -> tuple[Trial, ...]:
    """Read a log's text.

    Raises
    ------
    UseError
    """
    document = parse_toml(text, where)
    try:
        check_version(str(document.pop("schema_version", SCHEMA_VERSION)), SCHEMA_VERSION)
    except LaterSchemaError as error:
        raise UseError(f"{where} {error}: update Cogloupe") from error
    entries = document.pop("trial", [])
    tables = isinstance(entries, list) and all(isinstance(entry, dict) for entry in entries)
    if document or not tables:
        names = ", ".join(document) or "trial"
        raise UseError(f"{where}: {names} is not known here: begin each attempt with [[trial]]")
    return tuple(_trial(entry, f"{where}, trial {k}") for k, entry in enumerate(entries, 1))


def _trial(entry: dict[str, object], where: str) -> Trial:
    try:
        return Trial.model_validate(entry)
    except ValidationError as error:
        if error.errors()[0]["type"] == "missing":
            name = error.errors()[0]["loc"][0]
            raise UseError(
                f"{where}: {name} is missing: give {Trial.model_fields[str(name)].description}"
            ) from error
        raise UseError(wrong_field(error, Trial, where)) from error


def make_trial(
    date: datetime.date, reading: str, changed: str = "", note: str = "", reading_sha256: str = ""
) -> Trial:
    """Make an entry from what a person said; the reading is its place as seen from the log.

    Raises
    ------
    UseError
        Where a text has more than one line or is too long.
    """
    given = {"date": date, "reading": reading, "changed": changed.strip(), "note": note.strip()}
    return _trial({**given, "reading_sha256": reading_sha256}, "the attempt")


def trial_text(trial: Trial) -> str:
    """An entry as it stands in the log."""
    import tomlkit  # nothing that only reads a log waits for it

    return tomlkit.dumps({"trial": [trial.model_dump(exclude_defaults=True)]})


def append_trials(path: Path, new: Callable[[tuple[Trial, ...]], Iterable[Trial]]) -> None:
    """Put attempts at the end of a log; what stands there stays as it is, line ends and all.

    Parameters
    ----------
    path : Path
        The log; made where it is not there. A link stays one.
    new : callable
        Gives the attempts to put there, told what the log has; nobody else writes meanwhile.

    Raises
    ------
    UseError
        Where the log is wrong, or cannot be written.
    """
    from filelock import FileLock, Timeout

    place = Path(os.path.realpath(path))
    try:
        with FileLock(place.with_name(f".{place.name}.lock"), timeout=LOCK_SECONDS):
            before = _text(place) or _HEAD
            added = [trial_text(trial) for trial in new(parse_trials(before, str(path)))]
            if added:
                after = _joined(before, added)
                parse_trials(after, str(path))
                write_whole(place, after.encode())
    except Timeout as error:
        raise UseError(f"{path} is kept by another program: end it, then try again") from error
    except OSError as error:
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error


def _joined(before: str, added: list[str]) -> str:
    """A log's text with entries behind it, all lines ended as its first one is."""
    end = "\r\n" if before.partition("\n")[0].endswith("\r") else "\n"
    return end.join([before.rstrip("\r\n") + end, *(t.replace("\n", end) for t in added)])


def seen_from(log: Path, reading: Path) -> str:
    """Place of a reading as the log writes it: relative where it lies below or beside the log.

    Slashes lean forward.
    """
    try:
        return Path(os.path.relpath(reading.resolve(), log.resolve().parent)).as_posix()
    except ValueError:  # another drive
        return reading.resolve().as_posix()


def place_of(log: Path, trial: Trial) -> Path:
    """Where an attempt's reading lies."""
    return (log.resolve().parent / trial.reading).resolve()
