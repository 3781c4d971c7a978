"""Uncertainty budgets as tables: what each source adds to a figure's uncertainty."""

from math import floor, hypot, log10

from cogloupe.reading.models import BudgetLine
from cogloupe.report.tables import Column, Row, Table, words

NEGLIGIBLE = 0.001
"""Share of a figure's uncertainty below which a source is only named."""

_BUDGET_COLUMNS = (
    Column(head="source", say=True),
    Column(head="value", say=True),
    Column(head="distribution", say=True),
    Column(head="sensitivity", say=True),
    Column(head="contribution"),
)


def budget_tables(budget: tuple[BudgetLine, ...]) -> list[Table]:
    """Uncertainty budgets, one a figure, with what the sources come to together."""
    groups: dict[str, list[BudgetLine]] = {}
    for line in budget:
        groups.setdefault(line.figure, []).append(line)
    return [_budget_table(name, lines) for name, lines in groups.items()]


def _budget_table(name: str, lines: list[BudgetLine]) -> Table:
    u, unit = hypot(*(line.contribution for line in lines)), lines[0].unit.replace("um", "µm")
    shown = [
        (line, _size(line.contribution, unit) if line.contribution > NEGLIGIBLE * u else "–")
        for line in lines
    ]
    rows = [
        (line.source, line.value, line.distribution, line.sensitivity, size) for line, size in shown
    ]
    together = f"u = {_size(u, unit)}, U = {_size(2 * u, unit)}"
    rows.append(("together (root of the sum of squares)", "", "", "", together))
    table_rows = tuple(Row(cells=tuple(words(text) for text in row)) for row in rows)
    return Table(title=figure_name(name), columns=_BUDGET_COLUMNS, rows=table_rows)


def _size(value: float, unit: str) -> str:
    """Two figures that count, never with an exponent."""
    places = max(0, 1 - floor(log10(value))) if value > 0 else 0
    return f"{value:.{places}f} {unit}"


def figure_name(field: str) -> str:
    """Readable name of a field: its unit off the end, spaces for underscores."""
    stem, _, unit = field.rpartition("_")
    return (stem if unit in ("um", "mm", "deg") and stem else field).replace("_", " ")
