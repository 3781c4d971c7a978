"""Tables as data: what page, terminal and spreadsheet show, before any of them draws it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10

from cogloupe.wording.numbers import resolved, with_uncertainty


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One cell: its text, and the figure behind it where there is one.

    Attributes
    ----------
    text : str
        As a person is shown it.
    value, u : float or None
        The figure and its standard uncertainty.
    unit : str
        Unit of both; empty for what has none.
    arc : bool
        The figure lies along the measuring circle, so that it can be told as an angle.
    signed : bool
        A plus is written before figures above zero.
    bare : bool
        The text leaves the unit to the column's head.
    from_tooth_1 : (float, float) or None
        The same figure and uncertainty counted from tooth 1 in place of the mean.
    symbol : bool
        The text is a figure's symbol, its subscript after an underscore.
    """

    text: str
    value: float | None = None
    u: float | None = None
    unit: str = ""
    arc: bool = False
    signed: bool = False
    bare: bool = False
    from_tooth_1: tuple[float | None, float | None] | None = None
    symbol: bool = False

    @property
    def faint(self) -> bool:
        """True for a figure that is smaller than its U."""
        return self.value is not None and not resolved(self.value, self.u)


@dataclass(frozen=True, kw_only=True)
class Column:
    """What a column holds.

    Attributes
    ----------
    head : str
        Its heading, without the unit.
    symbol : str
        Stands behind it; a subscript after an underscore.
    unit : str
        Unit that bare figures are in.
    arc : bool
        Its figures lie along the measuring circle.
    say : bool
        Words rather than figures.
    group : str
        Heading above it and its neighbours of the same group.
    about_mean : bool
        Its figures are counted from the mean or from tooth 1, which the heading says.
    """

    head: str
    symbol: str = ""
    unit: str = ""
    arc: bool = False
    say: bool = False
    group: str = ""
    about_mean: bool = False


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row; `tooth` is the tooth or gap it is about, `kind` how it stands out."""

    cells: tuple[Cell, ...]
    tooth: int | None = None
    kind: str = ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows under their headings; the first cell of a row names it.

    A press on a heading sorts it where it is `sortable`; `many` has rows for each tooth or gap, set
    closely.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    note: str = ""
    sortable: bool = False
    many: bool = False

    @property
    def groups(self) -> list[tuple[str, int]]:
        """Headings above the columns and how many columns each spans; empty without any."""
        spans: list[tuple[str, int]] = []
        for column in self.columns:
            if spans and spans[-1][0] == column.group:
                spans[-1] = (column.group, spans[-1][1] + 1)
            else:
                spans.append((column.group, 1))
        return spans if any(name for name, _ in spans) else []


def words(text: str) -> Cell:
    """A cell of words."""
    return Cell(text=text)


def symbol(text: str) -> Cell:
    """A cell with a figure's symbol, such as ``f_p``; may be empty."""
    return Cell(text=text, symbol=bool(text))


def figure(
    value: float | None,
    u: float | None,
    unit: str = "",
    *,
    signed: bool = False,
    arc: bool = False,
    bare: bool = False,
) -> Cell:
    """A cell with a figure and its U, from its standard uncertainty."""
    text = with_uncertainty(value, u, "" if bare else unit, signed=signed)
    return Cell(text=text, value=value, u=u, unit=unit, arc=arc, signed=signed, bare=bare)


def two_digits(value: float) -> str:
    """Two figures that count, never with an exponent."""
    places = max(0, 1 - floor(log10(value))) if value > 0 else 0
    return f"{value:.{places}f}"


def spoken(*heads: str) -> tuple[Column, ...]:
    """Columns of words under these headings."""
    return tuple(Column(head=head, say=True) for head in heads)


def text_table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """A table of words."""
    cells = tuple(Row(cells=tuple(map(words, row))) for row in rows)
    return Table(title=title, columns=spoken(*heads), rows=cells)
