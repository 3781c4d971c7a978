"""Uncertainty budgets as tables: what each source adds to a figure's uncertainty."""

from math import hypot

from cogloupe.reading.models import BudgetLine
from cogloupe.report.tables import Column, Row, Table, spoken, two_digits, words

NEGLIGIBLE = 0.001
"""Share of a figure's uncertainty below which a source is only named."""

_COLUMNS = (
    *spoken("source", "value", "distribution", "sensitivity"), Column(head="contribution"),
)  # fmt: skip


def budget_tables(budget: tuple[BudgetLine, ...]) -> list[Table]:
    """Uncertainty budgets, one a figure, with what the sources come to together."""
    groups: dict[str, list[BudgetLine]] = {}
    for line in budget:
        groups.setdefault(line.figure, []).append(line)
    return [_budget_table(name, lines) for name, lines in groups.items()]


def _budget_table(name: str, lines: list[BudgetLine]) -> Table:
    u, unit = hypot(*(line.contribution for line in lines)), lines[0].unit.replace("um", "µm")
    rows = []
    for line in lines:
        told = line.contribution > NEGLIGIBLE * u
        size = f"{two_digits(line.contribution)} {unit}" if told else "–"
        rows.append((line.source, line.value, line.distribution, line.sensitivity, size))
    together = f"u = {two_digits(u)} {unit}, U = {two_digits(2 * u)} {unit}"
    rows.append(("together (root of the sum of squares)", "", "", "", together))
    table_rows = tuple(Row(cells=tuple(map(words, row))) for row in rows)
    return Table(title=figure_name(name), columns=_COLUMNS, rows=table_rows)


def figure_name(field: str) -> str:
    """Readable name of a field: its unit off the end, spaces for underscores."""
    stem, _, unit = field.rpartition("_")
    return (stem if unit in ("um", "mm", "deg") and stem else field).replace("_", " ")
