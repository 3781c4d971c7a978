"""Files of every kind: none hangs or floods what reads it, none is left half written."""

import errno
import os
import re
import shutil
import stat
import tempfile
import time
import tomllib
from contextlib import suppress
from glob import escape
from pathlib import Path
from typing import Any

from cogloupe_calibration.errors import UseError
from cogloupe_calibration.plain_text import check_letters, printable

TOML_MOST_BYTES = 2**20
"""Settings of ten thousand pictures, or as many attempts, are not longer."""
LONGEST_LINE = 12_000
"""Letters; a note of 500, each written as an escape, is half as long."""
STALE_SECONDS = 3600.0
"""A page is written in milliseconds: what has lain unfinished for so long, nobody will finish."""

# A name of very many parts costs the parser time and memory by their square.
_LONG_NAME = re.compile(r"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){16}")
_QUOTED = re.compile(r"\"[^\"\n]*+\"|'[^'\n]*+'")


def read_file(path: Path, most_bytes: int) -> bytes:
    """Read an ordinary file that is not too large.

    Parameters
    ----------
    path : Path
    most_bytes : int
        Largest size that is read.

    Returns
    -------
    bytes

    Raises
    ------
    OSError
        Where it cannot be read, is larger, or is a pipe, device or folder, which is not opened.
    """
    status = path.stat()
    if not stat.S_ISREG(status.st_mode):
        raise OSError(errno.EINVAL, "It is no ordinary file")
    if status.st_size <= most_bytes:
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
        if len(data) <= most_bytes:
            return data
    raise OSError(errno.EFBIG, f"It is larger than {most_bytes / 1e6:.3g} MB")


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that the old one stays until the new one is there, whole.

    Parameters
    ----------
    path : Path
        In a folder that exists. A link stays a link: what it points to is written.
    data : bytes

    Raises
    ------
    OSError
        Where it cannot be written; the old one is as it was.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_file():
        raise OSError(errno.EINVAL, "It is no ordinary file")
    sweep(target)
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=_prefix(target), suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        _like(target, name)
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _prefix(target: Path) -> str:
    return f".{target.name[:40]}."


def _like(target: Path, name: str) -> None:
    """Give a new file the rights of the one it replaces, else those that files have here."""
    if target.exists():
        shutil.copymode(target, name)
    else:
        os.chmod(name, 0o644)


def sweep(target: Path, older_than: float = STALE_SECONDS) -> None:
    """Take away what a killed process left unfinished of a file.

    Parameters
    ----------
    target : Path
    older_than : float, optional
        Age in seconds from which nobody is at work on it.
    """
    for part in target.parent.glob(f"{escape(_prefix(target))}*.part"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime >= older_than:
                part.unlink()


def load_toml(path: Path, what: str = "TOML") -> dict[str, Any]:
    """Read a file of settings.

    Parameters
    ----------
    path : Path
    what : str, optional
        What it is to be read as, for the message.

    Returns
    -------
    dict

    Raises
    ------
    UseError
        Where it cannot be read, is no TOML, or is larger or deeper than a person writes.
    """
    return parse_toml(read_text(path, what), str(path), what)


def read_text(path: Path, what: str) -> str:
    """Read a text that a person writes, its line ends as they are.

    Parameters
    ----------
    path : Path
    what : str
        What it is to be read as, for the message.

    Returns
    -------
    str

    Raises
    ------
    UseError
    """
    try:
        return read_file(path, TOML_MOST_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise UseError(f"{path} cannot be read as {what}: {reason}") from error


def parse_toml(text: str, where: str, what: str = "TOML") -> dict[str, Any]:
    """Read the text of a file of settings.

    Parameters
    ----------
    text : str
    where : str
        File it came from, for the message.
    what : str, optional
        What it is to be read as, for the message.

    Returns
    -------
    dict

    Raises
    ------
    UseError
    """
    try:
        check_lines(text)
        document = tomllib.loads(text.removeprefix("\ufeff"))  # which some editors put there
        check_letters(document)
    except RecursionError as error:
        raise UseError(f"{where} cannot be read as {what}: it is nested too deeply") from error
    except ValueError as error:
        raise UseError(f"{where} cannot be read as {what}: {printable(str(error))}") from error
    return document


def check_lines(text: str) -> None:
    """Refuse lines that nobody writes, and that a parser would take minutes and gigabytes for.

    Parameters
    ----------
    text : str
        TOML.

    Raises
    ------
    ValueError
        Naming the line.
    """
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE:
            raise ValueError(f"line {number} has {len(line)} letters, more than {LONGEST_LINE}")
        if line.count(".") >= 16 and _LONG_NAME.search(_QUOTED.sub("q", line)):
            raise ValueError(f"line {number} has a name of more than 16 parts")
