"""A plan as tables for the terminal, and as a page to print and take to the machine."""

from markupsafe import Markup
from rich.table import Table
from rich.text import Text

from cogloupe import __version__
from cogloupe.planning.indexing import Spacing
from cogloupe.planning.notices import notices
from cogloupe.planning.plan import Plan
from cogloupe.report.console_tables import plain_table, sentence_table
from cogloupe.report.markup import page_template
from cogloupe.report.plan_rows import plan_title, sections
from cogloupe.report.plan_text import Row, Section

# Texts up to this long stand in the terminal's first column of figures.
_SHORT = 20
# Of the drawing of pitch errors, in its own units.
_WIDE, _HIGH, _MARGIN = 900.0, 190.0, 46.0


def plan_tables(plan: Plan) -> list[Table]:
    """Lay a plan out for the terminal.

    One for each group of figures, then the notices (if any) and the cautions.
    """
    tables = [_table(section) for section in sections(plan)]
    found = notices(plan)
    if found:
        tables.append(sentence_table("Look at this first", found))
    return [*tables, sentence_table("At the machine", plan.cautions)]


def _table(section: Section) -> Table:
    table = plain_table(section.title, section.note, heads=section.has_lengths)
    table.add_column("figure", overflow="fold")
    if section.has_lengths:
        for unit in ("mm", "in", "thou"):
            table.add_column(unit, justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    for row in section.rows:
        cells = _cells(row) if section.has_lengths else (row.name, _in_one(row))
        table.add_row(*map(Text, cells))
    return table


def _cells(row: Row) -> tuple[str, ...]:
    if len(row.values) > 1:
        return row.name, *row.values, row.say
    (value,) = row.values
    if len(value) <= _SHORT:
        return row.name, value, "", "", row.say
    return row.name, "", "", "", _in_one(row)


def _in_one(row: Row) -> str:
    """Value and meaning of a row that is no length, in one text."""
    return f"{row.values[0]} ({row.say})" if row.say else row.values[0]


def plan_html(plan: Plan) -> str:
    """Write a plan as a page that needs nothing beside itself, for the printer too.

    HTML text; it loads nothing from anywhere.
    """
    spacing = plan.indexing.spacing if plan.indexing is not None else None
    return page_template("plan.html.j2").render(
        title=plan_title(plan),
        sections=sections(plan),
        notices=notices(plan),
        cautions=plan.cautions,
        drawing=spacing_drawing(spacing) if spacing is not None else None,
        largest_um=spacing.largest_single_um if spacing is not None else 0.0,
        rack=plan.gear.rack.name,
        version=__version__,
    )


def spacing_drawing(spacing: Spacing) -> Markup:
    """Draw the pitch error before each tooth as bars.

    An SVG; empty where the teeth are evenly spaced.
    """
    if spacing.largest_single_um == 0:
        return Markup("")
    single, teeth = spacing.single_um, len(spacing.single_um)
    step = (_WIDE - _MARGIN) / teeth
    scale = (_HIGH / 2 - 24) / spacing.largest_single_um
    bars = "".join(
        f'<rect x="{_MARGIN + step * (k + 0.15):.1f}" width="{step * 0.7:.1f}" '
        f'y="{_HIGH / 2 - max(error, 0) * scale:.1f}" height="{abs(error) * scale:.1f}"/>'
        for k, error in enumerate(single)
    )
    return Markup(
        f'<svg viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" role="img" aria-label="Pitch error before '
        f'each tooth, up to {spacing.largest_single_um:.1f} µm"><g class="bars">{bars}</g>'
        f"{_axis(spacing.largest_single_um, scale, teeth)}</svg>"
    )


def _axis(largest_um: float, scale: float, teeth: int) -> str:
    """Zero line, the largest error above and below, and a number at some teeth."""
    middle = _HIGH / 2
    lines = "".join(
        f'<line x1="{_MARGIN}" x2="{_WIDE}" y1="{y:.1f}" y2="{y:.1f}"/>'
        f'<text x="{_MARGIN - 6}" y="{y + 4:.1f}" text-anchor="end">{label}</text>'
        for y, label in (
            (middle - largest_um * scale, f"{largest_um:.1f}"),
            (middle, "0"),
            (middle + largest_um * scale, f"−{largest_um:.1f}"),
        )
    )
    every = next(n for n in (1, 2, 5, 10, 20, 50) if teeth / n <= 24 or n == 50)
    numbers = "".join(
        f'<text x="{_MARGIN + (_WIDE - _MARGIN) * (k - 0.5) / teeth:.1f}" y="{_HIGH - 4}" '
        f'text-anchor="middle">{k}</text>'
        for k in sorted({1, *range(every, teeth + 1, every)})
    )
    return lines + numbers
