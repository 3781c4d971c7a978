"""The command that tells whether a change helped."""

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cogloupe.commands.catalogue import look_up
from cogloupe.commands.console import out_console, say, write_page
from cogloupe.commands.options import Module, Since, Teeth, Until, option
from cogloupe_calibration.errors import UseError

if TYPE_CHECKING:  # its own imports are slow, and not needed to show the help
    from cogloupe.comparing.attempts import Attempt
    from cogloupe.comparing.series import Series


def compare(
    readings: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Readings (reading.json, or its folder) in the order of the attempts; with --log, "
            "a single one is compared with all that the log has; with --teeth, --module, --since "
            "or --until the folder of all of them.",
            metavar="READING",
        ),
    ] = None,
    same_gear: Annotated[
        bool, typer.Option("--same-gear", help="One gear photographed again, not one cut anew.")
    ] = False,
    mark: Annotated[
        list[int] | None, option("Number of a marked tooth; once for each reading, in order.", "N")
    ] = None,
    by_number: Annotated[
        bool, typer.Option("--by-number", help="Pair teeth by their numbers, not their pattern.")
    ] = False,
    log: Annotated[Path | None, option("Log of attempts, as trials.toml.", "FILE")] = None,
    changed: Annotated[
        str, option("What was changed before the last; 'nothing' for a repeat. Is logged.", "TEXT")
    ] = "",
    note: Annotated[str, option("Anything else about the last. Is logged.", "TEXT")] = "",
    teeth: Teeth = None,
    module: Module = None,
    since: Since = None,
    until: Until = None,
    out: Annotated[
        Path | None, option("Page to write (HTML): figures, pictures, history.", "FILE")
    ] = None,
) -> None:
    """Tell whether a change on the machine helped: better, worse, or not resolved.

    Give readings before and after, or a whole series, in order.
    """
    import numpy as np

    from cogloupe.comparing.attempts import gather
    from cogloupe.comparing.series import compare_series

    if (teeth, module, since, until) != (None, None, None, None):
        readings = _looked_up(readings or [], teeth, module, since, until)
    attempts = gather(readings or [], log, changed, note, datetime.date.today())
    if len(attempts) == 1 and log is not None:
        say(f"{attempts[0].label} is the first in {log}: with the next it can be compared.")
        return
    found = [attempt.reading for attempt in attempts]
    marks = [1] * len(found) if by_number and not mark else mark
    series = compare_series(
        found, same_gear=same_gear, rng=np.random.default_rng(0), marks=marks,
        unchanged=[attempt.trial is not None and attempt.trial.repeats for attempt in attempts],
    )  # fmt: skip
    _show(attempts, series)
    if out is not None:
        from cogloupe.report.compare_page import compare_html

        write_page(out, compare_html(attempts, series))
    else:
        say("Add --out compare.html for the page with pictures and history.")


def _looked_up(
    folders: list[Path],
    teeth: int | None,
    module: float | None,
    since: datetime.datetime | None,
    until: datetime.datetime | None,
) -> list[Path]:
    """Readings of a gear and of some days, oldest first, out of a folder of readings."""
    if len(folders) != 1:
        raise UseError(
            "--teeth, --module, --since and --until choose from one folder of readings: name it"
        )
    found = look_up(folders[0], teeth, module, since, until, "read")
    if len(found) < 2:
        raise UseError(f"{folders[0]} holds {len(found)} such readings: two or more are compared")
    return [folders[0] / entry.folder for entry in found]


def _show(attempts: "list[Attempt]", series: "Series") -> None:
    from cogloupe.report.compare_history import unnoted
    from cogloupe.report.compare_page import change_table
    from cogloupe.report.compare_text import CAUTIONS, doubts, findings, headline

    labels = [attempt.label for attempt in attempts]
    asked = series.steps[series.asked]
    names = labels[series.asked : series.asked + 2]
    out_console.print(change_table(asked, names))
    shown = [("", asked)]
    if series.whole is not None:
        shown.append((f"From first to last ({labels[0]} → {labels[-1]}): ", series.whole))
    said = set[str]()
    for start, comparison in shown:
        say(start + headline(comparison))
        look = [f"Look at this: {sentence}" for sentence in doubts(comparison)]
        for sentence in (*findings(comparison), *look):
            if sentence not in said:
                say(sentence)
            said.add(sentence)
        say("")
    for sentence in unnoted(attempts, series.steps):
        say(f"Look at this: {sentence}")
    for sentence in CAUTIONS:
        say(sentence)
