"""The command that tells what is installed, and whether camera and browser work."""

import platform
import re
import shutil
import sys
import webbrowser
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from cogloupe import __version__
from cogloupe.commands.console import NOT_ALL_READ, READ, out_console, say

Finding = tuple[str, bool, str]
"""What was looked at, whether it serves, and what was found."""


def doctor(
    camera: Annotated[
        bool, typer.Option("--camera/--no-camera", help="Look for cameras; takes some seconds.")
    ] = True,
) -> None:
    """Tell what is installed, and whether camera and browser work.

    Exit status 1 where something is missing that the readings need.
    """
    from cogloupe.report.console_tables import console_table
    from cogloupe.report.tables import text_table

    needed = [*_python(), *_libraries(), _reads()]
    more = [_browser(), *([_cameras()] if camera else [])]
    rows = [(what, "yes" if serves else "no", told) for what, serves, told in (*needed, *more)]
    out_console.print(console_table(text_table("", ("what", "works", "found"), rows)))
    missing = [what for what, serves, _ in needed if not serves]
    if missing:
        say(f"Missing: {', '.join(missing)}. Install Cogloupe again, as the README says.")
        raise typer.Exit(NOT_ALL_READ)
    say("All that the readings need is there.")
    raise typer.Exit(READ)


def _python() -> Iterator[Finding]:
    yield "Cogloupe", True, f"{__version__} in {Path(__file__).parents[1]}"
    found = f"{platform.python_version()} on {platform.system()} {platform.machine()}"
    yield "Python 3.11 or newer", sys.version_info >= (3, 11), found


def _libraries() -> Iterator[Finding]:
    """Every library that an installation asks for, with its version."""
    try:
        asked = requires("cogloupe") or []
    except PackageNotFoundError:
        yield "installed package", False, "cogloupe is run from its source, without an installation"
        return
    for line in asked:
        if "extra ==" in line:
            continue
        name = re.split(r"[^\w.-]", line, maxsplit=1)[0]
        try:
            yield name, True, version(name)
        except PackageNotFoundError:
            yield name, False, "not installed"


def _reads() -> Finding:
    """Read a picture that is drawn for the purpose, whole way and all."""
    from cogloupe.inputs.photo import read_photo
    from cogloupe.inputs.settings import settings_for
    from cogloupe.inspection import inspect_photo
    from cogloupe.simulation import Camera, GearSpec, Scene, simulate

    frame = Camera(mm_per_px=0.03, width_px=560, height_px=560)
    scene = Scene(gear=GearSpec(teeth=16, module_mm=0.8), camera=frame)
    try:
        with TemporaryDirectory() as folder:
            (picture,) = simulate([("doctor", scene)], Path(folder))
            reading, _ = inspect_photo(read_photo(picture), settings_for(picture, {}))
    except Exception as error:  # whatever it is, it is what the person needs to hear
        return "reading a picture", False, f"{type(error).__name__}: {error}"
    return "reading a picture", reading.gear.teeth == 16, "a wheel of 16 teeth was drawn and read"


def _browser() -> Finding:
    try:
        return "browser for the bench", True, webbrowser.get().name
    except webbrowser.Error:
        found = next(filter(shutil.which, ("chromium", "firefox", "google-chrome")), "")
        told = f"{found} is there, but no usual browser is set" if found else "none was found"
        return "browser for the bench", bool(found), told


def _cameras() -> Finding:
    from cogloupe.bench.camera import Camera

    found = Camera().found()
    told = f"camera {', '.join(found)}" if found else "none answers; photographs can be dropped in"
    return "camera for the bench", bool(found), told
