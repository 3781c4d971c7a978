"""A reading as a spreadsheet: the teeth, and the gear in figures."""

import io
from collections.abc import Sequence
from typing import Any

from cogloupe.reading.models import Reading
from cogloupe.reading.teeth_table import teeth_rows
from cogloupe.report.gear_name import gear_name
from cogloupe.report.page import title_block
from cogloupe.report.reading_tables import summary_table
from cogloupe.wording.numbers import expanded

_HEADS = ("figure", "symbol", "value", "U (k = 2)", "unit")


def teeth_xlsx(reading: Reading) -> bytes:
    """Write a reading as a workbook of two sheets.

    Sheet "teeth" holds what teeth.csv holds; sheet "gear" what the page's first table holds.
    """
    from openpyxl import Workbook

    book = Workbook()
    teeth = book.active
    assert teeth is not None  # a new book has a sheet
    teeth.title = "teeth"
    rows = teeth_rows(reading)
    _fill(teeth, [list(rows[0]), *(list(row.values()) for row in rows)])
    gear = book.create_sheet("gear")
    facts = [(gear_name(reading.gear), ""), *title_block(reading)]
    _fill(gear, [_HEADS, *_figures(reading), (), *facts])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _fill(sheet: Any, rows: Sequence[Sequence[object]]) -> None:
    """Write rows under a bold heading that stays in sight."""
    from openpyxl.styles import Font

    for row in rows:
        sheet.append(list(row))
    for cell in sheet[1]:
        cell.font = Font(bold=True)
        sheet.column_dimensions[cell.column_letter].width = max(10, len(str(cell.value)) + 2)
    sheet.freeze_panes = "B2"


def _figures(reading: Reading) -> list[list[object]]:
    return [
        [name.text, sign.text, value.text if value.value is None else value.value,
         expanded(value.u), value.unit]
        for name, sign, value, _ in (row.cells for row in summary_table(reading).rows)
    ]  # fmt: skip
