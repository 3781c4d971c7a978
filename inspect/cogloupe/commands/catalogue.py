"""The commands about files of readings: looking them up, and what is in them."""

import datetime
import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cogloupe.commands.console import out_console, say, write_page
from cogloupe.commands.options import Module, Since, Teeth, Until, option
from cogloupe_calibration.errors import UseError

if TYPE_CHECKING:  # its own imports are slow, and not needed to show the help
    from cogloupe.reading.catalogue_entry import Entry


class FileChoice(StrEnum):
    """Files whose schema is published."""

    READING = "reading"
    CALIBRATION = "calibration"


def catalogue(
    folder: Annotated[Path, typer.Argument(help="Folder of readings.")] = Path("readings"),
    teeth: Teeth = None,
    module: Module = None,
    since: Since = None,
    until: Until = None,
) -> None:
    """List the readings of a folder: all, or those of a gear and of some days."""
    from cogloupe.report.catalogue_table import catalogue_table

    found = look_up(folder, teeth, module, since, until)
    if not found:
        say(f"No such readings in {folder}.")
        return
    out_console.print(catalogue_table(found))


def look_up(
    folder: Path,
    teeth: int | None,
    module: float | None,
    since: datetime.datetime | None,
    until: datetime.datetime | None,
    status: str | None = None,
) -> "list[Entry]":
    """Ask the catalogue of a folder, brought up to date, oldest first.

    Raises
    ------
    UseError
        Where there is no such folder, or the catalogue cannot be kept.
    """
    from cogloupe.folders.catalogue import Asked, catalogue_of

    if not folder.is_dir():
        raise UseError(f"{folder} is not a folder: name the folder that readings went to (--out)")
    first, last = (None if day is None else day.date() for day in (since, until))
    asked = Asked(teeth=teeth, module_mm=module, since=first, until=last, status=status)
    with catalogue_of(folder) as kept:
        kept.bring_up_to_date()
        return kept.entries(asked)


def schema(
    file: Annotated[FileChoice, typer.Argument(help="Which file.")] = FileChoice.READING,
    out: Annotated[Path | None, option("File to write it to.", "FILE")] = None,
) -> None:
    """Print the JSON Schema of reading.json or of a calibration file."""
    from cogloupe.reading.files import reading_schema
    from cogloupe_calibration.calibration import calibration_schema

    made = reading_schema() if file is FileChoice.READING else calibration_schema()
    text = json.dumps(made, indent=1, ensure_ascii=False)
    if out is None:
        say(text)
    else:
        write_page(out, text + "\n")
