"""The command that tells what on the machine would leave a reading's pattern."""

from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import out_console, say, write_page
from cogloupe.commands.options import option


def causes(
    reading: Annotated[
        Path, typer.Argument(help="Reading (reading.json, or its folder).", metavar="READING")
    ],
    machine: Annotated[
        Path | None,
        option("Machine file: names periods, and gives sizes in its steps and pulses.", "FILE"),
    ] = None,
    out: Annotated[
        Path | None, option("Page to write (HTML), with the pattern drawn.", "FILE")
    ] = None,
) -> None:
    """Rank what on the machine would leave this pattern, and say which cheap test to make next."""
    from cogloupe.causes.diagnosis import diagnose
    from cogloupe.planning.machine import load_machine
    from cogloupe.reading.files import load_reading
    from cogloupe.report.causes_page import cause_tables, causes_html
    from cogloupe.report.causes_text import headline

    told = load_machine(machine) if machine is not None else None
    found = load_reading(reading / "reading.json" if reading.is_dir() else reading)
    diagnosis = diagnose(found, told)
    for table in cause_tables(diagnosis):
        out_console.print(table)
    say(headline(diagnosis))
    if out is not None:
        write_page(out, causes_html(found, diagnosis))
    else:
        say("Add --out causes.html for the page with the pattern drawn.")
