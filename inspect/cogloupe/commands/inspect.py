"""The commands that read photographs: inspect and watch."""

from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cogloupe.commands.batch import How, counts, read_all
from cogloupe.commands.console import about, complain, notice_line, out_console, say
from cogloupe.commands.options import (
    Jobs,
    Join,
    Mark,
    Out,
    Repeats,
    Resume,
    Scheduler,
    Ship,
    Turned,
    with_settings,
)
from cogloupe.commands.sets import chosen_kind, inspect_set
from cogloupe_calibration.errors import UseError

if TYPE_CHECKING:  # their own imports are slow, and not needed to show the help
    from cogloupe.reading.models import Reading


@with_settings
def inspect(
    photos: Annotated[
        list[Path], typer.Argument(help="Photographs, or folders of them.", metavar="PHOTO")
    ],
    out: Out = Path("readings"),
    *,
    given: dict[str, object],
    turned: Turned = False,
    repeats: Repeats = False,
    join: Join = False,
    mark: Mark = None,
    jobs: Jobs = None,
    resume: Resume = False,
    scheduler: Scheduler = None,
    ship: Ship = False,
) -> None:
    """Read photographs; write reading.json, teeth.csv, overlay, chart and report for each.

    A gear.toml beside the photographs can say what the options say, so that pictures are only
    dropped in. --turned, --repeats and --join make one reading of all photographs.
    """
    kind = chosen_kind(turned, repeats, join)
    if kind is not None:
        raise typer.Exit(inspect_set(kind, photos, out, given, mark))
    if mark is not None:
        raise UseError("--mark is for --turned and --join: it says which tooth is which")
    every = given["pick"] == "all"
    if every:
        given["pick"] = None
    how = How(jobs=jobs, resume=resume, scheduler=scheduler, ship=ship, every=every)
    raise typer.Exit(_inspect_all(photos, out, given, how))


def _inspect_all(paths: list[Path], out: Path, given: dict[str, object], how: How) -> int:
    from cogloupe.folders.photos import find_photos
    from cogloupe.folders.places import check_writable
    from cogloupe.inputs.settings import make_settings, settings_for

    make_settings(given)
    photos = find_photos(paths)
    check_writable(out)
    tally = read_all(photos, out, partial(settings_for, given=given), how, paths)
    _show(tally.shown, out)
    counts(tally, out)
    return tally.status


def _show(readings: list["Reading"], out: Path) -> None:
    from cogloupe.report.console_tables import readings_table
    from cogloupe.report.verdict_text import cautions_of, verdict_lines

    if not readings:
        return
    out_console.print(readings_table(readings, out_console.width))
    for reading in readings:
        for line in verdict_lines(reading):
            say(line)
    warned, noted = _notices(readings)
    for title, lines in (("", warned), ("For knowledge:", noted)):
        if lines:
            say(f"\n{title}".rstrip())
        for message, where in lines.items():
            say(f"{_named(where, len(readings))}: {message}")
    cautions = cautions_of(readings)
    if cautions:
        say("\nBefore a hand goes to the machine:")
    for sentence in cautions:
        say(sentence)
    say(f"\nReports are in {out}: open {out / 'index.html'}.")


def _told_by_gaps(reading: "Reading") -> list[str]:
    """Which gear an unknown one is; what cut it, where the stated rack does not explain it."""
    from cogloupe.report.gap_tables import identity_lines, remarkable

    lines = identity_lines(reading.identity) if reading.identity else []
    if reading.cutting and remarkable(reading.cutting):
        lines.append(reading.cutting.sentence)
    return lines


def _notices(readings: list["Reading"]) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """Warnings and notes, and of which photographs; what is the same for several is said once."""
    warned: dict[str, list[str]] = {}
    noted: dict[str, list[str]] = {}
    for reading in readings:
        for line in _told_by_gaps(reading):
            warned.setdefault(line, []).append(reading.photo.file)
        for notice in reading.warnings:
            into = noted if notice.note else warned
            into.setdefault(notice_line(notice), []).append(reading.photo.file)
    return warned, noted


def _named(photos: list[str], of: int) -> str:
    if len(photos) == of > 1:
        return "All"
    few = len(photos) <= 3
    return ", ".join(photos) if few else f"{photos[0]} and {len(photos) - 1} others"


@with_settings
def watch(
    folder: Annotated[Path, typer.Argument(help="Folder that photographs are dropped into.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder the readings go to; without it FOLDER/readings.")
    ] = None,
    *,
    given: dict[str, object],
) -> None:
    """Read each photograph that is dropped into a folder, until stopped with Ctrl+C."""
    from cogloupe.folders.index import Bookkeeper
    from cogloupe.folders.places import check_writable
    from cogloupe.folders.watch import watch_folder
    from cogloupe.inputs.settings import make_settings, settings_for

    make_settings(given)
    if not folder.is_dir():
        raise UseError(f"{folder} is not a folder: name the folder pictures are dropped into")
    target = out or folder / "readings"
    check_writable(target)
    say(f"Watching {folder}; readings go to {target}. Stop with Ctrl+C.")
    books = Bookkeeper(target, [folder], watching=True)
    books.bring_up_to_date()
    with suppress(KeyboardInterrupt):  # the way to end it
        for outcome in watch_folder(
            folder, target, lambda photo: settings_for(photo, given), begin=books.begin
        ):
            if outcome.reading is not None:
                _show([outcome.reading], target)
            elif outcome.error is not None:
                complain(about(outcome.photo, outcome.error))
            books.bring_up_to_date()
    books.end()
