"""What all pages are written with: templates, filters, tables, and pictures inside the page."""

import re
from base64 import b64encode
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from html import escape
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from cogloupe.report.tables import Cell, Column, Table
from cogloupe.wording.numbers import NOT_SEEN, expanded

_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:µm|mm|in|thou)\b)")
_FIGURE = re.compile(
    r"(?P<v>[+−]?\d+(?:\.\d+)?)(?: ± (?P<l>\d+(?:\.\d+)?))? (?P<unit>µm|mm)(?![\w/])"
)
"""A figure with its unit in a sentence, with or without its U."""

SCRIPTS = (
    "base.js", "units.js", "teeth.js", "ring.js", "loupe.js", "plot.js", "pitch.js", "shapes.js",
    "tables.js", "report.js", "folder.js", "pair.js",
)  # fmt: skip
"""Parts of the one script that lies beside many reports, in their order."""


@cache
def page_template(name: str, **filters: Callable[..., str]) -> Template:
    """Load a page's template, once; it extends ``base.html.j2``.

    With the filters `glued`, `symbol`, `head`, `cell`, `columns` and `figures`, and the function
    `style_sheet` that gives one of this package's style sheets.
    """
    environment = Environment(
        loader=PackageLoader("cogloupe.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters.update(
        glued=glued, symbol=symbol_html, head=head_html, cell=cell_html, columns=columns_html,
        figures=figures_html,
        **filters,
    )  # fmt: skip
    environment.globals["style_sheet"] = lambda sheet: Markup(asset(sheet))
    return environment.get_template(name)


@cache
def asset(name: str) -> str:
    """A style sheet or a part of the script, as text."""
    return files("cogloupe.report").joinpath("assets", name).read_text("utf-8")


@cache
def shared_script() -> tuple[str, str]:
    """The script that all reports and the folder's page beside them use.

    Its name holds a mark of its contents, so that a page always finds the script it was written
    for, also after Cogloupe has changed.
    """
    text = "\n".join(asset(name) for name in SCRIPTS)
    return f"cogloupe-{sha256(text.encode()).hexdigest()[:10]}.js", text


def data_uri(image: bytes) -> str:
    """Write a PNG or JPEG picture as a data address."""
    kind = "png" if image.startswith(b"\x89PNG") else "jpeg"
    return f"data:image/{kind};base64,{b64encode(image).decode()}"


def symbol_html(symbol: str) -> Markup:
    """Set the part of a symbol such as ``f_p`` after its underscore as a subscript."""
    stem, _, below = symbol.partition("_")
    lowered = f"<sub>{escape(below)}</sub>" if below else ""
    return Markup(f"<i>{escape(stem)}</i>{lowered}")


def glued(text: str) -> str:
    """Keep a figure, its U and its unit on one line.

    The text with unbreakable spaces round plus-minus signs and before units.
    """
    text = text.replace(" ± ", "\u00a0±\u00a0").replace("(U = ", "(U\u00a0=\u00a0")
    return _BEFORE_UNIT.sub("\u00a0", text)


def figures_html(text: str) -> Markup:
    """Write a sentence so that its lengths can be shown in another unit.

    The sentence, glued, with each length and its U in an element of its own.
    """
    parts, last = [], 0
    for found in _FIGURE.finditer(text):
        parts.append(escape(glued(text[last : found.start()])))
        value = found["v"].replace("−", "-")
        signed = ' data-signed=""' if found["v"].startswith("+") else ""
        figure = f'data-v="{value}" data-l="{found["l"] or ""}" data-unit="{found["unit"]}"{signed}'
        parts.append(f"<span {figure}>{escape(glued(found[0]))}</span>")
        last = found.end()
    return Markup("".join([*parts, escape(glued(text[last:]))]))


def head_html(column: Column) -> Markup:
    """Write a column's heading with its symbol and unit."""
    parts = [escape(column.head)] if column.head else []
    if column.about_mean:
        parts.append('<span class="about">about the mean</span>')
    if column.symbol:
        parts.append(symbol_html(column.symbol))
    if column.unit:
        arc = ' data-arc=""' if column.arc else ""
        parts.append(f'/ <span class="unit" data-is="{column.unit}"{arc}>{column.unit}</span>')
    return Markup(" ".join(parts))


def cell_html(
    cell: Cell, column: Column | None = None, first: bool = False, shared: str | None = None
) -> Markup:
    """Write a table cell with the figure behind it.

    Parameters
    ----------
    first : bool
        It names its row.
    shared : str, optional
        How its column's figures are shown, where the column's heading says so; without it the cell
        says so itself, and carries the heading along for narrow pages.
    """
    kinds = [
        k for k, is_so in (("say", bool(column and column.say)), ("faint", cell.faint)) if is_so
    ]
    named = f' class="{" ".join(kinds)}"' if kinds else ""
    if first:
        return Markup(f'<th scope="row"{named}{_data(cell, shared)}>{_text(cell)}</th>')
    carried = column.head if shared is None and column else ""
    head = f' data-head="{escape(carried)}"' if carried else ""
    return Markup(f"<td{named}{head}{_data(cell, shared)}>{_text(cell)}</td>")


def columns_html(table: Table) -> list[Markup | None]:
    """How the figures of each column are shown, as attributes of its heading.

    Of a table with a row for each tooth that of its first figure, empty for a column of words; of
    others None, for their rows differ.
    """
    if not table.many:
        return [None] * len(table.columns)
    seen = [[row.cells[k] for row in table.rows] for k in range(len(table.columns))]
    return [
        Markup(next((_how(cell) for cell in cells if cell.value is not None), "")) for cells in seen
    ]


def _text(cell: Cell) -> str:
    if cell.symbol:
        return symbol_html(cell.text)
    return "–" if cell.text == NOT_SEEN else escape(glued(cell.text))


def _data(cell: Cell, shared: str | None) -> str:
    """Attributes with the figure behind a cell, for sorting and for other units."""
    if cell.value is None:
        return ' data-v=""' if cell.unit or cell.bare else ""
    how = _how(cell)
    pairs = [("v", cell.value), ("l", expanded(cell.u))]
    if cell.from_tooth_1 is not None:
        pairs += [("v1", cell.from_tooth_1[0]), ("l1", expanded(cell.from_tooth_1[1]))]
    figures = "".join(f' data-{name}="{_plain(value)}"' for name, value in pairs)
    return figures if how == shared else figures + how


def _how(cell: Cell) -> str:
    flags = [name for name in ("arc", "signed", "bare") if getattr(cell, name)]
    return f' data-unit="{cell.unit}"' + "".join(f" data-{flag}" for flag in flags)


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.7g}"
