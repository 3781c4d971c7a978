"""A comparison as a table for the terminal, and the history of attempts as one page."""

from collections.abc import Sequence
from typing import Any

from rich.table import Table
from rich.text import Text

from cogloupe import __version__
from cogloupe.comparing.attempts import Attempt
from cogloupe.comparing.change_tests import LEVEL
from cogloupe.comparing.compare import Comparison
from cogloupe.comparing.compared_figures import figure_value
from cogloupe.comparing.series import Series
from cogloupe.report.charts import figure_png
from cogloupe.report.compare_charts import teeth_chart, trend_chart
from cogloupe.report.compare_history import HISTORY_FIGURES, history_rows, unnoted
from cogloupe.report.compare_text import (
    CAUTIONS,
    change_rows,
    doubts,
    findings,
    headline,
    pairing,
    shared,
)
from cogloupe.report.console_tables import plain_table, shortened
from cogloupe.report.gear_name import gear_name
from cogloupe.report.markup import data_uri, page_template

_STYLES = {"better": "green", "worse": "red", "changed": "yellow"}


def change_table(comparison: Comparison, labels: Sequence[str]) -> Table:
    """Lay a comparison of two readings, by their names, out for the terminal."""
    table = plain_table(
        f"{labels[0]} → {labels[1]}",
        "± U (k = 2). By chance: what 95 of 100 pairs without a change stay below.",
    )
    table.add_column("figure", overflow="fold", min_width=12)
    for name in ("before", "after", "difference", "by chance"):
        table.add_column(name, justify="right")
    table.add_column("verdict", overflow="fold")
    for row in change_rows(comparison):
        verdict = Text(row.verdict, style=_STYLES.get(row.kind, ""))
        name = row.name + (f" / {row.unit}" if row.unit else "")
        cells = (name, row.before, row.after, row.difference, row.by_chance)
        table.add_row(*map(Text, map(shortened, cells)), verdict)
    return table


def compare_html(attempts: Sequence[Attempt], series: Series) -> str:
    """Write the page: the answer, the figures, pictures, and the history of attempts.

    HTML text that loads nothing from anywhere.
    """
    asked = series.steps[series.asked]
    labels = [attempt.label for attempt in attempts]
    names = labels[series.asked : series.asked + 2]
    parts = [_part(" → ".join(names), asked)]
    if series.whole is not None:
        parts.append(_part(f"From first to last: {labels[0]} → {labels[-1]}", series.whole))
    values = [{key: figure_value(a.reading, key) for key, _ in HISTORY_FIGURES} for a in attempts]
    trends = trend_chart(series.trends, len(attempts))
    trial = attempts[series.asked + 1].trial
    return page_template("compare.html.j2").render(
        name=gear_name(asked.after.gear),
        count=len(attempts),
        same_gear=asked.same_gear,
        changed=trial.changed if trial else "",
        parts=parts,
        cautions=CAUTIONS,
        teeth=data_uri(figure_png(teeth_chart(asked, names))),
        pairing=pairing(asked, names),
        trends=data_uri(figure_png(trends)) if trends is not None else "",
        lines=any(trend.slope is not None for trend in series.trends),
        clear=[t.kind.name for t in series.trends if t.clear],
        heads=[head for _, head in HISTORY_FIGURES],
        unnoted=unnoted(attempts, series.steps),
        history=history_rows(attempts, values, series.steps),
        level=f"{100 * LEVEL:.0f}",
        version=__version__,
    )


def _part(title: str, comparison: Comparison) -> dict[str, Any]:
    """One comparison as the page shows it."""
    return {
        "title": title,
        "headline": headline(comparison),
        "findings": findings(comparison),
        "doubts": doubts(comparison),
        "rows": change_rows(comparison),
        "shared": shared(comparison),
    }
