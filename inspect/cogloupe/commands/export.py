"""The command that makes a spreadsheet and outlines for CAD of readings."""

from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import say, write_file


def export(
    readings: Annotated[
        list[Path], typer.Argument(help="Readings, by their folders.", metavar="READING")
    ],
) -> None:
    """Make teeth.xlsx, and outline.dxf in true size, beside the files of each reading."""
    from cogloupe.comparing.attempts import find_reading
    from cogloupe.reading.files import load_reading
    from cogloupe.report.outline_files import outline_dxf, read_outlines
    from cogloupe.report.spreadsheet import teeth_xlsx

    for place in readings:
        path = find_reading(place)
        write_file(path.with_name("teeth.xlsx"), teeth_xlsx(load_reading(path)))
        say(f"Written to {path.with_name('teeth.xlsx')}.")
        drawing = path.with_name("outline.svg")
        if drawing.is_file():
            outlines = read_outlines(drawing.read_text("utf-8"))
            write_file(path.with_name("outline.dxf"), outline_dxf(outlines))
            say(f"Written to {path.with_name('outline.dxf')}.")
        else:
            say(f"{path.parent} holds no outline.svg: read the photograph again for outlines.")
