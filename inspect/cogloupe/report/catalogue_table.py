"""The catalogue for the terminal: one row a reading, or a photograph that could not be read."""

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from cogloupe.reading.catalogue_entry import Entry
from cogloupe.report.console_tables import plain_table
from cogloupe.wording.numbers import with_uncertainty

_FIGURES = {
    "f_p / µm": "single_pitch_max_um",
    "F_p / µm": "cumulative_pitch_total_um",
    "runout / µm": "runout_um",
}


def catalogue_table(entries: Sequence[Entry]) -> Table:
    """Lay out what the catalogue has, to fit a terminal of 100 columns.

    In their order; figures with U (k = 2).
    """
    table = plain_table()
    for name in ("day", "reading", "gear"):
        table.add_column(name, overflow="fold")
    for name in _FIGURES:
        table.add_column(name, justify="right", overflow="fold")
    table.add_column("verdict", overflow="fold")
    for entry in entries:
        table.add_row(*map(Text, _cells(entry)))
    return table


def _cells(entry: Entry) -> list[str]:
    if entry.status != "read":
        return [entry.date, entry.folder, "", "", "", "", f"not read: {entry.reason}"]
    gear = f"z {entry.teeth}, {entry.module_mm:.4g} mm" if entry.teeth and entry.module_mm else ""
    figures = [
        with_uncertainty(getattr(entry, name), getattr(entry, f"u_{name}"), "")
        for name in _FIGURES.values()
    ]
    return [entry.date, entry.folder, gear, *figures, entry.verdict_text or ""]
