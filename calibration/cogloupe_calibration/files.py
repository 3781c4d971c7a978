"""Files of every kind: none hangs or floods what reads it, none is left half written."""

import errno
import os
import shutil
import stat
import tempfile
import time
from contextlib import suppress
from glob import escape
from pathlib import Path

from cogloupe_calibration.errors import UseError

TOML_MOST_BYTES = 2**20
"""Settings of ten thousand pictures, or as many attempts, are not longer."""
STALE_SECONDS = 3600.0
"""A page is written in milliseconds: what has lain unfinished for so long, nobody will finish."""


def read_file(path: Path, most_bytes: int) -> bytes:
    """Read an ordinary file that is not too large.

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

    Into a folder that exists; of a link what it points to is written.

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
    """Take away what a killed process left unfinished of a file, where it is some seconds old."""
    for part in target.parent.glob(f"{escape(_prefix(target))}*.part"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime >= older_than:
                part.unlink()


def read_text(path: Path, what: str) -> str:
    """Read a text that a person writes, its line ends as they are.

    Raises
    ------
    UseError
    """
    try:
        return read_file(path, TOML_MOST_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise UseError(f"{path} cannot be read as {what}: {reason}") from error
