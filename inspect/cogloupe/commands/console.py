"""How every command speaks: two consoles and the exit statuses."""

import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from cogloupe_calibration.errors import CogloupeError, UseError
from cogloupe_calibration.files import write_whole
from cogloupe_calibration.plain_text import printable, shown_name

if TYPE_CHECKING:  # its own imports are slow
    from cogloupe.wording.notices import Notice

READ, NOT_ALL_READ, WRONG_USE, OUR_FAULT = 0, 1, 2, 3
"""Exit statuses: 0 and 2 as shells and option parsers have them, the others our own."""
INTERRUPTED = 130  # 128 + SIGINT, as shells have it

out_console = Console()
error_console = Console(stderr=True)


def about(photo: Path, error: CogloupeError) -> str:
    """Put the photograph's name before a message that does not begin with it."""
    message, name = str(error), shown_name(photo)
    return message if message.startswith(name) else f"{name}: {message}"


def notice_line(notice: "Notice") -> str:
    """What a notice says, and of which teeth."""
    teeth = f" (teeth {', '.join(map(str, notice.teeth))})" if notice.teeth else ""
    return notice.message + teeth


def complain(message: str) -> None:
    """Tell of an error."""
    error_console.print(
        printable(message), style="red", markup=False, highlight=False, soft_wrap=True
    )


def say(message: str) -> None:
    """Tell lines as they are, without colours or folding."""
    lines = "\n".join(map(printable, message.split("\n")))
    out_console.print(lines, markup=False, highlight=False, soft_wrap=True)


def write_page(path: Path, page: str) -> None:
    """Write a page, or tell that its place cannot be written."""
    write_file(path, page.encode())
    say(f"Written to {path}.")


def write_file(path: Path, data: bytes) -> None:
    """Write a file, or tell that its place cannot be written."""
    try:
        write_whole(path, data)
    except OSError as error:
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error


@contextmanager
def only_our_words() -> Iterator[None]:
    """Keep from the terminal what libraries print by themselves of a picture that is damaged.

    Notes
    -----
    Image libraries write to the second file of the process, past everything in Python: that goes
    nowhere, and what is said here goes to where it went before.
    """
    own = sys.stderr
    with suppress(AttributeError, ValueError, OSError):
        own.flush()
        sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    copy = os.dup(2)
    with (
        warnings.catch_warnings(action="ignore"),
        open(os.devnull, "w") as nowhere,
        os.fdopen(copy, "w", encoding=own.encoding, errors="backslashreplace", buffering=1) as ours,
    ):
        os.dup2(nowhere.fileno(), 2)
        sys.stderr = ours
        try:
            yield
        finally:
            sys.stderr = own
            os.dup2(copy, 2)
