"""The log of attempts, `trials.toml`: what was cut when, and what was changed before it.

A log is written by hand as well as by the program, so an entry is put at its end and what stands
there is left as it is, comments and all.
"""

import datetime
import json
import os
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from cogloupe.inputs.toml_file import parse_toml
from cogloupe.wording.wrong_fields import wrong_field
from cogloupe_calibration.errors import UseError

NOTHING = "nothing"
"""What is written as changed where a gear was cut again without a change."""

_HEAD = f"""# Attempts, in the order they were made. changed: what was changed on the machine before
# this gear was cut; "{NOTHING}" where it was cut again without a change, which shows by how much
# gears differ by themselves.
"""
# Without control characters a text in JSON is one in TOML too.
_LINE = r"^[^\x00-\x1f\x7f]*$"

Line = Annotated[str, Field(max_length=500, pattern=_LINE)]


class Trial(BaseModel):
    """One attempt.

    `reading` is the place of its reading.json, as seen from the log.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    date: datetime.date = Field(description="a date as 2026-03-14, without quotes")
    reading: Annotated[str, Field(min_length=1, max_length=1000, pattern=_LINE)] = Field(
        description="the place of its reading.json, as seen from this file"
    )
    changed: Line = Field(default="", description="one line of text, up to 500 letters")
    note: Line = Field(default="", description="one line of text, up to 500 letters")

    @property
    def repeats(self) -> bool:
        """Nothing was changed before this attempt."""
        return self.changed.strip().lower().rstrip(".") == NOTHING


def load_trials(path: Path) -> tuple[Trial, ...]:
    """Read a log.

    Parameters
    ----------
    path : Path
        The log; one that is not there is empty.

    Returns
    -------
    tuple of Trial
        In the order they stand.

    Raises
    ------
    UseError
        One line: what is wrong, where, what to write.
    """
    return parse_trials(_text(path), str(path))


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8-sig") if path.exists() else ""
    except (OSError, UnicodeDecodeError) as error:
        raise UseError(f"{path} cannot be read as a log: {error}") from error


def parse_trials(text: str, where: str) -> tuple[Trial, ...]:
    """Read a log's text.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        File it came from, for the message.

    Returns
    -------
    tuple of Trial

    Raises
    ------
    UseError
    """
    document = parse_toml(text, where)
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


def make_trial(date: datetime.date, reading: str, changed: str = "", note: str = "") -> Trial:
    """Make an entry from what a person said.

    Parameters
    ----------
    date : date
    reading : str
        Place of reading.json as seen from the log.
    changed, note : str

    Returns
    -------
    Trial

    Raises
    ------
    UseError
        Where a text has more than one line or is too long.
    """
    given = {"date": date, "reading": reading, "changed": changed.strip(), "note": note.strip()}
    return _trial(given, "the attempt")


def trial_text(trial: Trial) -> str:
    """An entry as it stands in the log.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    str
    """
    lines = ["[[trial]]", f"date = {trial.date.isoformat()}", _line("reading", trial.reading)]
    lines += [_line(n, v) for n in ("changed", "note") if (v := getattr(trial, n))]
    return "\n".join(lines) + "\n"


def _line(name: str, text: str) -> str:
    return f"{name} = {json.dumps(text, ensure_ascii=False)}"


def append_trials(path: Path, trials: tuple[Trial, ...]) -> None:
    """Put attempts at the end of a log; what stands there stays as it is.

    Parameters
    ----------
    path : Path
        The log; made where it is not there.
    trials : tuple of Trial

    Raises
    ------
    UseError
        Where the log is wrong, or cannot be written.
    """
    if not trials:
        return
    before = _text(path) or _HEAD
    after = "\n".join([before.rstrip("\n") + "\n", *map(trial_text, trials)])
    parse_trials(after, str(path))
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(after, "utf-8")
        os.replace(part, path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error


def seen_from(log: Path, reading: Path) -> str:
    """Place of a reading as the log writes it: relative where it lies below or beside the log.

    Parameters
    ----------
    log, reading : Path

    Returns
    -------
    str
        With forward slashes.
    """
    try:
        return Path(os.path.relpath(reading.resolve(), log.resolve().parent)).as_posix()
    except ValueError:  # another drive
        return reading.resolve().as_posix()


def place_of(log: Path, trial: Trial) -> Path:
    """Where an attempt's reading lies.

    Parameters
    ----------
    log : Path
    trial : Trial

    Returns
    -------
    Path
    """
    return (log.resolve().parent / trial.reading).resolve()
