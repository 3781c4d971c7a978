"""The command that opens the local page."""

from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import say
from cogloupe.commands.options import option
from cogloupe_calibration.errors import UseError


def bench(
    folder: Annotated[
        Path, typer.Argument(help="Folder of photographs, settings and readings.", metavar="FOLDER")
    ] = Path(),
    port: Annotated[
        int, typer.Option(help="Port on the loopback; 0 takes a free one.", min=0, max=65535)
    ] = 0,
    camera: Annotated[Path | None, option("A video file in place of a camera.", "FILE")] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the browser.")
    ] = True,
) -> None:
    """Do all of it on a page in the browser: drop a photograph in, read, compare, plan.

    The page answers on this machine only, and reads and writes nothing outside FOLDER.
    """
    from cogloupe.bench.gears_folder import GearsFolder
    from cogloupe.bench.server import serve

    if not folder.is_dir():
        raise UseError(f"{folder} is not a folder: name the one your photographs lie in")
    if camera is not None and not camera.is_file():
        raise UseError(f"{camera} is not there: name a video file")
    serve(GearsFolder(folder.resolve()), port, str(camera or ""), browser, say)
