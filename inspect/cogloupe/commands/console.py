"""How every command speaks: two consoles and the exit statuses."""

from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from cogloupe_calibration.errors import CogloupeError, UseError

if TYPE_CHECKING:  # its own imports are slow
    from cogloupe.wording.notices import Notice

READ, NOT_ALL_READ, WRONG_USE = 0, 1, 2
INTERRUPTED = 130  # 128 + SIGINT, as shells have it

out_console = Console()
error_console = Console(stderr=True)


def about(photo: Path, error: CogloupeError) -> str:
    """Put the photograph's name before a message that does not begin with it."""
    message = str(error)
    return message if message.startswith(photo.name) else f"{photo.name}: {message}"


def notice_line(notice: "Notice") -> str:
    """What a notice says, and of which teeth."""
    teeth = f" (teeth {', '.join(map(str, notice.teeth))})" if notice.teeth else ""
    return notice.message + teeth


def complain(message: str) -> None:
    """Tell of an error."""
    error_console.print(message, style="red", markup=False, highlight=False, soft_wrap=True)


def say(message: str) -> None:
    """Tell a line as it is, without colours or folding."""
    out_console.print(message, markup=False, highlight=False, soft_wrap=True)


def write_page(path: Path, page: str) -> None:
    """Write a page, or tell that its place cannot be written."""
    write_file(path, page.encode())
    say(f"Written to {path}.")


def write_file(path: Path, data: bytes) -> None:
    """Write a file, or tell that its place cannot be written."""
    try:
        path.write_bytes(data)
    except OSError as error:
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error
