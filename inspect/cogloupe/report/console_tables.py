"""Tables for the terminal, all in one style: a reading a row, any table of a page, sentences."""

from collections.abc import Sequence

from rich import box
from rich.table import Table as ConsoleTable
from rich.text import Text

from cogloupe.reading.models import Reading
from cogloupe.report.gear_name import gear_size
from cogloupe.report.reading_tables import classes_reached
from cogloupe.report.reading_text import at_worst
from cogloupe.report.tables import Table
from cogloupe.wording.numbers import with_uncertainty

_ECCENTRICITY = "eccentr.\nµm"
"""Left out of a narrow terminal: runout shows it too."""
_COLUMNS = ("f_p / µm\nat tooth", "F_p\nµm", "runout\nµm", _ECCENTRICITY, "thick.\nmm", "class")
_CAPTION = "Under each figure its U (k = 2). n. r.: smaller than its U, not resolved."
_WIDE_CAPTION = "± U (k = 2). n. r.: smaller than its U, not resolved."
_NAME_WIDTH = 28
"""Columns of the terminal that the names of photographs get at least; layout only."""
_WIDE = 130
"""Columns of a terminal from which figures stand beside their U."""


def plain_table(title: str = "", caption: str = "", heads: bool = True) -> ConsoleTable:
    """A table in the style of all tables of the terminal, still without columns."""
    return ConsoleTable(
        title=Text(title) if title else None, title_justify="left", show_header=heads,
        caption=Text(caption) if caption else None, caption_justify="left",
        box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False,
    )  # fmt: skip


def readings_table(readings: Sequence[Reading], width: int = 80) -> ConsoleTable:
    """Lay out the main figures of some readings, to fit a terminal of 80 columns and more.

    One row a photograph; figures with their U under them, or beside them where there is room.
    """
    wide = width >= _WIDE
    table = plain_table(caption=_WIDE_CAPTION if wide else _CAPTION)
    table.add_column("photograph", overflow="fold", min_width=_NAME_WIDTH, no_wrap=wide)
    left_out = () if wide else (_COLUMNS.index(_ECCENTRICITY),)
    for k, name in enumerate(_COLUMNS):
        if k not in left_out:
            table.add_column(name, justify="right", overflow="fold", no_wrap=wide)
    for reading in readings:
        photo, *figures = (_cell(*lines, beside=wide) for lines in _lines(reading))
        kept = (figure for k, figure in enumerate(figures) if k not in left_out)
        table.add_row(photo, *kept, end_section=not wide)
    return table


def console_table(table: Table) -> ConsoleTable:
    """Lay any table of a page out for the terminal."""
    shown = plain_table(table.title, table.note)
    for column in table.columns:
        head = column.head + (f" / {column.unit}" if column.unit else "")
        shown.add_column(Text(head), justify="left" if column.say else "right", overflow="fold")
    for row in table.rows:
        style = "bold" if row.kind == "best" else ""
        shown.add_row(*(Text(cell.text, style=style) for cell in row.cells))
    return shown


def sentence_table(title: str, sentences: Sequence[str]) -> ConsoleTable:
    """Lay out sentences, such as cautions, under a title; one row a sentence."""
    table = plain_table(title, heads=False)
    table.add_column(overflow="fold")
    for sentence in sentences:
        table.add_row(Text(sentence))
    return table


def _lines(reading: Reading) -> list[tuple[str, str]]:
    """Both lines of each cell."""
    s, worst = reading.summary, at_worst(reading)
    pitch = with_uncertainty(s.single_pitch_max_um, s.u_single_pitch_max_um, "")
    return [
        (reading.photo.file, f"z {reading.gear.teeth}, {gear_size(reading.gear)}"),
        (shortened(pitch), f"{worst.tooth} {worst.side}" if worst else ""),
        _split(s.cumulative_pitch_total_um, s.u_cumulative_pitch_total_um),
        _split(s.runout_um, s.u_runout_um),
        _split(s.eccentricity_um, s.u_eccentricity_um),
        _split(s.thickness_mean_mm, s.u_thickness_mean_mm),
        _class(reading),
    ]


def _class(reading: Reading) -> tuple[str, str]:
    """Class that is reached, and whether that is the one that is wanted."""
    verdict = reading.verdict
    if verdict is None or verdict.reached_class is None:
        return classes_reached(reading).replace(" to ", "–") or "–", ""
    low, high = verdict.reached_class
    answer = {"yes": "met", "no": "no", "cannot_tell": "open", None: ""}[verdict.meets]
    return (str(high) if low == high else f"{low}–{high}"), answer


def _cell(first: str, second: str, beside: bool = False) -> Text:
    """Plain text: a file name may hold square brackets, which would be read as markup."""
    between = " " if beside and second else "" if beside else "\n"
    return Text.assemble(first, between, (second, "dim"))


def shortened(words: str) -> str:
    """A figure with its U as a narrow table has room for."""
    return words.replace("not resolved (U = ", "n. r. (")


def _split(value: float | None, u: float | None) -> tuple[str, str]:
    """Figure on one line, U on the next."""
    words = shortened(with_uncertainty(value, u, ""))
    first, gap, second = words.partition(" (" if "(" in words else " ± ")
    return first, f"{gap.strip()}{' ' if '±' in gap else ''}{second}"
