"""The command that draws gears with stated faults."""

from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import say
from cogloupe.commands.options import Out


def simulate(
    scenes: Annotated[
        list[Path] | None, typer.Argument(help="Scene files (TOML).", metavar="SCENE")
    ] = None,
    out: Out = Path("simulated"),
) -> None:
    """Draw pictures of gears with stated faults, and write their truth beside them.

    Without a scene, one example is drawn.
    """
    from cogloupe.folders.places import check_writable
    from cogloupe.simulation import example_scene, simulate_files
    from cogloupe.simulation import simulate as draw

    check_writable(out)
    example = [("example", example_scene())]
    for path in simulate_files(scenes, out) if scenes else draw(example, out):
        say(str(path))
